//! Stand-downs and observed weather.

use chrono::{DateTime, Utc};

use crate::codes::PersonHandle;
use crate::entry::Entry;
use crate::nouns::WeatherObservation;
use crate::record::{StandDownCalled, StandDownLifted, WeatherObserved};

/// A stop called on the whole programme.
#[derive(Debug, Clone, PartialEq)]
pub struct StandDown {
    /// The record.
    pub seq: u64,
    /// Who called it.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Why.
    pub reason: String,
    /// Who lifted it, when and why.
    pub lifted: Option<(PersonHandle, DateTime<Utc>, String)>,
}

impl StandDown {
    pub(super) fn called(body: &StandDownCalled, entry: &Entry) -> Self {
        Self {
            seq: entry.seq,
            by: entry.by.clone(),
            at: entry.at,
            reason: body.reason.clone(),
            lifted: None,
        }
    }

    pub(super) fn lift(&mut self, body: &StandDownLifted, entry: &Entry) {
        self.lifted = Some((entry.by.clone(), entry.at, body.reasons.clone()));
    }
}

/// Weather that somebody observed.
#[derive(Debug, Clone, PartialEq)]
pub struct Observed {
    /// The record.
    pub seq: u64,
    /// Who.
    pub by: PersonHandle,
    /// When it was so.
    pub at: DateTime<Utc>,
    /// When it was recorded.
    pub recorded_at: DateTime<Utc>,
    /// What was observed.
    pub weather: WeatherObservation,
}

impl Observed {
    pub(super) fn new(body: &WeatherObserved, entry: &Entry) -> Self {
        Self {
            seq: entry.seq,
            by: entry.by.clone(),
            at: entry.happened_at(),
            recorded_at: entry.at,
            weather: body.weather.clone(),
        }
    }

    /// Whether it was so before another. A clock that is fast makes an observation no newer than its record, so that it
    /// hides nothing that is reported after it.
    pub(super) fn was_before(&self, other: &Self) -> bool {
        self.at.min(self.recorded_at) < other.at.min(other.recorded_at)
    }
}
