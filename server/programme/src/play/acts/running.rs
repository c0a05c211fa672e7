//! Runs and results, as a story gives them.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::super::words::{Figure, Noted, Reading, Seat, TimeOfDay, at};
use super::{Given, Scene};
use crate::codes::{PointCode, RunNumber};
use crate::commands::{self, decide};
use crate::entry::Draft;
use crate::nouns::Axis;
use crate::record::{ReadingMoment, RunTimes};
use crate::refusal::Refusal;
use crate::state::Amendable;

/// Opens a run.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct OpenRun {
    points: Vec<PointCode>,
    crew: Vec<Seat>,
}

impl Given for OpenRun {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let crew = self.crew.iter().map(|seat| seat.0.clone()).collect();
        let terms = commands::RunTerms { points: self.points.clone(), crew };
        decide(scene.state, &commands::OpenRun { terms }, scene.stamp)
    }
}

/// Notes moments of a run, each with its time on the day of the act.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct NoteMoments {
    /// Absent: the run opened last.
    #[serde(default)]
    run: Option<RunNumber>,
    moments: Vec<Noted>,
}

impl Given for NoteMoments {
    fn commands(&self) -> usize {
        self.moments.len()
    }

    fn decide(&self, place: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let Some(Noted((event, time))) = self.moments.get(place) else { return Ok(Vec::new()) };
        let observed_at = Some(at(scene.day, *time));
        let terms = commands::MomentTerms { event: *event, observed_at };
        let run = scene.run(self.run);
        decide(scene.state, &commands::NoteMoment { run, terms }, scene.stamp)
    }
}

/// Reads charge and energy counter.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct ReadEnergy {
    /// Absent: the run opened last.
    #[serde(default)]
    run: Option<RunNumber>,
    moment: ReadingMoment,
    charge_percent: f64,
    #[serde(default)]
    energy_counter_kwh: Option<f64>,
    /// On the day of the act; absent: at the act.
    #[serde(default)]
    seen: Option<TimeOfDay>,
}

impl Given for ReadEnergy {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let terms = commands::EnergyTerms {
            moment: self.moment,
            charge_percent: self.charge_percent,
            energy_counter_kwh: self.energy_counter_kwh,
            observed_at: self.seen.as_ref().map(|time| scene.on_the_day(time)),
        };
        let run = scene.run(self.run);
        decide(scene.state, &commands::ReadEnergy { run, terms }, scene.stamp)
    }
}

/// Calls knock-it-off.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct KnockOff {
    /// Absent: the run opened last.
    #[serde(default)]
    run: Option<RunNumber>,
    reason: String,
    /// On the day of the act; absent: at the act.
    #[serde(default)]
    seen: Option<TimeOfDay>,
}

impl Given for KnockOff {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let terms = commands::KnockOffTerms {
            reason: self.reason.clone(),
            observed_at: self.seen.as_ref().map(|time| scene.on_the_day(time)),
        };
        let run = scene.run(self.run);
        decide(scene.state, &commands::KnockOffRun { run, terms }, scene.stamp)
    }
}

/// Closes a run.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct CloseRun {
    /// Absent: the run opened last.
    #[serde(default)]
    run: Option<RunNumber>,
    #[serde(default)]
    debrief: Option<String>,
}

impl Given for CloseRun {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let terms = commands::ClosingTerms { debrief: self.debrief.clone() };
        let run = scene.run(self.run);
        decide(scene.state, &commands::CloseRun { run, terms }, scene.stamp)
    }
}

/// Corrects the times of a run: all of them, on the day on which it was opened.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct CorrectTimes {
    /// Absent: the run opened last.
    #[serde(default)]
    run: Option<RunNumber>,
    moments: Vec<Noted>,
    reason: String,
}

impl Given for CorrectTimes {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let run = scene.run(self.run);
        let opened = scene.state.run(run).map(|run| run.opened_at.date_naive());
        let mut times = RunTimes::default();
        for Noted((event, time)) in &self.moments {
            times.put(*event, at(opened.unwrap_or(scene.day), *time));
        }
        let command = commands::CorrectTimes {
            run,
            terms: commands::CorrectionTerms { times, reason: self.reason.clone() },
            expected: Some(scene.state.revision(&Amendable::Run(run))),
        };
        decide(scene.state, &command, scene.stamp)
    }
}

/// Records what a run showed for a point.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct RecordResult {
    /// Absent: the run opened last.
    #[serde(default)]
    run: Option<RunNumber>,
    point: PointCode,
    values: Vec<Reading>,
    #[serde(default)]
    reached: BTreeMap<Axis, Figure>,
    observations: String,
    /// On the day of the act; absent: at the act.
    #[serde(default)]
    seen: Option<TimeOfDay>,
}

impl Given for RecordResult {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let run = scene.run(self.run);
        let terms = commands::ResultTerms {
            values: self.values.iter().map(|reading| reading.0.clone()).collect(),
            reached: self.reached.iter().map(|(axis, figure)| (*axis, figure.0)).collect(),
            observations: self.observations.clone(),
            observed_at: self.seen.as_ref().map(|time| scene.on_the_day(time)),
        };
        let result = Amendable::Result(run, self.point.clone());
        let expected = Some(scene.state.revision(&result));
        let (point, recorded) = (self.point.clone(), Vec::new());
        let command = commands::RecordResult { run, point, terms, recorded, expected };
        decide(scene.state, &command, scene.stamp)
    }
}
