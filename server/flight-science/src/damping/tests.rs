//! Decays made with known poles and seeded noise, and the figures of functions without a topic.

#![allow(clippy::unwrap_used)]

use std::f64::consts::TAU;

use proptest::prelude::*;
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};
use serde::Deserialize;

use super::{DecayError, cycles_to_half, damping_ratio_of, fit_decay, log_decrement_of};
use crate::least_squares::student_t_two_sided;

#[derive(Deserialize)]
struct Rows {
    row: Vec<Row>,
}

#[derive(Deserialize)]
struct Row {
    damping_ratio: f64,
    log_decrement: f64,
    cycles_to_half: f64,
    within_rel: f64,
}

#[test]
fn decrement_and_damping_ratio_turn_into_each_other_as_published() {
    let rows: Rows =
        toml::from_str(include_str!("../../published/damping_decrement.toml")).unwrap();
    assert_eq!(rows.row.len(), 4);
    for row in rows.row {
        let near = |given: f64, expected: f64| {
            assert!((given / expected - 1.0).abs() <= row.within_rel, "{given} against {expected}");
        };
        near(log_decrement_of(row.damping_ratio), row.log_decrement);
        near(damping_ratio_of(row.log_decrement), row.damping_ratio);
        near(cycles_to_half(row.log_decrement), row.cycles_to_half);
    }
}

/// One mode: frequency without damping, damping ratio, amplitude, phase.
type Mode = (f64, f64, f64, f64);

fn decay(modes: &[Mode], rate_hz: f64, seconds: f64, noise: f64, seed: u64) -> Vec<[f64; 2]> {
    let mut random = StdRng::seed_from_u64(seed);
    let mut normal = || -> f64 {
        let (one, other): (f64, f64) = (random.random(), random.random());
        (-2.0 * (1.0 - one).ln()).sqrt() * (TAU * other).cos()
    };
    (0..(rate_hz * seconds) as usize)
        .map(|sample| {
            let t = sample as f64 / rate_hz;
            let sum: f64 = modes
                .iter()
                .map(|(hz, ratio, amplitude, phase)| {
                    let natural = TAU * hz;
                    let damped = natural * (1.0 - ratio * ratio).sqrt();
                    amplitude * (-ratio * natural * t).exp() * (damped * t + phase).cos()
                })
                .sum();
            [t, 0.3 + sum + noise * normal()]
        })
        .collect()
}

#[test]
fn an_exact_decay_gives_its_damping_to_eight_digits_at_any_sampling() {
    for (hz, ratio, rate, seconds) in [
        (5.0, 0.02, 100.0, 2.0),
        (5.0, 0.1, 1000.0, 1.0),
        (40.0, 0.01, 500.0, 20.0),
        (0.7, 0.3, 20.0, 4.0),
    ] {
        let found = fit_decay(&decay(&[(hz, ratio, 2.0, 0.7)], rate, seconds, 0.0, 1)).unwrap();
        let mode = found.modes[0];
        assert!((mode.damping_ratio / ratio - 1.0).abs() < 1e-8, "{hz} Hz: {mode:?}");
        assert!((mode.natural_frequency_hz / hz - 1.0).abs() < 1e-8, "{hz} Hz: {mode:?}");
        assert!((found.offset - 0.3).abs() < 1e-8);
        assert_eq!(found.modes.len(), 1);
    }
}

#[test]
fn two_modes_are_told_apart_and_the_stronger_comes_first() {
    let modes = [(6.0, 0.03, 1.0, 0.2), (9.0, 0.02, 0.5, 1.0)];
    let found = fit_decay(&decay(&modes, 200.0, 3.0, 0.01, 7)).unwrap();
    assert_eq!(found.modes.len(), 2);
    for (mode, (hz, ratio, amplitude, _)) in found.modes.iter().zip(modes) {
        assert!((mode.natural_frequency_hz - hz).abs() < 0.02, "{mode:?}");
        assert!((mode.damping_ratio - ratio).abs() < 0.002, "{mode:?}");
        assert!((mode.amplitude / amplitude - 1.0).abs() < 0.05, "{mode:?}");
    }
}

