//! Channels as a recording has them, and what becomes of a file's columns.

use serde::{Deserialize, Serialize};

/// One channel that is wanted of a file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChannelSpec {
    /// Its code in the programme.
    pub code: String,
    /// Its unit, as the programme writes it.
    pub unit: String,
    /// Smallest figure that the sensor can give, in `unit`; a smaller one is refused.
    pub lowest: Option<f64>,
    /// Greatest figure that the sensor can give, in `unit`; a greater one is refused.
    pub highest: Option<f64>,
    /// Accuracy of the sensor, plus or minus, in `unit`.
    pub accuracy: Option<f64>,
}

/// How one column of a file becomes a channel: `value = cell × scale + offset`, in the channel's unit.
///
/// Whoever makes the plan has worked unit, sign and scale of the mapping into the two figures.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ColumnPlan {
    /// What the file calls it: a header of CSV, `Message.Signal` of CAN, a field that the format defines.
    pub column: String,
    /// The channel.
    pub channel: ChannelSpec,
    /// Factor from the cell's figure to the channel's unit.
    pub scale: f64,
    /// Added after scaling, in the channel's unit.
    pub offset: f64,
}

impl ColumnPlan {
    /// What refused cells call the column: its name, at most the first 100 characters.
    pub(crate) fn name_in_refusals(&self) -> String {
        self.column.trim().chars().take(100).collect()
    }
}
