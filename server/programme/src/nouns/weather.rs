//! Weather as someone saw or read it at the field.

use serde::{Deserialize, Serialize};

use crate::measure::{Kind, Measure};
use crate::nouns::judging::Judging;
use crate::refusal::Fault;

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

impl WeatherObservation {
    /// What is wrong with it when it is looked at alone; `at` is its place in what was given.
    pub fn faults(&self, at: &str) -> Vec<Fault> {
        let mut judging = Judging::of(at);
        judging.must(
            *self != Self::default(),
            "weather",
            "must say something: wind, visibility, cloud base, temperature, pressure, precipitation or remarks",
        );
        for (field, speed) in
            [("wind", self.wind), ("gust", self.gust), ("crosswind", self.crosswind)]
        {
            if let Some(speed) = speed {
                judging.measure_not_negative(field, speed, Kind::Speed);
            }
        }
        for (field, length) in [("visibility", self.visibility), ("cloud_base", self.cloud_base)] {
            if let Some(length) = length {
                judging.measure_not_negative(field, length, Kind::Length);
            }
        }
        if let Some(from) = self.wind_from_deg {
            judging.must(
                (0.0..=360.0).contains(&from),
                "wind_from_deg",
                format!("must be from 0 to 360 degrees, and {from} was given"),
            );
        }
        if let Some(temperature) = self.temperature {
            judging.measure("temperature", temperature, Kind::Temperature);
        }
        if let Some(qnh) = self.qnh {
            judging.measure_positive("qnh", qnh, Kind::Pressure);
        }
        let (wind, gust) = (self.wind, self.gust);
        if let (Some(wind), Some(gust)) = (wind, gust)
            && wind.unit.kind() == gust.unit.kind()
            && gust.in_kinds_unit() < wind.in_kinds_unit()
        {
            judging.fault("gust", format!("gusts of {gust} are below the mean wind of {wind}"));
        }
        if let (Some(crosswind), Some(strongest)) = (self.crosswind, gust.or(wind))
            && crosswind.unit.kind() == strongest.unit.kind()
            && crosswind.in_kinds_unit() > strongest.in_kinds_unit()
        {
            judging.fault(
                "crosswind",
                format!("a crosswind of {crosswind} is above the wind of {strongest}"),
            );
        }
        if let Some(remarks) = &self.remarks {
            judging.text("remarks", remarks);
        }
        judging.done()
    }
}
