//! Channels and derived parameters.

use serde::{Deserialize, Serialize};

use crate::codes::ChannelCode;
use crate::measure::Unit;

/// One series that recorders give, or a parameter worked out from them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Channel {
    /// Its code.
    pub code: ChannelCode,
    /// What it measures.
    pub title: String,
    /// Its unit.
    pub unit: Unit,
    /// Smallest figure that the sensor can give, in `unit`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lowest: Option<f64>,
    /// Greatest figure that the sensor can give, in `unit`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub highest: Option<f64>,
    /// Accuracy of the sensor, plus or minus, in `unit`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub accuracy: Option<f64>,
    /// How it is worked out, where it is a derived parameter and no sensor gives it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub derived_from: Option<String>,
}
