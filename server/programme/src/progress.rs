//! How a programme gets on: where its points stood day by day, how often runs are repeated, what is still to go, and where
//! the days went.
//!
//! Nothing here holds or opens anything.

mod days;
mod repeats;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;

pub use days::{CauseOfDays, DayWithoutRun, DaysSpent, runs_of_day, working_days_to_acceptance};
pub use repeats::{Repeats, repeats_by_phase};

use crate::codes::ProgrammeId;
use crate::hours::{self, TotalToGo};
use crate::nouns::Phase;
use crate::state::{PointCounts, Stage, State};

/// How many points of a phase stand where. Holds and releases, which come and go by the clock, are not looked at.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub struct StandingPoints {
    /// A result was accepted by two people, and stands.
    pub accepted: u32,
    /// The last result was met and waits for its acceptances.
    pub awaiting_acceptance: u32,
    /// The last result was not met, or lacks something.
    pub not_met: u32,
    /// An accepted result does not stand any more.
    pub lapsed: u32,
    /// They have no result.
    pub not_run: u32,
    /// Taken out of the plan.
    pub dropped: u32,
}

impl StandingPoints {
    fn of(counts: &PointCounts, phase: Phase) -> Self {
        let of = |stage| counts.of(phase, stage);
        Self {
            accepted: of(Stage::Accepted),
            awaiting_acceptance: of(Stage::AwaitingAcceptance),
            not_met: of(Stage::NotMet),
            lapsed: of(Stage::Lapsed),
            not_run: of(Stage::NotRun),
            dropped: of(Stage::Dropped),
        }
    }

    /// Points that are to be shown or were: all but the dropped ones.
    pub const fn planned(&self) -> u32 {
        self.accepted + self.awaiting_acceptance + self.not_met + self.lapsed + self.not_run
    }
}

/// The end of a day on which points came to stand otherwise.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub struct DayOfProgress {
    /// The day, in UTC, by when the records were taken in.
    pub date: NaiveDate,
    /// How many points stood where at its end, by phase; phases without a point are left out.
    pub points: BTreeMap<Phase, StandingPoints>,
}

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
    pub points: BTreeMap<Phase, StandingPoints>,
    /// The same for each day on which it changed, oldest first.
    pub days: Vec<DayOfProgress>,
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
    let counts = state.course.now();
    let all = |counts: &PointCounts| {
        Phase::ALL.iter().map(|phase| (*phase, StandingPoints::of(counts, *phase))).collect()
    };
    let days = state.course.days().iter().map(|day| {
        let mut points: BTreeMap<Phase, StandingPoints> = all(&day.points);
        points.retain(|_, standing| *standing != StandingPoints::default());
        DayOfProgress { date: day.date, points }
    });
    Progress {
        programme: state.id.clone(),
        title: state.title.clone(),
        records: state.length(),
        points: all(&counts),
        days: days.collect(),
        repeats: repeats_by_phase(state),
        to_go: hours::completed(state).to_go,
        spent: DaysSpent::of(state, now),
        days_to_acceptance: working_days_to_acceptance(state),
    }
}
