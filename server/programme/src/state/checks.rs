//! Checks, when they were done, and the happenings that end their validity.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use crate::codes::{CheckCode, EventCode, PersonHandle};
use crate::entry::Entry;
use crate::nouns::Check;
use crate::record::{CheckDone, EventHappened};

/// One time that a check was done.
#[derive(Debug, Clone)]
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
    /// Minutes under power of the whole programme when it was recorded.
    pub powered_minutes: u32,
}

/// A check and its history.
#[derive(Debug, Clone)]
pub struct CheckState {
    /// The check.
    pub check: Check,
    /// Each time it was done, in the order recorded.
    pub done: Vec<Done>,
}

/// Something that happened to the aircraft.
#[derive(Debug, Clone)]
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
#[derive(Debug, Clone, Default)]
pub struct Checks {
    /// Checks by code.
    pub by_code: BTreeMap<CheckCode, CheckState>,
    /// Happenings, oldest first.
    pub happenings: Vec<Happening>,
}

impl Checks {
    /// The last happening of a kind that was recorded after a record, or that happened after a moment.
    pub fn happened_since(&self, event: &EventCode, done: &Done) -> Option<&Happening> {
        self.happenings
            .iter()
            .rev()
            .find(|h| h.event == *event && (h.seq > done.seq || h.at > done.at))
    }

    pub(super) fn define(&mut self, check: &Check) {
        self.by_code
            .entry(check.code.clone())
            .and_modify(|state| state.check = check.clone())
            .or_insert_with(|| CheckState { check: check.clone(), done: Vec::new() });
    }

    pub(super) fn done(&mut self, body: &CheckDone, powered_minutes: u32, entry: &Entry) {
        if let Some(state) = self.by_code.get_mut(&body.check) {
            state.done.push(Done {
                seq: entry.seq,
                at: entry.happened_at(),
                by: entry.by.clone(),
                passed: body.passed,
                findings: body.findings.clone(),
                powered_minutes,
            });
        }
    }

    pub(super) fn happened(&mut self, body: &EventHappened, entry: &Entry) {
        self.happenings.push(Happening {
            seq: entry.seq,
            at: entry.happened_at(),
            by: entry.by.clone(),
            event: body.event.clone(),
            account: body.account.clone(),
        });
    }
}
