//! Lets a result stand though items changed that its point is sensitive to: the safety officer, with a reason. So the set of
//! points that a change asks to be shown again becomes smaller.
//!
//! It stands for exactly these changes. With any other it lapses again.

use serde::Deserialize;

use super::given::{Given, not_now, one};
use super::{Command, Stamp, known};
use crate::codes::{PointCode, RunNumber};
use crate::entry::Draft;
use crate::people::Act;
use crate::record::{RepeatNarrowed, ToleratedChange};
use crate::refusal::Refusal;
use crate::state::{Lapse, Standing, State};

/// What the safety officer gives to let a result stand.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NarrowingTerms {
    /// Every change of an item that the point is sensitive to, as the safety officer saw it.
    pub changes: Vec<ToleratedChange>,
    /// Why it need not be shown again.
    pub reason: String,
}

/// Asks for a result to stand.
#[derive(Debug, Clone)]
pub struct NarrowRepeat {
    /// The run.
    pub run: RunNumber,
    /// The point.
    pub point: PointCode,
    /// What was given.
    pub terms: NarrowingTerms,
}

impl Command for NarrowRepeat {
    fn act(&self) -> Act {
        Act::NarrowRepeats
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let NarrowingTerms { changes, reason } = self.terms.clone();
        let (run, point) = (self.run, self.point.clone());
        let (_, result) = known::result(state, run, &point)?;
        Given::new(state, stamp).text("reason", &reason).settled()?;
        let lapsed = matches!(&result.standing, Standing::Lapsed(Lapse::ItemChanged { .. }));
        if !lapsed || !state.stands_but_for_items(result) {
            return Err(not_now(
                "not-lapsed-by-a-change",
                format!(
                    "the result of {point} in run {run} did not lapse for changes of items alone"
                ),
                "Only an accepted result that nothing but changes of items speaks against can be let stand.",
            ));
        }
        let mut now = state.changes_since(result);
        let mut seen = changes.clone();
        let by_item = |one: &ToleratedChange, other: &ToleratedChange| one.item.cmp(&other.item);
        now.sort_by(by_item);
        seen.sort_by(by_item);
        if seen != now {
            return Err(not_now(
                "changes-changed",
                format!("other items have changed since run {run} than those that you named"),
                "Read the changes again, and judge all of them.",
            ));
        }
        Ok(one(RepeatNarrowed { point, run, changes, reason }))
    }
}
