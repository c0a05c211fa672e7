//! How a programme gets on: where its points stood day by day, how often runs are repeated, what is still to go, and where
//! the days went.
//!
//! Nothing here holds or opens anything.

mod days;
mod repeats;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use serde::Serialize;

pub use days::{CauseOfDays, DayWithoutRun, DaysSpent, runs_of_day, working_days_to_acceptance};
pub use repeats::{Repeats, repeats_by_phase};

use crate::codes::ProgrammeId;
use crate::hours::{self, TotalToGo};
use crate::nouns::Phase;
use crate::state::{CourseDay, PointsByPhase, State};

/// How a programme gets on.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct Progress {
    /// The programme; absent while it is not founded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub programme: Option<ProgrammeId>,
    /// What it is called.
    pub title: String,
    /// How many records of the ledger this was counted from.
    pub records: u64,
    /// How many points stand where now, by phase: all five, in order.
    pub points: PointsByPhase,
    /// The same for each day on which it changed, oldest first.
    pub days: Vec<CourseDay>,
    /// How often runs did not show what they were for, by phase; phases without a result are left out.
    pub repeats: BTreeMap<Phase, Repeats>,
    /// What the programme requires, how much of it is done, and how much is still to go.
    pub to_go: Vec<TotalToGo>,
    /// Where the days went since the first run.
    pub spent: DaysSpent,
    /// Working days from a run to the acceptance of its result, by phase, in the order of the results.
    pub days_to_acceptance: BTreeMap<Phase, Vec<f64>>,
}

/// Looks at all of it. Today, which is not over, counts as no day without a run.
pub fn of(state: &State, now: DateTime<Utc>) -> Progress {
    let days = state.course.days();
    let standing = |phase: &Phase| {
        let of_phase = days.last().map(|day| day.of(*phase)).unwrap_or_default();
        (*phase, of_phase)
    };
    Progress {
        programme: state.id.clone(),
        title: state.title.clone(),
        records: state.length(),
        points: Phase::ALL.iter().map(standing).collect(),
        days: days.to_vec(),
        repeats: repeats_by_phase(state),
        to_go: hours::completed(state).to_go,
        spent: DaysSpent::of(state, now),
        days_to_acceptance: working_days_to_acceptance(state),
    }
}
