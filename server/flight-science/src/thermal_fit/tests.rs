//! The exact responses that were published, and what fits of seeded recordings must hold.

#![allow(clippy::unwrap_used)]

use proptest::prelude::*;
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};
use serde::Deserialize;

use super::{
    BetweenSamples, ThermalCase, ThermalParameters, ThermalSample, fit_thermal, thermal_response,
};

#[derive(Deserialize)]
struct Rows {
    row: Vec<Row>,
}

#[derive(Deserialize)]
struct Row {
    time_constant_s: f64,
    rise_c_per_kw: f64,
    start_c: f64,
    power_kw: f64,
    ambient_c_at_0: f64,
    ambient_slope_c_per_s: f64,
    times_s: Vec<f64>,
    temperature_c: Vec<f64>,
    within_rel: f64,
}

#[test]
fn the_response_meets_the_published_steps_and_ramp() {
    let rows: Rows = toml::from_str(include_str!("../../published/thermal_response.toml")).unwrap();
    assert_eq!(rows.row.len(), 4);
    for row in rows.row {
        let parameters = ThermalParameters {
            time_constant_s: row.time_constant_s,
            rise_c_per_kw: row.rise_c_per_kw,
            start_c: row.start_c,
        };
        let samples: Vec<ThermalSample> = row
            .times_s
            .iter()
            .map(|t_s| ThermalSample {
                t_s: *t_s,
                temperature_c: 0.0,
                ambient_c: row.ambient_c_at_0 + row.ambient_slope_c_per_s * t_s,
                power_kw: row.power_kw,
            })
            .collect();
        for between in [BetweenSamples::Straight, BetweenSamples::Held] {
            let response = thermal_response(parameters, &samples, between);
            for (given, expected) in response.iter().zip(&row.temperature_c) {
                assert!(
                    (given / expected - 1.0).abs() <= row.within_rel,
                    "{given} against {expected}"
                );
            }
        }
    }
}

const TRUTH: ThermalParameters =
    ThermalParameters { time_constant_s: 420.0, rise_c_per_kw: 1.8, start_c: 22.0 };

/// A run with climb, cruise and a stop in air that cools, sampled every `step_s`.
fn recording(
    step_s: f64,
    count: usize,
    between: BetweenSamples,
    noise_c: f64,
    random: &mut StdRng,
) -> Vec<ThermalSample> {
    let mut samples: Vec<ThermalSample> = (0..count)
        .map(|number| {
            let t_s = step_s * number as f64;
            let share = number as f64 / count as f64;
            let power_kw = match share {
                share if share < 0.3 => 45.0,
                share if share < 0.7 => 22.0 + 3.0 * (t_s / 60.0).sin(),
                _ => 0.0,
            };
            ThermalSample { t_s, temperature_c: 0.0, ambient_c: 21.0 - 5.0 * share, power_kw }
        })
        .collect();
    let response = thermal_response(TRUTH, &samples, between);
    for (sample, temperature) in samples.iter_mut().zip(response) {
        sample.temperature_c = temperature + noise_c * normal(random);
    }
    samples
}

fn normal(random: &mut StdRng) -> f64 {
    let (one, other): (f64, f64) = (random.random(), random.random());
    (-2.0 * (1.0 - one).ln()).sqrt() * (std::f64::consts::TAU * other).cos()
}

#[test]
fn a_recording_without_noise_gives_its_parameters_back_to_nine_digits() {
    let mut random = StdRng::seed_from_u64(1);
    for between in [BetweenSamples::Straight, BetweenSamples::Held] {
        let samples = recording(10.0, 120, between, 0.0, &mut random);
        let found = fit_thermal(&samples, between).unwrap().parameters;
        assert!((found.time_constant_s / TRUTH.time_constant_s - 1.0).abs() < 1e-9, "{found:?}");
        assert!((found.rise_c_per_kw / TRUTH.rise_c_per_kw - 1.0).abs() < 1e-9, "{found:?}");
        assert!((found.start_c / TRUTH.start_c - 1.0).abs() < 1e-9, "{found:?}");
    }
}

