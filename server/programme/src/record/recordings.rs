//! The parts of records about recordings: what a file held, intervals of it, and in which order components heat.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::codes::{ChannelCode, LimitCode};
use crate::measure::Unit;
use crate::record::RunEvent;

/// What a recording holds of one channel.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RecordedChannel {
    /// The channel.
    pub channel: ChannelCode,
    /// Cells that are values.
    pub readings: u64,
    /// Cells that are empty.
    pub missing: u64,
    /// Cells that were refused: no number, or beyond what the sensor can give.
    pub refused: u64,
    /// Times over which it was silent for longer than its rate allows.
    pub gaps: u64,
    /// Times over which its value stood still for too long.
    pub stuck: u64,
}

const fn first() -> u32 {
    1
}

const fn is_first(number: &u32) -> bool {
    *number == 1
}

fn is_zero(seconds: &f64) -> bool {
    *seconds == 0.0
}

/// A moment told by one that was noted of a run.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct EventMark {
    /// What was noted.
    pub event: RunEvent,
    /// Which one, from 1, of those that come several times in a run.
    #[serde(default = "first", skip_serializing_if = "is_first")]
    pub number: u32,
    /// Seconds after it; negative: before it.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub after_s: f64,
}

/// A channel that stayed within a tolerance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SteadyChannel {
    /// The channel.
    pub channel: ChannelCode,
    /// The value it stayed at.
    pub target: f64,
    /// Half the width of the band around it.
    pub tolerance: f64,
    /// The unit of both.
    pub unit: Unit,
}

/// How an interval of a recording was found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(tag = "by", rename_all = "kebab-case", deny_unknown_fields)]
pub enum IntervalBasis {
    /// From one noted moment of the run to another.
    EventMarks {
        /// Its beginning.
        from: EventMark,
        /// Its end.
        to: EventMark,
    },
    /// A person gave its moments.
    Times {},
    /// Channels stayed within their tolerances for so long.
    Conditions {
        /// Each channel with target and tolerance.
        held: Vec<SteadyChannel>,
        /// The least time that was asked for, seconds.
        at_least_s: f64,
    },
}

/// Which component would reach its limit first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum HeatingOutcome {
    /// None before those that are meant to reach theirs earlier.
    InOrder,
    /// One that is meant to reach its limit later would reach it earlier.
    OutOfOrder,
    /// The recording does not say.
    Unknown,
}

/// How long one component could go on heating as it did.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct HeatingComponent {
    /// The limit that it must not reach.
    pub limit: LimitCode,
    /// The record that set the limit as it was evaluated.
    pub limit_revision: u64,
    /// The channel that is held against it.
    pub channel: ChannelCode,
    /// The greatest value, in the limit's unit; absent: the channel has none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub peak: Option<f64>,
    /// Time until it would reach its limit, seconds; absent: it would not, or that is not known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub time_to_limit_s: Option<f64>,
    /// Lower end of the interval of that time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub low_s: Option<f64>,
    /// Upper end of the interval of that time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub high_s: Option<f64>,
}

/// A moment of a recording, to the microsecond, by the recorder's own clock.
pub type RecordedMoment = DateTime<Utc>;
