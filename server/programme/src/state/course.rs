//! How the ladder got on: on each day on which it moved, how many points of each phase stood where.

use chrono::NaiveDate;
use serde::Serialize;

use super::{ResultState, Rung, Standing, State};
use crate::entry::Entry;
use crate::nouns::Phase;
use crate::record::Record;

/// Where a point stands by its plan and its results alone. Holds and releases, which come and go by the clock, are not
/// looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
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

impl Stage {
    /// All of them, from what is done to what is not to be done.
    pub const ALL: [Self; 6] = [
        Self::Accepted,
        Self::AwaitingAcceptance,
        Self::NotMet,
        Self::Lapsed,
        Self::NotRun,
        Self::Dropped,
    ];
}

/// How many points of each phase stand where.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct PointCounts([[u32; Stage::ALL.len()]; Phase::ALL.len()]);

impl PointCounts {
    /// Points of a phase that stand somewhere.
    pub const fn of(&self, phase: Phase, stage: Stage) -> u32 {
        self.0[phase as usize][stage as usize]
    }

    /// Points of all phases that stand somewhere.
    pub fn of_all(&self, stage: Stage) -> u32 {
        Phase::ALL.iter().map(|phase| self.of(*phase, stage)).sum()
    }

    /// Points of a phase that are to be shown or were: all but the dropped ones.
    pub fn planned(&self, phase: Phase) -> u32 {
        let planned = Stage::ALL.iter().filter(|stage| **stage != Stage::Dropped);
        planned.map(|stage| self.of(phase, *stage)).sum()
    }
}

/// The end of a day on which points came to stand otherwise.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CourseDay {
    /// The day, in UTC, by when the records were taken in.
    pub date: NaiveDate,
    /// How many stood where at its end; of the last day, now.
    pub points: PointCounts,
}

/// How the ladder got on.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Course {
    days: Vec<CourseDay>,
    /// By place in the ladder.
    points: Vec<(Phase, Stage)>,
}

impl Course {
    /// The days on which points came to stand otherwise, in order.
    pub fn days(&self) -> &[CourseDay] {
        &self.days
    }

    /// How many points stand where now.
    pub fn now(&self) -> PointCounts {
        self.days.last().map(|day| day.points).unwrap_or_default()
    }

    fn stands(&mut self, place: usize, phase: Phase, stage: Stage, date: NaiveDate) {
        let before = self.points.get(place).copied();
        if before == Some((phase, stage)) {
            return;
        }
        let mut points = self.now();
        if let Some((phase, stage)) = before {
            points.0[phase as usize][stage as usize] -= 1;
        }
        points.0[phase as usize][stage as usize] += 1;
        match self.points.get_mut(place) {
            Some(kept) => *kept = (phase, stage),
            // Points are planned one by one, so a new one is the next.
            None => self.points.push((phase, stage)),
        }
        match self.days.last_mut() {
            // A clock that was set back makes no day twice.
            Some(day) if day.date >= date => day.points = points,
            Some(_) | None => self.days.push(CourseDay { date, points }),
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
