//! The margin against Routh's criterion, and what holds for trends whatever they are.

#![allow(clippy::unwrap_used)]

use proptest::prelude::*;
use quantities::Frequency;
use serde::Deserialize;

use super::{FlutterMode, fit_margin_trend, flutter_margin};

#[derive(Deserialize)]
struct Rows {
    row: Vec<Row>,
}

#[derive(Deserialize)]
struct Row {
    frequency_hz: [f64; 2],
    damping_ratio: [f64; 2],
    real_part: [f64; 2],
    imaginary_part: [f64; 2],
    margin: f64,
    within_rel: f64,
    /// A margin of zero is held to this share of the fourth power of the first mode's angular frequency.
    zero_within: f64,
}

fn mode(hertz: f64, damping_ratio: f64) -> FlutterMode {
    FlutterMode { natural_frequency: Frequency::from_hertz(hertz), damping_ratio }
}

#[test]
fn roots_and_margins_meet_their_published_rows() {
    let rows: Rows = toml::from_str(include_str!("../../published/flutter_roots.toml")).unwrap();
    assert_eq!(rows.row.len(), 7);
    for row in rows.row {
        let modes = [0, 1].map(|at| mode(row.frequency_hz[at], row.damping_ratio[at]));
        for (at, mode) in modes.iter().enumerate() {
            assert!(
                (mode.real_part() - row.real_part[at]).abs()
                    <= row.within_rel * row.real_part[at].abs()
            );
            assert!((mode.imaginary_part() / row.imaginary_part[at] - 1.0).abs() <= row.within_rel);
        }
        let margin = flutter_margin(&modes[0], &modes[1]);
        let tolerance =
            row.within_rel * row.margin.abs() + row.zero_within * modes[0].imaginary_part().powi(4);
        assert!((margin - row.margin).abs() <= tolerance, "{margin} against {}", row.margin);
    }
}

/// Routh's condition of the quartic `s⁴ + A3 s³ + A2 s² + A1 s + A0` with these roots.
fn routh(one: &FlutterMode, other: &FlutterMode) -> f64 {
    let pair = |mode: &FlutterMode| {
        let (b, w) = (mode.real_part(), mode.imaginary_part());
        (-2.0 * b, b * b + w * w)
    };
    let ((p1, q1), (p2, q2)) = (pair(one), pair(other));
    let (a3, a2) = (p1 + p2, q1 + q2 + p1 * p2);
    let (a1, a0) = (p1 * q2 + p2 * q1, q1 * q2);
    a2 * (a1 / a3) - (a1 / a3).powi(2) - a0
}

proptest! {
    #[test]
    fn the_margin_is_that_of_rouths_criterion_and_positive_while_both_modes_are_damped(
        first_hz in 1.0..30.0_f64,
        apart in 1.02..4.0_f64,
        first_ratio in 0.001..0.3_f64,
        second_ratio in 0.001..0.3_f64,
    ) {
        let (one, other) = (mode(first_hz, first_ratio), mode(first_hz * apart, second_ratio));
        let margin = flutter_margin(&one, &other);
        let scale = one.imaginary_part().powi(4) + other.imaginary_part().powi(4);
        prop_assert!((margin - routh(&one, &other)).abs() < 1e-12 * scale);
        prop_assert!(margin > 0.0);
    }

    #[test]
    fn it_does_not_matter_which_mode_is_called_the_first(
        first_hz in 1.0..30.0_f64,
        second_hz in 1.0..30.0_f64,
        first_ratio in 0.001..0.3_f64,
        second_ratio in 0.001..0.3_f64,
    ) {
        let (one, other) = (mode(first_hz, first_ratio), mode(second_hz, second_ratio));
        let scale = one.imaginary_part().powi(4) + other.imaginary_part().powi(4);
        prop_assert!((flutter_margin(&one, &other) - flutter_margin(&other, &one)).abs() < 1e-12 * scale);
    }

    #[test]
    fn the_onset_lies_within_its_interval_and_the_order_of_points_does_not_matter(
        errors in prop::collection::vec(-2.0e4..2.0e4_f64, 6),
        turn in 1..6_usize,
    ) {
        let mut points: Vec<(f64, f64)> = errors
            .iter()
            .enumerate()
            .map(|(number, error)| {
                let q = 300.0 + 150.0 * number as f64;
                (q, 1.2e6 - 500.0 * q - 0.3 * q * q + error)
            })
            .collect();
        let onset = |points: &[(f64, f64)]| {
            let (pressures, margins): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
            fit_margin_trend(&pressures, &margins).unwrap().onset()
        };
        let before = onset(&points).unwrap();
        prop_assert!(before.low_pa.unwrap() <= before.pressure_pa);
        prop_assert!(before.high_pa.is_none_or(|high| high >= before.pressure_pa));
        points.rotate_left(turn);
        let after = onset(&points).unwrap();
        prop_assert!((before.pressure_pa / after.pressure_pa - 1.0).abs() < 1e-9);
        prop_assert!((before.low_pa.unwrap() / after.low_pa.unwrap() - 1.0).abs() < 1e-9);
    }
}
