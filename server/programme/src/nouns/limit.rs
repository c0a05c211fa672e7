//! Limits: what must not be passed, and for how long.

use serde::{Deserialize, Serialize};

use crate::codes::{ChannelCode, LimitCode};
use crate::measure::Unit;
use crate::nouns::Phase;

/// A rating that may be used for a limited time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TimedRating {
    /// Greatest value while the rating is used, in the limit's unit.
    pub value: f64,
    /// How long above the continuous rating it may last, in seconds.
    pub seconds: f64,
}

/// What is compared with what. Figures are in the limit's unit unless the name says otherwise.
///
/// A value exactly at a limit is inside it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum LimitKind {
    /// The greatest value is at most `limit`.
    Maximum {
        /// From here on people are warned.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        caution: Option<f64>,
        /// The limit.
        limit: f64,
    },
    /// The smallest value is at least `limit`.
    Minimum {
        /// From here down people are warned.
        #[serde(default, skip_serializing_if = "Option::is_none")]
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
        /// Below this people are warned.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        caution_low: Option<f64>,
        /// Above this people are warned.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        caution_high: Option<f64>,
    },
    /// The value changes by at most `limit_per_s` each second, up or down.
    Rate {
        /// From here on people are warned, unit a second.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        caution_per_s: Option<f64>,
        /// The limit, unit a second.
        limit_per_s: f64,
    },
    /// Sensors of a group differ by at most `limit` at any moment.
    Spread {
        /// The group, besides the limit's own channel.
        with: Vec<ChannelCode>,
        /// From here on people are warned.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        caution: Option<f64>,
        /// The limit.
        limit: f64,
    },
    /// The value is above `threshold` for at most `limit_s` seconds in a run.
    TimeAbove {
        /// Time counts above this.
        threshold: f64,
        /// From here on people are warned, seconds.
        #[serde(default, skip_serializing_if = "Option::is_none")]
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

impl LimitKind {
    /// The word for the kind.
    pub const fn as_str(&self) -> &'static str {
        match self {
            LimitKind::Maximum { .. } => "maximum",
            LimitKind::Minimum { .. } => "minimum",
            LimitKind::Range { .. } => "range",
            LimitKind::Rate { .. } => "rate",
            LimitKind::Spread { .. } => "spread",
            LimitKind::TimeAbove { .. } => "time-above",
            LimitKind::Rating { .. } => "rating",
        }
    }
}

/// A limit on one channel or derived parameter.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Limit {
    /// Its code.
    pub code: LimitCode,
    /// What it protects.
    pub title: String,
    /// The channel or derived parameter that is held against it.
    pub channel: ChannelCode,
    /// The unit of its figures; of the channel's kind.
    pub unit: Unit,
    /// Maximum, minimum, range, rate, spread, time above, or rating.
    #[serde(rename = "is")]
    pub kind: LimitKind,
    /// How long a value may be beyond the limit before it counts as an exceedance, in seconds.
    #[serde(default)]
    pub dwell_s: f64,
    /// The phases in which it holds.
    pub phases: Vec<Phase>,
    /// Who or what states it.
    pub source: String,
}