#[test]
fn noise_of_a_fifth_of_the_first_swing_leaves_the_damping_within_three_standard_errors() {
    let mut outside = 0;
    for seed in 0..40 {
        let samples = decay(&[(8.0, 0.04, 1.0, 0.5)], 200.0, 2.0, 0.2, seed);
        let mode = fit_decay(&samples).unwrap().modes[0];
        let error = mode.damping_ratio_se.unwrap();
        assert!(error < 0.008, "seed {seed}: {mode:?}");
        if (mode.damping_ratio - 0.04).abs() > 3.0 * error {
            outside += 1;
        }
    }
    assert!(outside <= 1, "{outside} of 40 outside three standard errors");
}

#[test]
fn the_interval_of_the_damping_covers_the_truth_in_95_of_100_trials() {
    let trials = 400;
    let mut covered = 0;
    for seed in 0..trials {
        let samples = decay(&[(4.0, 0.05, 1.0, 0.3)], 50.0, 2.0, 0.05, 1_000 + seed);
        let found = fit_decay(&samples).unwrap();
        let mode = found.modes[0];
        let t = student_t_two_sided(0.95, found.fit.degrees_of_freedom()).unwrap();
        if (mode.damping_ratio - 0.05).abs() <= t * mode.damping_ratio_se.unwrap() {
            covered += 1;
        }
    }
    let share = f64::from(covered) / trials as f64;
    // Three standard errors of 400 trials are 3.3 %.
    assert!((0.917..=0.983).contains(&share), "{share}");
}

#[test]
fn uneven_times_are_fitted_as_they_are() {
    let mut random = StdRng::seed_from_u64(3);
    let natural = TAU * 5.0;
    let samples: Vec<[f64; 2]> = (0..200)
        .map(|sample| {
            let t = (sample as f64 + 0.4 * random.random::<f64>()) / 100.0;
            let damped = natural * (1.0_f64 - 0.03 * 0.03).sqrt();
            [t, (-0.03 * natural * t).exp() * (damped * t).cos()]
        })
        .collect();
    let mode = fit_decay(&samples).unwrap().modes[0];
    assert!((mode.damping_ratio / 0.03 - 1.0).abs() < 1e-6, "{mode:?}");
}

#[test]
fn a_long_fast_record_is_taken_whole() {
    let samples = decay(&[(3.0, 0.02, 1.0, 0.0)], 5_000.0, 4.0, 0.05, 11);
    let mode = fit_decay(&samples).unwrap().modes[0];
    assert!((mode.damping_ratio - 0.02).abs() < 0.001, "{mode:?}");
}

#[test]
fn noise_alone_has_no_damping() {
    for seed in 0..20 {
        let samples = decay(&[], 100.0, 3.0, 1.0, 500 + seed);
        let found = fit_decay(&samples);
        assert!(matches!(found, Err(DecayError::NothingStandsOut)), "seed {seed}: {found:?}");
    }
}

#[test]
fn a_growing_oscillation_is_refused_with_its_frequency() {
    let samples = decay(&[(5.0, -0.02, 0.1, 0.0)], 100.0, 3.0, 0.001, 4);
    match fit_decay(&samples) {
        Err(DecayError::NotDecaying { frequency_hz }) => assert!((frequency_hz - 5.0).abs() < 0.01),
        other => unreachable!("{other:?}"),
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]
    #[test]
    fn whatever_the_samples_are_they_are_answered_or_refused(
        size in prop::sample::select(vec![0.0, 1e-300, 1e-20, 1.0, 1e20, 1e50]),
        values in prop::collection::vec(-1.0..1.0_f64, 12..40),
        same in 0..3_usize,
        step_s in prop::sample::select(vec![1e-9, 0.01, 1.0, 1e9]),
    ) {
        let samples: Vec<[f64; 2]> = values
            .iter()
            .enumerate()
            .map(|(number, value)| {
                let value = match same { 0 => 1.0, 1 => (number % 2) as f64, _ => *value };
                [step_s * number as f64, size * value]
            })
            .collect();
        if let Ok(found) = fit_decay(&samples) {
            prop_assert!(found.modes[0].damping_ratio > 0.0);
            prop_assert!(found.modes[0].frequency_hz.is_finite());
        }
    }
}
