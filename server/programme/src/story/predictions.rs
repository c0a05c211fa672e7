//! Predictions of stories: rules, and runs whose recordings were reduced.

use serde_json::json;

use super::*;
use crate::codes::{IntervalNumber, ReductionNumber};
use crate::nouns::{
    DemandedPrediction, LandingReserve, PredictedComponent, PredictionKind, PredictionRules,
    ReserveRule,
};
use crate::record::{ReductionMade, RunEnergyRead};

/// Rules that predict the winding, with 5 K of margin and a tenth of model error that is worth four runs.
pub(crate) fn prediction_rules() -> PredictionRules {
    PredictionRules {
        components: vec![PredictedComponent {
            limit: code("L-winding"),
            depends_on: vec![code("motor")],
        }],
        demanded: Vec::new(),
        model_error_percent: 10.0,
        model_error_runs: 4,
        temperature_margin: Measure::new(5.0, Unit::Kelvin),
        field_elevation: None,
        usable_energy: Some(Measure::new(36.0, Unit::KilowattHour)),
        take_off_charge_percent: Some(90.0),
        reserves: vec![LandingReserve {
            phases: Vec::new(),
            rule: ReserveRule::InSightOfField,
            power: Measure::new(48.0, Unit::Kilowatt),
            source: "the team's reserve".to_owned(),
        }],
        damping_judged_from: Some(Measure::new(80.0, Unit::Knot)),
        least_damping_percent: Some(1.0),
        take_off_power: None,
        source: "the team's rules".to_owned(),
    }
}

/// Rules that demand a kind for every phase.
pub(crate) fn demanding(kind: PredictionKind) -> PredictionRules {
    let demanded = vec![DemandedPrediction { kind, phases: Vec::new() }];
    PredictionRules { demanded, ..prediction_rules() }
}

/// A point at a power for ten minutes.
pub(crate) fn powered(name: &str, power_kw: f64) -> Point {
    let mut powered = point(name);
    powered.conditions.insert(Axis::Power, condition(power_kw, 1.0, Unit::Kilowatt));
    powered.conditions.insert(Axis::TimeAtPower, condition(600.0, 10.0, Unit::Second));
    powered
}

/// A flight at a speed.
pub(crate) fn flight(name: &str, speed_kt: f64) -> Point {
    let mut flight = Point { phase: Phase::Envelope, ..point(name) };
    flight.conditions.insert(Axis::Speed, condition(speed_kt, 2.0, Unit::Knot));
    flight.limits.clear();
    flight
}

impl Story {
    /// The policy with these rules.
    pub fn predicting(&mut self, rules: PredictionRules) -> &mut Self {
        let policy = Policy { predictions: Some(rules), ..policy() };
        self.record("safety", PolicySet { policy })
    }

    /// Something was worked out of all of a recording.
    pub fn reduced(
        &mut self,
        (recording, run): (Digest, RunNumber),
        point: &str,
        topic: &str,
        result: &serde_json::Value,
    ) -> ReductionNumber {
        let made = u32::try_from(self.state.recordings.reductions.len()).unwrap();
        let reduction = ReductionNumber(made + 1);
        let interval = self.state.recordings.intervals.len();
        let interval = (interval > 0).then(|| IntervalNumber(u32::try_from(interval).unwrap()));
        self.record(
            "engineer",
            ReductionMade {
                reduction,
                recording,
                run,
                point: Some(code(point)),
                interval,
                topic: topic.to_owned(),
                version: "1".to_owned(),
                channels: vec![code("winding")],
                others: Vec::new(),
                given: any_digest(),
                result: serde_json_canonicalizer::to_string(result).unwrap(),
                replaces: None,
            },
        );
        reduction
    }

    /// A run whose recording shows how the winding warms: 200 s, and so many kelvins for each kilowatt; seen to 40 kW, for
    /// ten minutes, up to 50 K.
    pub fn warmed(&mut self, point: &str, rise_c_per_kw: f64) -> ReductionNumber {
        let of = self.recorded_run(point);
        let result = json!({
            "output": {
                "time_constant_s": 200.0, "time_constant_se_s": 2.0,
                "rise_c_per_kw": rise_c_per_kw, "rise_se_c_per_kw": 0.005,
                "residual_sd_c": 0.3, "time_constant_rise_correlation": 0.5,
                "recorded": {
                    "highest_power_kw": 40.0, "duration_s": 600.0,
                    "highest_rise_c": 50.0, "start_rise_c": 0.0,
                },
            },
            "rests_on": { "channels": { "temperature": "winding", "power": "kw", "ambient": "oat" } },
        });
        self.reduced(of, point, "thermal-fit", &result)
    }

    /// A flight of a point whose recording shows a damping.
    pub fn rapped(&mut self, point: &str, damping_ratio: f64) -> ReductionNumber {
        let of = self.recorded_run(point);
        let result = json!({
            "output": { "damping_ratio": damping_ratio, "frequency_hz": 6.5 },
            "rests_on": { "channels": { "signal": "accel" } },
        });
        self.reduced(of, point, "damping", &result)
    }

    /// A run for a point that took so much out of the pack, from 90 % charge.
    pub fn drew(&mut self, point: &str, energy_kwh: f64) -> RunNumber {
        let run = self.open_run(&[point]);
        let read = |moment, charge_percent, counter| RunEnergyRead {
            run,
            moment,
            charge_percent,
            energy_counter_kwh: Some(counter),
        };
        self.record("crew", read(crate::record::ReadingMoment::Before, 90.0, 100.0));
        self.record("crew", read(crate::record::ReadingMoment::After, 80.0, 100.0 + energy_kwh));
        self.close_run(run);
        run
    }

    /// The air is so warm.
    pub fn air(&mut self, celsius: f64) -> &mut Self {
        self.weather(WeatherObservation {
            temperature: Some(Measure::new(celsius, Unit::Celsius)),
            ..WeatherObservation::default()
        })
    }
}
