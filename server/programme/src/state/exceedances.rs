//! Exceedances, their explanation and closing.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};

use crate::codes::{ChannelCode, ExceedanceNumber, LimitCode, PersonHandle, PointCode, RunNumber};
use crate::entry::Entry;
use crate::nouns::Statistic;
use crate::record::{
    Digest, ExceedanceClosed, ExceedanceExplained, ExceedanceFound, ExceedanceNoted, RecordedMoment,
};

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

/// What a recording tells of an exceedance besides.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundInRecording {
    /// In which recording.
    pub recording: Digest,
    /// The record that set the limit as it was evaluated.
    pub limit_revision: u64,
    /// When it began, by the recorder's clock.
    pub started_at: RecordedMoment,
    /// When it was at its peak.
    pub peak_at: RecordedMoment,
    /// How long a value could be beyond the limit before it counted, in seconds.
    pub dwell_s: f64,
    /// The sensor that disagrees with the rest of its group.
    pub odd_one_out: Option<ChannelCode>,
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
    /// What a recording tells of it; absent where a person noted it.
    pub found: Option<FoundInRecording>,
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
            found: None,
            explained: None,
            explainers: BTreeSet::new(),
            closed: None,
        }
    }

    pub(super) fn found(body: &ExceedanceFound, entry: &Entry) -> Self {
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
            duration_s: Some(body.duration_s),
            found: Some(FoundInRecording {
                recording: body.recording.clone(),
                limit_revision: body.limit_revision,
                started_at: body.started_at,
                peak_at: body.peak_at,
                dwell_s: body.dwell_s,
                odd_one_out: body.odd_one_out.clone(),
            }),
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
