//! What is told of a run's recordings and a limit.

use chrono::{DateTime, Utc};
use programme::codes::{ChannelCode, LimitCode};
use programme::measure::Unit;
use programme::nouns::Statistic;
use programme::record::Digest;
use serde::Serialize;

/// How a run's recordings lie to a limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
#[schema(as = RecordedLimitOutcome)]
pub enum LimitOutcome {
    /// Inside, short of the caution value, watched all the time, and so far inside that the sensors can tell.
    Within,
    /// Nothing beyond for longer than may be, and something that people must look at: the caution value was reached, a time
    /// was not watched, or the sensors cannot tell.
    Caution,
    /// Beyond for longer than may be.
    Exceeded,
    /// A channel has no readings in the recordings of the run; never a pass.
    Missing,
    /// No recorder of the programme has a column for a channel, so that people read it; never a pass.
    NotRecorded,
}

/// The figure furthest towards a limit, in the limit's unit; of `time-above` in seconds, of `rate` in the unit a second.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct FurthestFigure {
    /// Which statistic.
    pub statistic: Statistic,
    /// The figure.
    pub value: f64,
    /// When, by the run's clock.
    pub at: DateTime<Utc>,
    /// The limit.
    pub bound: f64,
    /// How far inside it is; negative: beyond.
    pub margin: f64,
    /// The margin that is left if the sensor erred as far as its accuracy allows; absent where that is not known, and for
    /// rates.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub margin_after_accuracy: Option<f64>,
    /// Inside as read, and not inside if the sensor erred as far as its accuracy allows.
    pub beyond_within_accuracy: bool,
    /// Whether the caution value was reached.
    pub past_caution: bool,
    /// Beyond, but never for longer than the limit allows.
    pub beyond_within_dwell: bool,
    /// Of a spread at its caution value or past it: the sensor that stood out of its group around that time.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub odd_one_out: Option<ChannelCode>,
}

/// Time in which a channel was not watched.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct NotWatched {
    /// The channel.
    pub channel: String,
    /// How often there was no reading for too long.
    pub times: usize,
    /// How long in all, in seconds.
    pub seconds: f64,
    /// When the longest of these times began, by the run's clock.
    pub longest_from: DateTime<Utc>,
    /// When it was over.
    pub longest_to: DateTime<Utc>,
}

/// What was found of an exceedance, in the limit's unit.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct SeenExceedance {
    /// In which recording it begins.
    pub recording: Digest,
    /// Which statistic.
    pub statistic: Statistic,
    /// When it began, by the run's clock.
    pub started_at: DateTime<Utc>,
    /// How long it was, in seconds.
    pub duration_s: f64,
    /// The figure furthest beyond; of `time-above` in seconds, of `rate` in the unit a second.
    pub peak: f64,
    /// When that was, by the run's clock.
    pub peak_at: DateTime<Utc>,
    /// The figure that was passed.
    pub bound: f64,
    /// How long a value could be beyond before it counted, in seconds.
    pub dwell_s: f64,
    /// Whether the recording ended beyond.
    pub lasts_to_the_end: bool,
    /// The sensor that disagrees with the rest of its group.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub odd_one_out: Option<ChannelCode>,
}

/// What the recordings of a run say to one limit.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct JudgedLimit {
    /// The limit.
    pub limit: LimitCode,
    /// The record that set the limit as it is held here.
    pub limit_revision: u64,
    /// Its channel.
    pub channel: ChannelCode,
    /// Its unit.
    pub unit: Unit,
    /// How they lie.
    pub outcome: LimitOutcome,
    /// Channels of the limit without readings.
    pub missing: Vec<String>,
    /// The figures furthest towards it, one for each statistic that it is held against.
    pub furthest: Vec<FurthestFigure>,
    /// What was not watched.
    pub not_watched: Vec<NotWatched>,
    /// The exceedances.
    pub exceedances: Vec<SeenExceedance>,
}
