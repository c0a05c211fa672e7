//! Moments some seconds away from others.

use chrono::{DateTime, TimeDelta, Utc};

/// The longest time that is counted with, in seconds: about 300 years.
const LONGEST_S: f64 = 1.0e10;

/// The moment so many seconds after another, to the microsecond; absent for what is no number or leaves the calendar.
pub(super) fn after(at: DateTime<Utc>, seconds: f64) -> Option<DateTime<Utc>> {
    if !(-LONGEST_S..=LONGEST_S).contains(&seconds) {
        return None;
    }
    // Within the bounds every number of microseconds has its exact whole number.
    #[expect(clippy::cast_possible_truncation, reason = "rounded, and bounded above")]
    let micros = (seconds * 1e6).round() as i64;
    at.checked_add_signed(TimeDelta::microseconds(micros))
}

/// Seconds from one moment to another.
pub(super) fn seconds_between(from: DateTime<Utc>, to: DateTime<Utc>) -> f64 {
    (to - from).as_seconds_f64()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::story::morning;

    #[test]
    fn moments_lie_seconds_apart_and_nothing_leaves_the_calendar() {
        let at = after(morning(), -2.35).unwrap();
        assert_eq!(seconds_between(at, morning()), 2.35);
        for bad in [f64::NAN, f64::INFINITY, 1.1e10] {
            assert_eq!(after(morning(), bad), None, "{bad}");
        }
        assert_eq!(after(DateTime::<Utc>::MAX_UTC, 1.0), None);
    }
}
