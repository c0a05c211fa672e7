//! What is taken from channels over an interval: one figure, or the reason why there is none.

use serde::{Deserialize, Serialize};

/// What a figure says of its channel, in the words of the programme.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Statistic {
    /// The greatest value.
    Max,
    /// The smallest value.
    Min,
    /// The mean over time.
    Mean,
    /// The value at the start.
    First,
    /// The value at the end.
    Last,
    /// The greatest change in a second, up or down.
    Rate,
    /// The greatest difference in the group at one moment.
    Spread,
    /// Seconds above a threshold.
    TimeAbove,
}

impl Statistic {
    /// The statistic as written.
    pub const fn as_str(self) -> &'static str {
        match self {
            Statistic::Max => "max",
            Statistic::Min => "min",
            Statistic::Mean => "mean",
            Statistic::First => "first",
            Statistic::Last => "last",
            Statistic::Rate => "rate",
            Statistic::Spread => "spread",
            Statistic::TimeAbove => "time-above",
        }
    }
}
