//! Thermal fit, and energy and charge.

use serde_json::json;

use super::{Made, Noise, figure, is_near};

/// A part with this time constant and rise, driven by `power_kw`, in steps of a tenth of a second, each solved exactly.
fn warming(
    tau_s: f64,
    rise_c_per_kw: f64,
    power_kw: impl Fn(f64) -> f64,
) -> impl FnMut(f64) -> f64 {
    let (mut temperature_c, mut before) = (22.0, 0.0);
    move |t_s| {
        let steady_c = 18.0 + rise_c_per_kw * power_kw(0.5 * (t_s + before));
        temperature_c = steady_c + (temperature_c - steady_c) * (-(t_s - before) / tau_s).exp();
        before = t_s;
        temperature_c
    }
}

fn stepped_kw(t_s: f64) -> f64 {
    if t_s < 300.0 { 50.0 } else { 12.0 }
}

fn warmed(noise: f64) -> Made {
    let mut truth = warming(170.0, 1.5, stepped_kw);
    let mut random = Noise(13);
    Made::lasting(600.0, 10.0)
        .with("temperature", "degC", |t_s| truth(t_s) + noise * random.next())
        .with("power", "kW", stepped_kw)
        .with("ambient", "degC", |_| 18.0)
}

#[test]
fn time_constant_and_rise_come_back_from_a_noisy_recording() {
    let reduced = warmed(0.5).reduce("thermal-fit", json!({})).unwrap();
    assert_eq!(reduced.input["samples"].as_array().unwrap().len(), 600);
    is_near(figure(&reduced, "/time_constant_s"), 170.0, 1.5);
    is_near(figure(&reduced, "/rise_c_per_kw"), 1.5, 0.01);
}

#[test]
fn a_prediction_beyond_the_recorded_power_is_told_as_extrapolated() {
    let run = |power_kw: f64| {
        let predict = json!({ "power_kw": power_kw, "duration_s": 200, "start_c": 22, "ambient_c": 18, "limit_c": 120 });
        warmed(0.0).reduce("thermal-fit", json!({ "predict": predict })).unwrap()
    };
    assert!(run(50.0).extrapolated.is_empty());
    let beyond = run(60.0);
    assert_eq!(beyond.extrapolated[0].pointer, "/predicted");
    is_near(beyond.extrapolated[0].percent.unwrap(), 20.0, 0.1);
}

#[test]
fn a_gap_in_the_power_longer_than_is_allowed_is_refused() {
    let gap = |to_s| warmed(0.0).without("power", 200.05, to_s).reduce("thermal-fit", json!({}));
    assert!(gap(209.0).is_ok());
    let refused = gap(212.0).unwrap_err();
    assert!(refused.to_string().contains("the power there is not known"), "{refused}");
}

#[test]
fn energy_and_charge_are_those_of_the_voltage_and_current() {
    // 350 V and a current that rises from 0 to 100 A in an hour.
    let made =
        Made::lasting(3600.0, 1.0)
            .with("voltage", "V", |_| 350.0)
            .with("current", "A", |t_s| t_s / 36.0);
    let reduced = made.reduce("energy", json!({})).unwrap();
    is_near(figure(&reduced, "/energy_kwh"), 17.5, 1e-9);
    is_near(figure(&reduced, "/charge_ah"), 50.0, 1e-9);
}

#[test]
fn a_gap_is_told_and_adds_no_energy() {
    let made = Made::lasting(1000.0, 10.0)
        .with("voltage", "V", |_| 360.0)
        .with("current", "A", |_| 100.0)
        .without("current", 500.05, 509.95);
    let reduced = made.reduce("energy", json!({})).unwrap();
    is_near(figure(&reduced, "/energy_kwh"), 36.0 * 990.0 / 3600.0, 1e-9);
    let gaps = reduced.output["gaps"].as_array().unwrap();
    assert_eq!(gaps.len(), 1);
    is_near(gaps[0][0].as_f64().unwrap(), 500.0, 1e-9);
    is_near(gaps[0][1].as_f64().unwrap(), 510.0, 1e-9);
    is_near(reduced.share_missing, 0.01, 1e-9);
}
