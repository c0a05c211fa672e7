//! Moments as recordings keep them.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

/// A moment: microseconds since 1970-01-01T00:00:00Z, as Parquet's `TIMESTAMP(MICROS, UTC)` has it.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Micros(pub i64);

/// Microseconds in a second.
pub const MICROS_PER_S: f64 = 1e6;

impl Micros {
    /// The moment; absent outside the years that a calendar date can have.
    pub fn to_utc(self) -> Option<DateTime<Utc>> {
        DateTime::from_timestamp_micros(self.0)
    }

    /// So many seconds as microseconds, rounded; the nearest that can be kept beyond what can.
    pub(crate) fn from_seconds(seconds: f64) -> Self {
        Self((seconds * MICROS_PER_S).round() as i64)
    }

    /// Seconds from an earlier moment to this one; negative where it is later.
    pub fn seconds_since(self, earlier: Micros) -> f64 {
        // The difference of two moments of one recording is far below 2^53 µs (285 years), so it is exact.
        (self.0 as f64 - earlier.0 as f64) / MICROS_PER_S
    }
}

impl From<DateTime<Utc>> for Micros {
    fn from(moment: DateTime<Utc>) -> Self {
        Self(moment.timestamp_micros())
    }
}
