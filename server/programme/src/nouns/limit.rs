//! Limits: what must not be passed, and for how long.

use serde::{Deserialize, Serialize};

use crate::codes::{ChannelCode, LimitCode};
use crate::measure::{Kind, Unit};
use crate::nouns::Phase;
use crate::nouns::judging::Judging;
use crate::refusal::Fault;

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

impl LimitKind {
    /// The figure above which time is counted, in the limit's unit; absent where no time is.
    pub const fn counts_time_above(&self) -> Option<f64> {
        match self {
            LimitKind::TimeAbove { threshold, .. } => Some(*threshold),
            LimitKind::Rating { continuous, .. } => Some(*continuous),
            LimitKind::Maximum { .. }
            | LimitKind::Minimum { .. }
            | LimitKind::Range { .. }
            | LimitKind::Rate { .. }
            | LimitKind::Spread { .. } => None,
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

impl Limit {
    /// Whether a channel is held against it: its own, or another of its group.
    pub fn reads(&self, channel: &ChannelCode) -> bool {
        let in_group = match &self.kind {
            LimitKind::Spread { with, .. } => with.contains(channel),
            LimitKind::Maximum { .. }
            | LimitKind::Minimum { .. }
            | LimitKind::Range { .. }
            | LimitKind::Rate { .. }
            | LimitKind::TimeAbove { .. }
            | LimitKind::Rating { .. } => false,
        };
        self.channel == *channel || in_group
    }

    /// How hot something may become, in its unit; absent where it says nothing about that.
    pub fn greatest_temperature(&self) -> Option<f64> {
        let greatest = match self.kind {
            LimitKind::Maximum { limit, .. } => Some(limit),
            LimitKind::Range { high, .. } => Some(high),
            LimitKind::Minimum { .. }
            | LimitKind::Rate { .. }
            | LimitKind::Spread { .. }
            | LimitKind::TimeAbove { .. }
            | LimitKind::Rating { .. } => None,
        };
        greatest.filter(|_| self.unit.kind() == Kind::Temperature)
    }

    /// What is wrong with it when it is looked at alone; `at` is its place in what was given.
    pub fn faults(&self, at: &str) -> Vec<Fault> {
        let mut judging = Judging::of(at);
        judging.title("title", &self.title);
        judging.text("source", &self.source);
        judging.not_negative("dwell_s", self.dwell_s);
        judging.some_without_repeats("phases", &self.phases);
        self.kind.judge(&self.channel, &mut judging);
        judging.done()
    }
}

/// A caution value must be reached before its limit: for an upper bound it is not above it.
fn caution_below(judging: &mut Judging<'_>, field: &str, caution: Option<f64>, limit: f64) {
    if let Some(caution) = caution
        && judging.finite(field, caution)
        && caution > limit
    {
        judging.fault(field, format!("the caution value {caution} is beyond the limit {limit}"));
    }
}

/// For a lower bound the caution value is not below it.
fn caution_above(judging: &mut Judging<'_>, field: &str, caution: Option<f64>, limit: f64) {
    if let Some(caution) = caution
        && judging.finite(field, caution)
        && caution < limit
    {
        judging.fault(field, format!("the caution value {caution} is beyond the limit {limit}"));
    }
}

impl LimitKind {
    fn judge(&self, channel: &ChannelCode, judging: &mut Judging<'_>) {
        match self {
            LimitKind::Maximum { caution, limit } => {
                judging.finite("is.limit", *limit);
                caution_below(judging, "is.caution", *caution, *limit);
            }
            LimitKind::Minimum { caution, limit } => {
                judging.finite("is.limit", *limit);
                caution_above(judging, "is.caution", *caution, *limit);
            }
            LimitKind::Range { low, high, caution_low, caution_high } => {
                judging.finite("is.low", *low);
                judging.finite("is.high", *high);
                if low > high {
                    judging.fault(
                        "is.high",
                        format!("the upper limit {high} is below the lower {low}"),
                    );
                }
                caution_above(judging, "is.caution_low", *caution_low, *low);
                caution_below(judging, "is.caution_high", *caution_high, *high);
                if let (Some(caution_low), Some(caution_high)) = (caution_low, caution_high)
                    && caution_low > caution_high
                {
                    judging.fault(
                        "is.caution_high",
                        format!("the caution values cross: {caution_high} is below {caution_low}"),
                    );
                }
            }
            LimitKind::Rate { caution_per_s, limit_per_s } => {
                judging.positive("is.limit_per_s", *limit_per_s);
                if let Some(caution) = caution_per_s {
                    judging.not_negative("is.caution_per_s", *caution);
                }
                caution_below(judging, "is.caution_per_s", *caution_per_s, *limit_per_s);
            }
            LimitKind::Spread { with, caution, limit } => {
                judging.some_without_repeats("is.with", with);
                if let Some(place) = with.iter().position(|other| other == channel) {
                    judging.fault(
                        &format!("is.with[{place}]"),
                        format!(
                            "{channel} is the limit's own channel: name the others of its group"
                        ),
                    );
                }
                judging.positive("is.limit", *limit);
                if let Some(caution) = caution {
                    judging.not_negative("is.caution", *caution);
                }
                caution_below(judging, "is.caution", *caution, *limit);
            }
            LimitKind::TimeAbove { threshold, caution_s, limit_s } => {
                judging.finite("is.threshold", *threshold);
                judging.not_negative("is.limit_s", *limit_s);
                if let Some(caution) = caution_s {
                    judging.not_negative("is.caution_s", *caution);
                }
                caution_below(judging, "is.caution_s", *caution_s, *limit_s);
            }
            LimitKind::Rating { continuous, timed } => {
                judging.finite("is.continuous", *continuous);
                judging.must(
                    !timed.is_empty(),
                    "is.timed",
                    "must name at least one rating for a limited time; without any it is a maximum",
                );
                let mut below = TimedRating { value: *continuous, seconds: f64::INFINITY };
                for (place, rating) in timed.iter().enumerate() {
                    let value = format!("is.timed[{place}].value");
                    let seconds = format!("is.timed[{place}].seconds");
                    if judging.finite(&value, rating.value) && rating.value <= below.value {
                        judging.fault(
                            &value,
                            format!(
                                "ratings must rise: {} is not above {}",
                                rating.value, below.value
                            ),
                        );
                    }
                    judging.positive(&seconds, rating.seconds);
                    if rating.seconds > below.seconds {
                        judging.fault(
                            &seconds,
                            format!(
                                "a higher rating cannot last longer than a lower one: {} s after {} s",
                                rating.seconds, below.seconds
                            ),
                        );
                    }
                    below = *rating;
                }
            }
        }
    }
}