#[test]
fn the_95_percent_prediction_interval_covers_93_to_97_percent_of_2000_seeded_trials() {
    let case = ThermalCase { power_kw: 40.0, duration_s: 500.0, start_c: 30.0, ambient_c: 18.0 };
    let steady_c = case.ambient_c + TRUTH.rise_c_per_kw * case.power_kw;
    let true_c =
        steady_c + (case.start_c - steady_c) * (-case.duration_s / TRUTH.time_constant_s).exp();
    let mut random = StdRng::seed_from_u64(20_260);
    let trials = 2_000;
    let mut covered = 0;
    for _ in 0..trials {
        let samples = recording(60.0, 20, BetweenSamples::Straight, 1.5, &mut random);
        let found = fit_thermal(&samples, BetweenSamples::Straight).unwrap();
        let prediction = found.predict(&case).unwrap();
        let reading = true_c + 1.5 * normal(&mut random);
        if (prediction.temperature_c - reading).abs() <= prediction.half_width_c {
            covered += 1;
        }
    }
    let share = f64::from(covered) / f64::from(trials);
    assert!((0.93..=0.97).contains(&share), "{share}");
}

#[test]
fn the_earliest_time_to_the_limit_is_before_the_predicted_one() {
    let mut random = StdRng::seed_from_u64(5);
    let samples = recording(30.0, 40, BetweenSamples::Straight, 1.0, &mut random);
    let found = fit_thermal(&samples, BetweenSamples::Straight).unwrap();
    let case = ThermalCase { power_kw: 45.0, duration_s: 600.0, start_c: 25.0, ambient_c: 20.0 };
    let predicted = found.time_to_limit_s(&case, 80.0).unwrap();
    let earliest = found.earliest_time_to_limit_s(&case, 80.0).unwrap();
    assert!(earliest < predicted, "{earliest} against {predicted}");
    assert!(earliest > 0.5 * predicted, "{earliest} against {predicted}");
    let there = found.predict(&ThermalCase { duration_s: predicted, ..case }).unwrap();
    assert!((there.temperature_c - 80.0).abs() < 1e-9);
    let at_its_end = found.predict(&ThermalCase { duration_s: earliest, ..case }).unwrap();
    assert!((at_its_end.temperature_c + at_its_end.half_width_c - 80.0).abs() < 1e-6);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn more_power_is_never_predicted_cooler(
        seed in 0_u64..1000,
        power_kw in 0.0..60.0_f64,
        more_kw in 0.0..20.0_f64,
    ) {
        let mut random = StdRng::seed_from_u64(seed);
        let samples = recording(30.0, 40, BetweenSamples::Straight, 0.5, &mut random);
        let found = fit_thermal(&samples, BetweenSamples::Straight).unwrap();
        let case = ThermalCase { power_kw, duration_s: 600.0, start_c: 25.0, ambient_c: 20.0 };
        let hotter = ThermalCase { power_kw: power_kw + more_kw, ..case };
        prop_assert!(found.predict(&hotter).unwrap().temperature_c >= found.predict(&case).unwrap().temperature_c);
        let beyond = |case| found.beyond_recording(case).largest_percent();
        prop_assert!(beyond(&hotter) >= beyond(&case));
    }

    #[test]
    fn whatever_the_samples_are_they_are_answered_or_refused(
        temperatures in prop::collection::vec(-100.0..2000.0_f64, 5..15),
        powers in prop::collection::vec(0.0..1e5_f64, 15),
        step_s in prop::sample::select(vec![1e-9, 1.0, 1e9]),
        level in 0..3_usize,
    ) {
        let samples: Vec<ThermalSample> = temperatures
            .iter()
            .zip(&powers)
            .enumerate()
            .map(|(number, (temperature, power))| ThermalSample {
                t_s: step_s * number as f64,
                temperature_c: if level == 0 { 80.0 } else { *temperature },
                ambient_c: 20.0,
                power_kw: if level == 1 { 30.0 } else { *power },
            })
            .collect();
        if let Ok(found) = fit_thermal(&samples, BetweenSamples::Straight) {
            prop_assert!(found.parameters.time_constant_s > 0.0);
            prop_assert!(found.time_constant_se_s().unwrap().is_finite());
        }
    }
}
