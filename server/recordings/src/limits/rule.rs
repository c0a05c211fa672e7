//! What is held against what, and how.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::Micros;

/// A rating that may be used for a limited time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TimedRating {
    /// Greatest value while the rating is used.
    pub value: f64,
    /// How long above the continuous rating it may last, in seconds.
    pub seconds: f64,
}

/// The kinds of limits that the programme has. Figures are in the channel's unit unless the name says otherwise.
///
/// A value exactly at a limit is inside it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum KindOfLimit {
    /// Every value is at most `limit`.
    Maximum {
        /// From here on people are warned.
        caution: Option<f64>,
        /// The limit.
        limit: f64,
    },
    /// Every value is at least `limit`.
    Minimum {
        /// From here down people are warned.
        caution: Option<f64>,
        /// The limit.
        limit: f64,
    },
    /// Every value is from `low` to `high`.
    Range {
        /// Lower limit.
        low: f64,
        /// Upper limit.
        high: f64,
        /// From here down people are warned.
        caution_low: Option<f64>,
        /// From here up people are warned.
        caution_high: Option<f64>,
    },
    /// The value changes by at most `limit_per_s` each second, up or down.
    Rate {
        /// From here on people are warned, unit a second.
        caution_per_s: Option<f64>,
        /// The limit, unit a second.
        limit_per_s: f64,
    },
    /// Sensors of a group differ by at most `limit` at any moment.
    Spread {
        /// The group, besides the limit's own channel.
        with: Vec<String>,
        /// From here on people are warned.
        caution: Option<f64>,
        /// The limit.
        limit: f64,
    },
    /// The value is above `threshold` for at most `limit_s` seconds in all.
    TimeAbove {
        /// Time counts above this.
        threshold: f64,
        /// From here on people are warned, seconds.
        caution_s: Option<f64>,
        /// The limit, seconds.
        limit_s: f64,
    },
    /// A continuous rating, and higher ones for a limited time.
    Rating {
        /// May last for ever.
        continuous: f64,
        /// May last as long as each says; in rising order of value.
        timed: Vec<TimedRating>,
    },
}

/// A limit as a recording is held against it. Its figures are in the unit of the channel: whoever makes the rule has
/// worked the units in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LimitRule {
    /// The limit's code in the programme.
    pub code: String,
    /// The channel that is held against it.
    pub channel: String,
    /// Unit of the figures, for people to read.
    pub unit: String,
    /// What is compared with what.
    pub kind: KindOfLimit,
    /// How long a value may be beyond before it counts, in seconds; exactly so long does not count yet. With 0 every
    /// reading beyond counts.
    pub dwell_s: f64,
}

impl LimitRule {
    /// All channels that it reads: its own first.
    pub fn channels(&self) -> Vec<&str> {
        let mut channels = vec![self.channel.as_str()];
        if let KindOfLimit::Spread { with, .. } = &self.kind {
            channels.extend(with.iter().map(String::as_str));
        }
        channels
    }
}

/// How recordings are held against limits, where the limit itself does not say.
#[derive(Debug, Clone, PartialEq)]
pub struct WatchOptions {
    /// From when to when the limit is to be watched; absent: as long as the channel's rows go.
    ///
    /// Where it begins before the first reading or ends after the last one, the difference is time without watch.
    pub over: Option<(Micros, Micros)>,
    /// Accuracy of each channel's sensor, plus or minus, in its unit; a channel that is absent has none that is known.
    pub accuracy: BTreeMap<String, f64>,
    /// A channel without reading for longer than this was not watched, in seconds.
    pub gap_s: f64,
    /// How long a reading of a group's sensor stands for the present one, in seconds.
    pub hold_s: f64,
    /// The time over which a rate is taken, in seconds.
    pub rate_window_s: f64,
    /// Seconds of a timed rating that come back in each second at or below the continuous rating.
    pub recovery_ratio: f64,
}

impl Default for WatchOptions {
    /// Gaps of 5 s are told, readings of a group are held for 1 s, rates are taken over 2 s, one second recovers one.
    ///
    /// # Source
    ///
    /// Common practice, no source; a team whose handbook says otherwise states its own.
    fn default() -> Self {
        Self {
            over: None,
            accuracy: BTreeMap::new(),
            gap_s: 5.0,
            hold_s: 1.0,
            rate_window_s: 2.0,
            recovery_ratio: 1.0,
        }
    }
}
