//! What a recording says to a limit.

use serde::{Deserialize, Serialize};

use super::OddOneOut;
use crate::{Micros, Statistic};

/// Whether a limit could be judged.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "state", rename_all = "kebab-case")]
pub enum State {
    /// Every channel that the limit reads has readings.
    Judged {},
    /// Channels have no reading, or too few; never a pass. What the others showed is told all the same.
    Missing {
        /// The channels.
        channels: Vec<String>,
    },
}

/// A time without reading.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Gap {
    /// The last reading before, or the beginning.
    pub from: Micros,
    /// The first reading after, or the end.
    pub to: Micros,
}

impl Gap {
    /// How long it is, in seconds.
    pub fn seconds(self) -> f64 {
        self.to.seconds_since(self.from)
    }
}

/// An interval in which a channel was beyond a limit for longer than the limit allows.
///
/// It begins with the first reading beyond, and ends with the next reading that is inside again: what was between the two is
/// not known to be inside. Where the recording ends before, it ends at the end of the recording, which is the last row and
/// the usual step between rows. Missing readings never end it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Exceedance {
    /// The limit's code.
    pub limit: String,
    /// The limit's channel.
    pub channel: String,
    /// The first reading beyond.
    pub start: Micros,
    /// The next reading inside again, or the end of the recording.
    pub end: Micros,
    /// How long it was beyond, in seconds. For `time-above` of a time limit: only the seconds above the threshold.
    pub duration_s: f64,
    /// What was beyond.
    pub statistic: Statistic,
    /// The figure furthest beyond: in the channel's unit, for `rate` a second, for `time-above` in seconds.
    pub peak: f64,
    /// When.
    pub peak_at: Micros,
    /// The figure that was passed, in the unit of `peak`.
    pub bound: f64,
    /// How long it may be beyond before it counts, in seconds.
    pub dwell_s: f64,
    /// Whether the recording ended beyond.
    pub lasts_to_the_end: bool,
    /// The longest time without reading inside the interval, where one is long enough to be told.
    pub longest_gap: Option<Gap>,
    /// For `spread`: which sensor stands out.
    pub odd_one_out: Option<OddOneOut>,
}

/// How the figure furthest towards a limit lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// Inside, and short of the caution value.
    Within,
    /// Inside, at the caution value or past it.
    Caution,
    /// Beyond, but never for longer than the limit allows.
    BeyondWithinDwell,
    /// Beyond.
    Beyond,
}

/// The figure furthest towards a limit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Furthest {
    /// What it is.
    pub statistic: Statistic,
    /// The figure: in the channel's unit, for `rate` a second, for `time-above` in seconds.
    pub value: f64,
    /// When.
    pub at: Micros,
    /// The limit, in the same unit.
    pub bound: f64,
    /// How far inside the limit it is; negative beyond it.
    pub margin: f64,
    /// The margin that is left if the sensor erred as far as its accuracy allows; absent where that is not known. A rate
    /// has none, for what is wrong by the same amount all the time has the right slope.
    pub margin_after_accuracy: Option<f64>,
    /// Inside as read, but not if the sensor erred as far as its accuracy allows: it cannot be told to be inside.
    pub beyond_within_accuracy: bool,
    /// How it lies.
    pub standing: Standing,
}

/// What people must know besides the exceedances.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "caution", rename_all = "kebab-case")]
pub enum Caution {
    /// A channel had no reading for longer than may be.
    NotWatched {
        /// The channel.
        channel: String,
        /// How often.
        gaps: usize,
        /// How long in all, in seconds.
        seconds: f64,
        /// The longest of them.
        longest: Gap,
    },
    /// The caution value was reached.
    PastCaution {
        /// By what.
        statistic: Statistic,
        /// The figure furthest past it.
        value: f64,
        /// The caution value.
        warned_at: f64,
    },
    /// Readings were beyond, but never for longer than the limit allows.
    ShorterThanDwell {
        /// By what.
        statistic: Statistic,
        /// How often.
        times: usize,
        /// How long the longest was, in seconds.
        longest_s: f64,
    },
    /// The figure is inside as read, but the sensor is not accurate enough to tell.
    CannotBeToldInside {
        /// Which.
        statistic: Statistic,
        /// The figure.
        value: f64,
        /// What it is if the sensor erred as far as its accuracy allows.
        may_be: f64,
        /// The limit.
        bound: f64,
    },
}

/// What a recording says to one limit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Judged {
    /// Whether it could be judged.
    pub state: State,
    /// The exceedances in order of time.
    pub found: Vec<Exceedance>,
    /// The figure furthest towards the limit, one for each statistic that the kind of limit is held against; none where
    /// nothing was read.
    pub furthest: Vec<Furthest>,
    /// What else must be known.
    pub cautions: Vec<Caution>,
}

impl Judged {
    /// The figure with the least margin.
    pub fn nearest(&self) -> Option<&Furthest> {
        self.furthest.iter().min_by(|a, b| a.margin.total_cmp(&b.margin))
    }

    /// Whether the recording shows the channel inside the limit: every channel has readings, none is beyond for longer than
    /// may be, no time was without watch, and no figure is so near that the sensor cannot tell.
    pub fn shows_inside(&self) -> bool {
        let told = |caution: &Caution| match caution {
            Caution::NotWatched { .. } | Caution::CannotBeToldInside { .. } => true,
            Caution::PastCaution { .. } | Caution::ShorterThanDwell { .. } => false,
        };
        matches!(self.state, State::Judged {})
            && self.found.is_empty()
            && !self.furthest.is_empty()
            && !self.cautions.iter().any(told)
    }
}
