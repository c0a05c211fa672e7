//! What is told of a recording.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::{Micros, Refused, Remark, Rule};

/// How good a recording is: what was taken, what was refused, what is missing.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Quality {
    /// Rows that were taken.
    pub rows: u64,
    /// The moment of the first row.
    pub first: Option<Micros>,
    /// The moment of the last row.
    pub last: Option<Micros>,
    /// Every refused cell or row, counted by its rule.
    pub refused_by_rule: BTreeMap<Rule, u64>,
    /// The first hundred of them, in the order of the file.
    pub refused: Vec<Refused>,
    /// What else is to be told of the file, at most a hundred.
    pub remarks: Vec<Remark>,
    /// The channels, in the order of the plan.
    pub channels: Vec<ChannelQuality>,
}

/// How good one channel is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChannelQuality {
    /// The channel's code.
    pub code: String,
    /// The unit of its values.
    pub unit: String,
    /// The column of the file.
    pub column: String,
    /// Rows with a value.
    pub present: u64,
    /// Rows without a value, those among them whose cell was refused.
    pub missing: u64,
    /// Refused cells of its column, counted by rule; also those in rows that were left out for their moment.
    pub refused_by_rule: BTreeMap<Rule, u64>,
    /// The least value, in `unit`.
    pub lowest: Option<f64>,
    /// The greatest value, in `unit`.
    pub highest: Option<f64>,
    /// Whether all values are the same.
    pub constant: bool,
    /// The usual time from value to value, in seconds: the median of the first 255 steps. Absent for fewer than two values.
    pub usual_step_s: Option<f64>,
    /// Times without a value: longer than five usual steps and longer than one second. The usual step is the median of the
    /// 255 steps among which the gap is, so that a recorder may change its rate. What lacks before the first value and
    /// after the last is judged in the same way. Common practice, no source.
    pub gaps: Stretches,
    /// Times in which the value stayed the same, bit by bit, for at least ten values and longer than is stated for the
    /// channel; cells that are missing in between do not end them. Common practice, no source.
    pub stuck: Stretches,
}

/// Stretches of one kind.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Stretches {
    /// How many there are.
    pub count: u64,
    /// How long they are together, in seconds.
    pub seconds: f64,
    /// How long the longest is, in seconds.
    pub longest_s: f64,
    /// The first hundred.
    pub first: Vec<Stretch>,
}

/// One stretch, from the last value before to the first after it, or from its first value to its last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stretch {
    /// Its beginning.
    pub from: Micros,
    /// Its end.
    pub to: Micros,
}

impl Stretches {
    pub(super) fn add(&mut self, from: Micros, to: Micros) {
        let seconds = to.seconds_since(from);
        self.count += 1;
        self.seconds += seconds;
        self.longest_s = self.longest_s.max(seconds);
        if self.first.len() < super::KEPT {
            self.first.push(Stretch { from, to });
        }
    }
}
