//! Whether intervals hold what they promise: seeded simulations.

#![allow(clippy::unwrap_used)]

use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

use super::{fit_line, fit_polynomial};

const TRIALS: u32 = 2_000;

/// Normally distributed numbers with mean 0 and deviation 1, after Box and Muller.
fn normal(random: &mut StdRng) -> f64 {
    let (one, other): (f64, f64) = (random.random(), random.random());
    (-2.0 * (1.0 - one).ln()).sqrt() * (std::f64::consts::TAU * other).cos()
}

#[test]
fn the_95_percent_prediction_interval_of_a_line_covers_93_to_97_percent_of_2000_seeded_trials() {
    let mut random = StdRng::seed_from_u64(1_964);
    let x: Vec<f64> = (0..7).map(f64::from).collect();
    let beyond = 9.0;
    let mut covered = 0;
    for _ in 0..TRIALS {
        let y: Vec<f64> = x.iter().map(|x| 3.0 - 0.5 * x + 0.2 * normal(&mut random)).collect();
        let fit = fit_line(&x, &y).unwrap();
        let predicted = fit.parameters[0] + fit.parameters[1] * beyond;
        let half_width = fit.prediction_half_width(&[1.0, beyond], 0.95).unwrap();
        let observed = 3.0 - 0.5 * beyond + 0.2 * normal(&mut random);
        if (observed - predicted).abs() <= half_width {
            covered += 1;
        }
    }
    let share = f64::from(covered) / f64::from(TRIALS);
    assert!((0.93..=0.97).contains(&share), "{share}");
}

#[test]
fn the_95_percent_confidence_interval_of_a_parabola_covers_93_to_97_percent_of_2000_seeded_trials()
{
    let mut random = StdRng::seed_from_u64(1_944);
    let x: Vec<f64> = (0..8).map(f64::from).collect();
    let place = 2.5;
    let truth = |x: f64| 1.0 + 2.0 * x - 0.3 * x * x;
    let mut covered = 0;
    for _ in 0..TRIALS {
        let y: Vec<f64> = x.iter().map(|x| truth(*x) + 0.5 * normal(&mut random)).collect();
        let fit = fit_polynomial(&x, &y, 2).unwrap();
        let powers = [1.0, place, place * place];
        let fitted: f64 = fit.parameters.iter().zip(powers).map(|(c, power)| c * power).sum();
        if (fitted - truth(place)).abs() <= fit.confidence_half_width(&powers, 0.95).unwrap() {
            covered += 1;
        }
    }
    let share = f64::from(covered) / f64::from(TRIALS);
    assert!((0.93..=0.97).contains(&share), "{share}");
}
