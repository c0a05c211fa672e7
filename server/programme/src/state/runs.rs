//! Runs: crew, times, energy.

use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc};

use super::Ladder;
use crate::card::Fitted;
use crate::codes::{PersonHandle, PointCode, RunNumber};
use crate::entry::Entry;
use crate::nouns::{Phase, Point};
use crate::record::{
    CrewMember, KnockedOff, ReadingMoment, RunClosed, RunEnergyRead, RunEvent, RunKind, RunOpened,
    RunTimes, RunTimesCorrected,
};

/// What a person read off the pack.
#[derive(Debug, Clone, PartialEq)]
pub struct EnergyReading {
    /// Who.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Charge state, per cent.
    pub charge_percent: f64,
    /// Energy counter, kilowatt-hours.
    pub energy_counter_kwh: Option<f64>,
}

/// A knock-it-off.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KnockOff {
    /// Who called it.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Why.
    pub reason: String,
}

/// A correction of a run's times.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TimesCorrection {
    /// Who.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// What the times were before.
    pub before: RunTimes,
    /// Why.
    pub reason: String,
}

/// One outing under power.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// Its number.
    pub number: RunNumber,
    /// The record that opened it.
    pub seq: u64,
    /// Who opened it.
    pub opened_by: PersonHandle,
    /// When.
    pub opened_at: DateTime<Utc>,
    /// Ground run, taxi run or flight.
    pub what: RunKind,
    /// The phase of its points: the furthest of them.
    pub phase: Phase,
    /// Points in the order planned.
    pub points: Vec<PointCode>,
    /// Who is there, and who is on board.
    pub crew: Vec<CrewMember>,
    /// Times as they hold now.
    pub times: RunTimes,
    /// Energy before.
    pub before: Option<EnergyReading>,
    /// Energy after.
    pub after: Option<EnergyReading>,
    /// The first knock-it-off, if any.
    pub knocked_off: Option<KnockOff>,
    /// Who closed it, when, and what there was to say.
    pub closed: Option<(PersonHandle, DateTime<Utc>, Option<String>)>,
    /// Corrections, oldest first.
    pub corrections: Vec<TimesCorrection>,
    fitted: Arc<Fitted>,
    planned: Vec<Arc<Point>>,
}

fn minutes(from: DateTime<Utc>, to: DateTime<Utc>) -> u32 {
    // Hours are kept in whole minutes, each time cut to the minute as log books do; common practice, no source.
    let whole = to.timestamp().div_euclid(60) - from.timestamp().div_euclid(60);
    u32::try_from(whole).unwrap_or(0)
}

impl Run {
    pub(super) fn open(
        body: &RunOpened,
        fitted: Arc<Fitted>,
        ladder: &Ladder,
        entry: &Entry,
    ) -> Self {
        let planned: Vec<_> = body
            .points
            .iter()
            .filter_map(|code| ladder.get(code))
            .map(|rung| Arc::clone(&rung.point))
            .collect();
        Self {
            number: body.run,
            seq: entry.seq,
            opened_by: entry.by.clone(),
            opened_at: entry.at,
            what: body.what,
            phase: planned.iter().map(|point| point.phase).max().unwrap_or(Phase::Static),
            points: body.points.clone(),
            crew: body.crew.clone(),
            times: RunTimes::default(),
            before: None,
            after: None,
            knocked_off: None,
            closed: None,
            corrections: Vec::new(),
            fitted,
            planned,
        }
    }

    /// A point as it was planned when the run was opened.
    pub fn planned(&self, point: &PointCode) -> Option<&Arc<Point>> {
        self.planned.iter().find(|planned| planned.code == *point)
    }

    /// What was fitted.
    pub fn fitted(&self) -> Arc<Fitted> {
        Arc::clone(&self.fitted)
    }

    /// Whole minutes under power; absent while a time is missing.
    pub fn powered_minutes(&self) -> Option<u32> {
        Some(minutes(self.times.power_on?, self.times.power_off?))
    }

    /// Whole minutes from off blocks to on blocks; absent while a time is missing.
    pub fn block_minutes(&self) -> Option<u32> {
        Some(minutes(self.times.off_blocks?, self.times.on_blocks?))
    }

    /// Whole minutes in the air; absent while a landing is missing.
    pub fn airborne_minutes(&self) -> Option<u32> {
        let RunTimes { take_offs, landings, .. } = &self.times;
        (take_offs.len() == landings.len())
            .then(|| take_offs.iter().zip(landings).map(|(up, down)| minutes(*up, *down)).sum())
    }

    /// Whole minutes moving on the ground: block less airborne.
    pub fn taxi_minutes(&self) -> Option<u32> {
        Some(self.block_minutes()?.saturating_sub(self.airborne_minutes()?))
    }

    /// Energy taken out of the pack, kilowatt-hours, from the counter.
    pub fn energy_kwh(&self) -> Option<f64> {
        Some(self.after.as_ref()?.energy_counter_kwh? - self.before.as_ref()?.energy_counter_kwh?)
    }

    /// When it began, and when it was over: by the times that were noted, else by when it was opened and closed. It is not
    /// over while power is on and nobody has closed it.
    pub fn span(&self) -> (DateTime<Utc>, Option<DateTime<Utc>>) {
        let RunTimes { power_on, off_blocks, take_offs, landings, on_blocks, power_off } =
            &self.times;
        let single = [power_on, off_blocks, on_blocks, power_off].into_iter().flatten();
        let noted = || single.clone().chain(take_offs).chain(landings).copied();
        let begun = noted().min().unwrap_or(self.opened_at);
        let closed = self.closed.as_ref().map(|(_, at, _)| *at);
        let over = match power_off {
            Some(_) => noted().max(),
            None => closed.map(|closed| noted().max().map_or(closed, |noted| noted.max(closed))),
        };
        (begun, over)
    }

    /// The day, in UTC, on which it began.
    pub fn day(&self) -> NaiveDate {
        self.span().0.date_naive()
    }

    pub(super) fn note(&mut self, event: RunEvent, at: DateTime<Utc>) {
        self.times.put(event, at);
    }

    pub(super) fn read_energy(&mut self, body: &RunEnergyRead, entry: &Entry) {
        let reading = Some(EnergyReading {
            by: entry.by.clone(),
            at: entry.happened_at(),
            charge_percent: body.charge_percent,
            energy_counter_kwh: body.energy_counter_kwh,
        });
        match body.moment {
            ReadingMoment::Before => self.before = reading,
            ReadingMoment::After => self.after = reading,
        }
    }

    pub(super) fn knock_off(&mut self, body: &KnockedOff, entry: &Entry) {
        self.knocked_off.get_or_insert_with(|| KnockOff {
            by: entry.by.clone(),
            at: entry.happened_at(),
            reason: body.reason.clone(),
        });
    }

    pub(super) fn close(&mut self, body: &RunClosed, entry: &Entry) {
        self.closed = Some((entry.by.clone(), entry.at, body.debrief.clone()));
    }

    pub(super) fn correct(&mut self, body: &RunTimesCorrected, entry: &Entry) {
        let before = std::mem::replace(&mut self.times, body.times.clone());
        self.corrections.push(TimesCorrection {
            by: entry.by.clone(),
            at: entry.at,
            before,
            reason: body.reason.clone(),
        });
    }
}
