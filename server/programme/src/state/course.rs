//! How the ladder got on: on each day on which it moved, how many points of each phase stood where.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Serialize;

use super::{ResultState, Rung, Standing, State};
use crate::entry::Entry;
use crate::nouns::Phase;
use crate::record::Record;

/// Where a point stands by its plan and its results alone. Holds and releases, which come and go by the clock, are not
/// looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// A result was accepted by two people, and stands.
    Accepted,
    /// The last result was met and waits for its acceptances.
    AwaitingAcceptance,
    /// The last result was not met, or lacks something.
    NotMet,
    /// An accepted result does not stand any more.
    Lapsed,
    /// It has no result.
    NotRun,
    /// Taken out of the plan.
    Dropped,
}

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
    /// Points that are to be shown or were: all but the dropped ones.
    pub const fn planned(&self) -> u32 {
        self.accepted + self.awaiting_acceptance + self.not_met + self.lapsed + self.not_run
    }

    const fn at(&mut self, stage: Stage) -> &mut u32 {
        match stage {
            Stage::Accepted => &mut self.accepted,
            Stage::AwaitingAcceptance => &mut self.awaiting_acceptance,
            Stage::NotMet => &mut self.not_met,
            Stage::Lapsed => &mut self.lapsed,
            Stage::NotRun => &mut self.not_run,
            Stage::Dropped => &mut self.dropped,
        }
    }
}

/// Points of each phase by where they stand; phases without a point are left out.
pub type PointsByPhase = BTreeMap<Phase, StandingPoints>;

/// The end of a day on which points came to stand otherwise.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, utoipa::ToSchema)]
#[schema(as = DayOfProgress)]
pub struct CourseDay {
    /// The day, in UTC, by when the records were taken in.
    pub date: NaiveDate,
    /// How many points stood where at its end, by phase; phases without a point are left out.
    pub points: PointsByPhase,
}

impl CourseDay {
    /// Points of a phase; none where it has none.
    pub fn of(&self, phase: Phase) -> StandingPoints {
        self.points.get(&phase).copied().unwrap_or_default()
    }
}

/// How the ladder got on.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Course {
    days: Vec<CourseDay>,
    /// By place in the ladder.
    points: Vec<(Phase, Stage)>,
}

impl Course {
    /// The days on which points came to stand otherwise, in order. The last one tells how they stand now.
    pub fn days(&self) -> &[CourseDay] {
        &self.days
    }

    fn stands(&mut self, place: usize, phase: Phase, stage: Stage, date: NaiveDate) {
        let before = self.points.get(place).copied();
        if before == Some((phase, stage)) {
            return;
        }
        // A clock that was set back makes no day twice.
        if self.days.last().is_none_or(|day| day.date < date) {
            let points = self.days.last().map(|day| day.points.clone()).unwrap_or_default();
            self.days.push(CourseDay { date, points });
        }
        let Some(day) = self.days.last_mut() else { return };
        if let Some((phase, stage)) = before {
            *day.points.entry(phase).or_default().at(stage) -= 1;
        }
        *day.points.entry(phase).or_default().at(stage) += 1;
        day.points.retain(|_, standing| *standing != StandingPoints::default());
        match self.points.get_mut(place) {
            Some(kept) => *kept = (phase, stage),
            // Points are planned one by one, so a new one is the next.
            None => self.points.push((phase, stage)),
        }
    }
}

impl State {
    /// The last result of a point that no other of the same run replaces.
    pub fn last_result_of(&self, rung: &Rung) -> Option<&ResultState> {
        let mut results = rung.results.iter().rev().map(|id| &self.results[id.0]);
        results.find(|result| result.standing != Standing::Replaced)
    }

    /// Where a point stands by its plan and its results alone.
    pub fn stage_of(&self, rung: &Rung) -> Stage {
        if rung.dropped.is_some() {
            return Stage::Dropped;
        }
        if self.accepted_result_of(rung).is_some() {
            return Stage::Accepted;
        }
        match self.last_result_of(rung).map(|result| &result.standing) {
            Some(Standing::Open) => Stage::AwaitingAcceptance,
            Some(Standing::NotMet) => Stage::NotMet,
            // One that is accepted and does not count is gone against by another.
            Some(Standing::Lapsed(_) | Standing::Accepted) => Stage::Lapsed,
            Some(Standing::Replaced) | None => Stage::NotRun,
        }
    }

    /// Follows the points that a record that was just applied concerns.
    pub(super) fn follow(&mut self, entry: &Entry) {
        let named = match &entry.record {
            Record::PointPlanned(body) => Some(&body.point.code),
            Record::PointDropped(body) => Some(&body.point),
            Record::ResultRecorded(body) => Some(&body.point),
            _ => None,
        };
        let restood = self.restood.iter().map(|id| &self.results[id.0].point);
        let mut places: Vec<usize> =
            named.into_iter().chain(restood).filter_map(|code| self.ladder.place(code)).collect();
        places.sort_unstable();
        places.dedup();
        for place in places {
            let rung = &self.ladder.rungs()[place];
            let (phase, stage) = (rung.point.phase, self.stage_of(rung));
            self.course.stands(place, phase, stage, entry.at.date_naive());
        }
    }
}
