//! What every reduction refuses, and how it says so.

use proptest::prelude::*;
use serde_json::{Value, json};

use super::super::{Interval, Reason, reductions};
use super::{Made, at};

fn pack() -> Made {
    Made::lasting(100.0, 10.0).with("voltage", "V", |_| 350.0).with("current", "A", |_| 80.0)
}

#[test]
fn every_reason_is_told_at_once() {
    let made = pack();
    let roles = [("voltage", "pack_v"), ("power", "current")];
    let backwards = Interval { from: at(10.0), to: at(10.0) };
    let refused = made.reduce_as("energy", backwards, &roles, json!({})).unwrap_err();
    let told = refused.to_string();
    assert!(told.contains("spans no time"), "{told}");
    assert!(told.contains("There is no role power; the roles are voltage, current."), "{told}");
    assert!(told.contains("no channel pack_v, which is named for voltage"), "{told}");
    assert!(told.contains("No channel is named for current, which has to be in A."), "{told}");
}

#[test]
fn a_channel_in_another_unit_is_refused_and_both_units_are_named() {
    let made = pack().with("voltage", "mV", |_| 350_000.0);
    let refused = made.reduce("energy", json!({})).unwrap_err();
    assert_eq!(refused.to_string(), "Channel voltage is in mV, and voltage has to be in V.");
}

#[test]
fn missing_readings_are_taken_up_to_the_share_that_is_stated_and_no_further() {
    // 2 % of 100 s: values are missing strictly between the two ends of the gap.
    let missing = |seconds: f64| {
        pack().without("current", 50.05, 49.95 + seconds).reduce("energy", Value::Null)
    };
    assert!(missing(2.0).is_ok());
    let refused = missing(2.1).unwrap_err();
    assert!(matches!(refused.reasons[..], [Reason::TooMuchMissing { role: "current", .. }]));
    assert!(refused.to_string().contains("no readings in 2.1 % of the interval"), "{refused}");
}

#[test]
fn an_interval_that_goes_on_after_the_recording_lacks_readings() {
    let made = pack();
    let roles = [("voltage", "voltage"), ("current", "current")];
    let until = |seconds| Interval { from: at(0.0), to: at(seconds) };
    assert!(made.reduce_as("energy", until(102.0), &roles, json!({})).is_ok());
    let refused = made.reduce_as("energy", until(103.0), &roles, json!({})).unwrap_err();
    assert_eq!(refused.reasons.len(), 2);
}

#[test]
fn figures_that_a_reduction_does_not_know_are_refused() {
    let refused = pack().reduce("energy", json!({ "gap": 3 })).unwrap_err();
    assert!(matches!(refused.reasons[..], [Reason::Given(_)]), "{refused}");
}

#[test]
fn infinity_is_no_reading() {
    let made = pack().with("current", "A", |t_s| if t_s < 1.0 { f64::INFINITY } else { 80.0 });
    let reduced = made.reduce("energy", json!({})).unwrap();
    let energy_kwh = reduced.output["energy_kwh"].as_f64().unwrap();
    super::is_near(energy_kwh, 350.0 * 80.0 * 99.0 / 3.6e6, 1e-9);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn whatever_is_recorded_a_reduction_answers_or_says_why_not(
        seed in any::<u64>(), rows in 0usize..400, size in prop::sample::select(vec![0.0, 1.0, 50.0, 1e9, 1e300]),
    ) {
        let mut random = super::Noise(seed);
        for reduction in reductions() {
            let mut made = Made::lasting(rows as f64, 1.0);
            for role in reduction.needs {
                let unit = if role.unit.is_empty() { "g" } else { role.unit };
                made = made.with(role.name, unit, |_| match random.next() {
                    odd if odd > 2.5 => f64::NAN,
                    ordinary => size * ordinary,
                });
            }
            let given = match reduction.name {
                "stall-speed" => json!({ "mass_kg": 700, "reference_mass_kg": 700 }),
                "climb" => json!({ "mass_kg": 700, "reference_mass_kg": 700, "speed_tolerance_kt": 20, "rate_tolerance_fpm": 1000 }),
                "drag-polar" => json!({
                    "mass_kg": 700, "wing_area_m2": 14, "span_m": 10, "propeller_efficiency": 0.8, "speed_tolerance_kt": 20,
                }),
                _ => json!({}),
            };
            if let Err(refused) = made.reduce(reduction.name, given) {
                prop_assert!(!refused.reasons.is_empty());
                prop_assert!(!refused.to_string().is_empty());
            }
        }
    }
}
