//! Channels and derived parameters.

use serde::{Deserialize, Serialize};

use crate::codes::ChannelCode;
use crate::measure::Unit;
use crate::nouns::judging::Judging;
use crate::refusal::Fault;

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

impl Channel {
    /// What is wrong with it when it is looked at alone; `at` is its place in what was given.
    pub fn faults(&self, at: &str) -> Vec<Fault> {
        let mut judging = Judging::of(at);
        judging.title("title", &self.title);
        judging.must(
            self.unit != Unit::Fahrenheit,
            "unit",
            "must be degC for a temperature; a recorder's file may have degrees Fahrenheit, which become degrees Celsius",
        );
        for (field, figure) in [("lowest", self.lowest), ("highest", self.highest)] {
            if let Some(figure) = figure {
                judging.finite(field, figure);
            }
        }
        if let (Some(lowest), Some(highest)) = (self.lowest, self.highest) {
            // Written so that a NaN is told once, above.
            if lowest >= highest {
                judging.fault(
                    "highest",
                    format!("must be above the lowest figure, and {highest} is not above {lowest}"),
                );
            }
        }
        if let Some(accuracy) = self.accuracy {
            judging.not_negative("accuracy", accuracy);
        }
        if let Some(derived_from) = &self.derived_from {
            judging.text("derived_from", derived_from);
        }
        judging.done()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_temperature_is_kept_in_degrees_celsius() {
        let places = |unit| {
            let channel = Channel {
                code: crate::story::code("c"),
                title: "A channel".to_owned(),
                unit,
                lowest: None,
                highest: None,
                accuracy: None,
                derived_from: None,
            };
            channel.faults("").into_iter().map(|fault| fault.field).collect::<Vec<_>>()
        };
        assert!(places(Unit::Celsius).is_empty());
        assert_eq!(places(Unit::Fahrenheit), ["unit"]);
    }
}
