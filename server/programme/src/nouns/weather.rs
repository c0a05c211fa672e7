//! Weather as someone saw or read it at the field.

use serde::{Deserialize, Serialize};

use crate::measure::Measure;

/// One observation. What was not observed is absent, and absent never meets a minimum.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WeatherObservation {
    /// Mean wind speed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wind: Option<Measure>,
    /// Where the wind comes from, degrees true, 0 to 360.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wind_from_deg: Option<f64>,
    /// Gusts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gust: Option<Measure>,
    /// Component across the runway in use, without its sign.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crosswind: Option<Measure>,
    /// Horizontal visibility.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub visibility: Option<Measure>,
    /// Base of the lowest cloud that matters, above the field.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cloud_base: Option<Measure>,
    /// Outside air temperature.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature: Option<Measure>,
    /// Pressure reduced to sea level in the standard atmosphere (QNH).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub qnh: Option<Measure>,
    /// Whether anything falls from the sky.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub precipitation: Option<bool>,
    /// State of the surface, thunderstorms near, or anything else worth a word.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remarks: Option<String>,
}
