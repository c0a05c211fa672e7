//! What is shown of a plot.

use chrono::{DateTime, Utc};
use evaluation::bounds::{Level, LevelKind, Side};
use programme::codes::{ExceedanceNumber, LimitCode};
use programme::measure::Unit;
use programme::nouns::Phase;
use programme::record::Digest;
use serde::Serialize;

/// Channels of a recording over some time.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct Plot {
    /// The recording.
    pub recording: Digest,
    /// The beginning of the time that is shown, by the recorder's clock.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<DateTime<Utc>>,
    /// Its end, by the recorder's clock.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to: Option<DateTime<Utc>>,
    /// How much the recorder's clock is ahead of the runs' times, seconds, as a person confirmed: a moment less this is the
    /// run's time. Absent: nobody did.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clock_offset_s: Option<f64>,
    /// Whether the recording was set aside, so that it counts for nothing.
    pub set_aside: bool,
    /// The channels.
    pub channels: Vec<PlotChannel>,
    /// Exceedances that were recorded of this recording in this time, of limits on these channels.
    pub exceedances: Vec<PlotExceedance>,
}

/// One channel.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct PlotChannel {
    /// Its code.
    pub channel: String,
    /// The unit of its values.
    pub unit: String,
    /// Readings in this time.
    pub readings: usize,
    /// Readings at their true moments, with the smallest and the greatest of each part of the time.
    pub points: Vec<PlotPoint>,
    /// Limits on the channel as they hold now.
    pub limits: Vec<PlotLimit>,
}

/// One reading.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct PlotPoint {
    /// When it was read, by the recorder's clock.
    pub at: DateTime<Utc>,
    /// What was read, in the channel's unit.
    pub value: f64,
    /// Whether there is a gap before it: no line joins it to the point before.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub after_gap: bool,
}

/// A limit on a plotted channel.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct PlotLimit {
    /// The limit.
    pub limit: LimitCode,
    /// What it protects.
    pub title: String,
    /// The record that set it.
    pub revision: u64,
    /// The word for what it is.
    pub kind: &'static str,
    /// How long a value may be beyond it before it counts, seconds.
    pub dwell_s: f64,
    /// The phases in which it holds.
    pub phases: Vec<Phase>,
    /// Its levels in the channel's unit; a rate and a spread have none.
    pub levels: Vec<Level>,
    /// How many stretches of this time are beyond a level.
    pub stretches: usize,
    /// The first two hundred of them.
    pub beyond: Vec<PlotBeyond>,
}

/// A stretch in which readings were beyond a level, however short. It is a drawing and no verdict.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct PlotBeyond {
    /// Beyond what: a caution value or a limit.
    pub level: LevelKind,
    /// On which side.
    pub side: Side,
    /// The first reading beyond it, by the recorder's clock.
    pub from: DateTime<Utc>,
    /// The last reading beyond it.
    pub to: DateTime<Utc>,
    /// The reading farthest beyond it, in the channel's unit.
    pub peak: f64,
    /// When that was.
    pub peak_at: DateTime<Utc>,
}

/// An exceedance that was recorded.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct PlotExceedance {
    /// Its number.
    pub exceedance: ExceedanceNumber,
    /// Of which limit.
    pub limit: LimitCode,
    /// The record that set the limit as it was held against it.
    pub limit_revision: u64,
    /// When it began, by the recorder's clock.
    pub started_at: DateTime<Utc>,
    /// When it was at its peak.
    pub peak_at: DateTime<Utc>,
    /// Its peak, in `unit`; of `time-above` in seconds, of `rate` in the unit a second.
    pub peak: f64,
    /// The limit's unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    /// How long, in seconds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub duration_s: Option<f64>,
    /// Whether it is closed.
    pub closed: bool,
}
