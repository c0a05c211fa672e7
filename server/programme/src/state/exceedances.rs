//! Exceedances, their explanation and closing.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};

use crate::codes::{ExceedanceNumber, LimitCode, PersonHandle, PointCode, RunNumber};
use crate::entry::Entry;
use crate::nouns::Statistic;
use crate::record::{Digest, ExceedanceClosed, ExceedanceExplained, ExceedanceNoted};

/// Why an exceedance came about, as an engineer sees it.
#[derive(Debug, Clone, PartialEq)]
pub struct Explanation {
    /// The record.
    pub seq: u64,
    /// By whom.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// The explanation.
    pub explanation: String,
    /// What is done about it.
    pub action: String,
}

/// A value beyond its limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Exceedance {
    /// Its number.
    pub number: ExceedanceNumber,
    /// The record.
    pub seq: u64,
    /// Who noted it.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// In which run.
    pub run: RunNumber,
    /// Of which limit.
    pub limit: LimitCode,
    /// For which point, where a result showed it.
    pub point: Option<PointCode>,
    /// Which statistic went beyond.
    pub statistic: Statistic,
    /// Its peak, in the limit's unit; of `time-above` in seconds, of `rate` in the unit a second.
    pub peak: f64,
    /// How long, in seconds.
    pub duration_s: Option<f64>,
    /// Its explanation; a new one replaces an old one until it is closed.
    pub explained: Option<Explanation>,
    /// Everybody who has explained it, also with an explanation that another replaced.
    pub explainers: BTreeSet<PersonHandle>,
    /// Who closed it, when, on which digest.
    pub closed: Option<(PersonHandle, DateTime<Utc>, Digest)>,
}

impl Exceedance {
    pub(super) fn noted(body: &ExceedanceNoted, entry: &Entry) -> Self {
        Self {
            number: body.exceedance,
            seq: entry.seq,
            by: entry.by.clone(),
            at: entry.happened_at(),
            run: body.run,
            limit: body.limit.clone(),
            point: body.point.clone(),
            statistic: body.statistic,
            peak: body.peak,
            duration_s: body.duration_s,
            explained: None,
            explainers: BTreeSet::new(),
            closed: None,
        }
    }

    pub(super) fn explain(&mut self, body: &ExceedanceExplained, entry: &Entry) {
        self.explainers.insert(entry.by.clone());
        self.explained = Some(Explanation {
            seq: entry.seq,
            by: entry.by.clone(),
            at: entry.at,
            explanation: body.explanation.clone(),
            action: body.action.clone(),
        });
    }

    pub(super) fn close(&mut self, body: &ExceedanceClosed, entry: &Entry) {
        self.closed = Some((entry.by.clone(), entry.at, body.digest.clone()));
    }
}
