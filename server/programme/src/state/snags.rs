//! Snags.

use chrono::{DateTime, Utc};

use crate::codes::{ItemCode, PersonHandle, RunNumber, SnagNumber};
use crate::entry::Entry;
use crate::nouns::{Phase, Severity};
use crate::record::{Digest, SnagClosed, SnagOpened, SnagWorked};

/// Work on a snag.
#[derive(Debug, Clone, PartialEq)]
pub struct SnagWork {
    /// By whom.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// What was found to be the cause.
    pub cause: Option<String>,
    /// What was done.
    pub action: Option<String>,
}

/// A defect or anomaly.
#[derive(Debug, Clone, PartialEq)]
pub struct Snag {
    /// Its number.
    pub number: SnagNumber,
    /// The record that opened it.
    pub seq: u64,
    /// Who found it.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// What was found.
    pub title: String,
    /// Whether it grounds.
    pub grounding: bool,
    /// How bad it could be.
    pub severity: Severity,
    /// On which item.
    pub item: Option<ItemCode>,
    /// In which run.
    pub run: Option<RunNumber>,
    /// Phases it grounds; none: all.
    pub phases: Vec<Phase>,
    /// What was found out and done.
    pub work: Vec<SnagWork>,
    /// Who closed it, when, on which digest.
    pub closed: Option<(PersonHandle, DateTime<Utc>, Digest)>,
}

impl Snag {
    /// Whether it holds points of a phase.
    pub fn grounds(&self, phase: Phase) -> bool {
        self.closed.is_none()
            && self.grounding
            && (self.phases.is_empty() || self.phases.contains(&phase))
    }

    pub(super) fn open(body: &SnagOpened, entry: &Entry) -> Self {
        Self {
            number: body.snag,
            seq: entry.seq,
            by: entry.by.clone(),
            at: entry.happened_at(),
            title: body.title.clone(),
            grounding: body.grounding,
            severity: body.severity,
            item: body.item.clone(),
            run: body.run,
            phases: body.phases.clone(),
            work: Vec::new(),
            closed: None,
        }
    }

    pub(super) fn work(&mut self, body: &SnagWorked, entry: &Entry) {
        self.grounding |= body.grounds_now;
        self.work.push(SnagWork {
            by: entry.by.clone(),
            at: entry.happened_at(),
            cause: body.cause.clone(),
            action: body.action.clone(),
        });
    }

    pub(super) fn close(&mut self, body: &SnagClosed, entry: &Entry) {
        self.work.push(SnagWork {
            by: entry.by.clone(),
            at: entry.happened_at(),
            cause: Some(body.cause.clone()),
            action: Some(body.action.clone()),
        });
        self.closed = Some((entry.by.clone(), entry.at, body.digest.clone()));
    }
}
