//! Checks, when they were done, and the happenings that end their validity.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, TimeDelta, Utc};

use super::Run;
use crate::codes::{CheckCode, EventCode, PersonHandle, RunNumber};
use crate::entry::Entry;
use crate::nouns::Check;
use crate::record::{CheckDone, EventHappened};

/// One time that a check was done.
#[derive(Debug, Clone, PartialEq)]
pub struct Done {
    /// The record.
    pub seq: u64,
    /// When it was done.
    pub at: DateTime<Utc>,
    /// By whom.
    pub by: PersonHandle,
    /// Whether it passed.
    pub passed: bool,
    /// Readings and what was seen.
    pub findings: String,
}

/// What a run adds to the minutes under power since a check.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PoweredSpan {
    run: RunNumber,
    /// When power was off for good; absent while the run is open.
    ended: Option<DateTime<Utc>>,
    minutes: Option<u32>,
}

impl PoweredSpan {
    pub(super) fn of(run: &Run) -> Self {
        let ended =
            run.closed.as_ref().map(|(_, closed_at, _)| run.times.power_off.unwrap_or(*closed_at));
        Self { run: run.number, ended, minutes: run.powered_minutes() }
    }

    /// A run during which the check was done counts in full.
    fn counts_since(self, check_done: DateTime<Utc>) -> bool {
        self.ended.is_none_or(|ended| ended > check_done)
    }
}

/// Minutes under power since a check was last passed.
#[derive(Debug, Clone, Default, PartialEq)]
struct PoweredSince {
    minutes: u64,
    /// Runs since then whose minutes nobody knows.
    unknown: BTreeSet<RunNumber>,
}

impl PoweredSince {
    fn add(&mut self, span: PoweredSpan) {
        match span.minutes {
            Some(minutes) => self.minutes += u64::from(minutes),
            None => {
                self.unknown.insert(span.run);
            }
        }
    }

    fn take_away(&mut self, span: PoweredSpan) {
        match span.minutes {
            Some(minutes) => self.minutes -= u64::from(minutes),
            None => {
                self.unknown.remove(&span.run);
            }
        }
    }
}

/// A check and its history.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckState {
    /// The check.
    pub check: Check,
    /// Each time it was done, in the order recorded.
    pub done: Vec<Done>,
    last_pass: Option<usize>,
    failure: Option<usize>,
    powered_since: PoweredSince,
}

impl CheckState {
    /// The pass that was done last; a pass recorded late does not replace one that was done after it.
    pub fn last_pass(&self) -> Option<&Done> {
        self.last_pass.map(|place| &self.done[place])
    }

    /// A failure that no pass has answered: none that was both recorded after it and done no earlier.
    pub fn failure(&self) -> Option<&Done> {
        self.failure.map(|place| &self.done[place])
    }

    /// Minutes under power since the last pass.
    ///
    /// # Errors
    ///
    /// The first run since then whose minutes are not known.
    pub fn powered_minutes_since(&self) -> Result<u64, RunNumber> {
        self.powered_since.unknown.first().map_or(Ok(self.powered_since.minutes), |run| Err(*run))
    }

    /// When it becomes due by the clock: the end of its validity since the last pass; none where it was never passed or
    /// no time ends it. Powered hours and happenings can end it sooner.
    pub fn due_at(&self) -> Option<DateTime<Utc>> {
        let passed = self.last_pass()?;
        let validity = &self.check.validity;
        let hours =
            validity.clock_hours.into_iter().chain(validity.days.map(|d| f64::from(d) * 24.0));
        let shortest = hours.fold(f64::INFINITY, f64::min);
        // Milliseconds far beyond any calendar saturate, and then there is no such moment.
        let valid_for = TimeDelta::try_milliseconds((shortest * 3_600_000.0).round() as i64)?;
        passed.at.checked_add_signed(valid_for)
    }

    fn take_in(&mut self, done: Done, runs: &[Run]) {
        let place = self.done.len();
        let no_earlier = |before: Option<&Done>| before.is_none_or(|before| done.at >= before.at);
        if done.passed {
            if no_earlier(self.failure()) {
                self.failure = None;
            }
            if no_earlier(self.last_pass()) {
                self.last_pass = Some(place);
                self.powered_since = PoweredSince::default();
                for span in runs.iter().map(PoweredSpan::of) {
                    if span.counts_since(done.at) {
                        self.powered_since.add(span);
                    }
                }
            }
        } else if no_earlier(self.failure()) {
            self.failure = Some(place);
        }
        self.done.push(done);
    }
}

/// Something that happened to the aircraft.
#[derive(Debug, Clone, PartialEq)]
pub struct Happening {
    /// The record.
    pub seq: u64,
    /// When it happened.
    pub at: DateTime<Utc>,
    /// Who reported it.
    pub by: PersonHandle,
    /// What kind.
    pub event: EventCode,
    /// What happened.
    pub account: String,
}

/// All checks and happenings.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Checks {
    /// Checks by code.
    pub by_code: BTreeMap<CheckCode, CheckState>,
    /// Happenings, oldest first.
    pub happenings: Vec<Happening>,
    latest: BTreeMap<EventCode, Latest>,
}

/// Places in [`Checks::happenings`] of the last of a kind.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Latest {
    recorded: usize,
    happened: usize,
}

impl Checks {
    /// The last happening of a kind that was recorded after a record, or that happened after a moment.
    pub fn happened_since(&self, event: &EventCode, done: &Done) -> Option<&Happening> {
        let latest = self.latest.get(event)?;
        let recorded = &self.happenings[latest.recorded];
        let happened = &self.happenings[latest.happened];
        if recorded.seq > done.seq {
            return Some(recorded);
        }
        (happened.at > done.at).then_some(happened)
    }

    pub(super) fn define(&mut self, check: &Check) {
        self.by_code
            .entry(check.code.clone())
            .and_modify(|state| state.check = check.clone())
            .or_insert_with(|| CheckState {
                check: check.clone(),
                done: Vec::new(),
                last_pass: None,
                failure: None,
                powered_since: PoweredSince::default(),
            });
    }

    pub(super) fn done(&mut self, body: &CheckDone, runs: &[Run], entry: &Entry) {
        if let Some(state) = self.by_code.get_mut(&body.check) {
            let done = Done {
                seq: entry.seq,
                at: entry.happened_at(),
                by: entry.by.clone(),
                passed: body.passed,
                findings: body.findings.clone(),
            };
            state.take_in(done, runs);
        }
    }

    /// A run was opened, or its times or its closing changed.
    pub(super) fn run_changed(&mut self, before: Option<PoweredSpan>, after: PoweredSpan) {
        if before == Some(after) {
            return;
        }
        for state in self.by_code.values_mut() {
            let Some(passed_at) = state.last_pass().map(|done| done.at) else { continue };
            if let Some(before) = before.filter(|span| span.counts_since(passed_at)) {
                state.powered_since.take_away(before);
            }
            if after.counts_since(passed_at) {
                state.powered_since.add(after);
            }
        }
    }

    pub(super) fn happened(&mut self, body: &EventHappened, entry: &Entry) {
        let place = self.happenings.len();
        let at = entry.happened_at();
        let latest = self
            .latest
            .entry(body.event.clone())
            .or_insert(Latest { recorded: place, happened: place });
        latest.recorded = place;
        if self.happenings.get(latest.happened).is_none_or(|before| at >= before.at) {
            latest.happened = place;
        }
        self.happenings.push(Happening {
            seq: entry.seq,
            at,
            by: entry.by.clone(),
            event: body.event.clone(),
            account: body.account.clone(),
        });
    }
}
