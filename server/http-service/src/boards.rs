//! The holds of whole ladders, kept for each programme between requests, so that a list of points need not be worked
//! out from nothing each time.

use std::collections::HashMap;
use std::sync::Arc;

use chrono::{DateTime, Utc};
use parking_lot::{Mutex, RwLock};
use programme::board::Board;
use programme::codes::ProgrammeId;

use crate::access::Permitted;
use crate::desk::View;
use crate::office::Office;
use crate::problem::Problem;

/// A board, and how far its clock went; absent until somebody has asked for it.
type Clocked = Option<(Board, DateTime<Utc>)>;

/// The boards of all programmes that somebody has asked about.
#[derive(Debug, Default)]
pub(crate) struct Boards(Mutex<HashMap<ProgrammeId, Arc<RwLock<Clocked>>>>);

impl Boards {
    /// Looks at the board of a programme as it stands now. Others may look at the same time.
    fn look<T>(
        &self,
        programme: &ProgrammeId,
        view: View<'_>,
        look: impl FnOnce(View<'_>, &Board) -> T,
    ) -> T {
        let board = Arc::clone(self.0.lock().entry(programme.clone()).or_default());
        if let Some((kept, _)) = board.read().as_ref()
            && kept.stands(view.state, view.now)
        {
            return look(view, kept);
        }
        Self::bring_forward(&mut board.write(), view);
        match board.read().as_ref() {
            Some((kept, _)) => look(view, kept),
            None => look(view, &Board::new(view.state, view.now)),
        }
    }

    fn bring_forward(board: &mut Clocked, view: View<'_>) {
        let (kept, clock) =
            board.get_or_insert_with(|| (Board::new(view.state, view.now), view.now));
        // Two requests may come to the lock in another order than they looked at the clock. Reading is right a moment
        // back too; setting the board back would look at every point.
        let now = view.now.max(*clock);
        kept.advance(view.state, now);
        *clock = now;
    }
}

impl Office {
    /// Looks at a programme and the holds of its whole ladder, as they stand or as they stood.
    pub async fn look_at_ladder<P, T>(
        &self,
        person: &Permitted<P>,
        past: Option<&str>,
        look: impl FnOnce(View<'_>, &Board) -> Result<T, Problem>,
    ) -> Result<T, Problem> {
        let programme = &person.programme;
        self.look(person, past, |view| match past {
            None => self.boards.look(programme, view, look),
            Some(_) => look(view, &Board::new(view.state, view.now)),
        })
        .await
    }
}
