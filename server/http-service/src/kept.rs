//! Views of points that were made and still hold: for the same reader, after the same record, in the same second.

use std::collections::HashMap;

use actix_web::web::Bytes;
use chrono::{DateTime, SubsecRound, TimeDelta, Utc};
use parking_lot::RwLock;
use programme::codes::{PersonHandle, PointCode, ProgrammeId};
use programme::holds::{self, Hold};
use programme::state::{Rung, State};

use crate::desk::Shown;
use crate::problem::Problem;

/// So many views are kept; each has some ten thousand bytes.
const KEPT: usize = 512;

/// Whose view of what: each reader is told what they themselves may sign.
pub(crate) type Whose = (ProgrammeId, PointCode, PersonHandle);

/// A view that was made.
#[derive(Debug, Clone)]
struct Kept {
    /// After which record.
    seq: u64,
    /// From this whole second up to, not including, the next.
    second: DateTime<Utc>,
    bytes: Bytes,
    tag: String,
}

/// Views of points, so that a point that many look at is put together once a second at most.
#[derive(Debug, Default)]
pub(crate) struct KeptViews(RwLock<HashMap<Whose, Kept>>);

impl KeptViews {
    /// The view that was made after the last record and in this second, or else a new one.
    ///
    /// What holds a point can change with time alone, and its words with it. Each such change comes once between two
    /// records (a release begins, a check runs out), so where the holds are the same at both ends of a second they are
    /// so throughout, and the view is kept; else it is made for the very moment and not kept.
    pub fn view(
        &self,
        whose: &Whose,
        state: &State,
        rung: &Rung,
        now: DateTime<Utc>,
        make: impl FnOnce(DateTime<Utc>, Vec<Hold>) -> Result<Shown, Problem>,
    ) -> Result<Shown, Problem> {
        let (seq, second) = (state.length(), now.trunc_subsecs(0));
        if let Some(kept) = self.0.read().get(whose)
            && (kept.seq, kept.second) == (seq, second)
        {
            return Ok(Shown::made_before(kept.bytes.clone(), kept.tag.clone()));
        }
        let at_first = holds::holds(state, rung, second);
        if at_first != holds::holds(state, rung, second + TimeDelta::seconds(1)) {
            return make(now, holds::holds(state, rung, now));
        }
        let shown = make(second, at_first)?;
        if let Some(tag) = shown.tag() {
            let kept = Kept { seq, second, bytes: shown.bytes(), tag: tag.to_owned() };
            self.put(whose.clone(), kept);
        }
        Ok(shown)
    }

    fn put(&self, whose: Whose, view: Kept) {
        let mut kept = self.0.write();
        if kept.len() >= KEPT && !kept.contains_key(&whose) {
            kept.clear();
        }
        kept.insert(whose, view);
    }
}
