//! Whether a 95 % interval holds one more run 95 times in a hundred: seeded simulations, with model error as well as noise.

use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

use super::super::pooled::{Prior, pooled};

const TRIALS: u32 = 4_000;

/// Of so many trials at 95 % the number inside has a standard deviation of 13.8; four of them either way are by chance once
/// in 16,000 (normal approximation of the binomial distribution).
const WITHIN: f64 = 4.0 * 0.003_446;

/// A normally distributed number with mean 0 and deviation 1, after Box and Muller.
fn normal(random: &mut StdRng) -> f64 {
    let (one, other): (f64, f64) = (random.random(), random.random());
    (-2.0 * (1.0 - one).ln()).sqrt() * (std::f64::consts::TAU * other).cos()
}

/// The share of trials in which the figure of one more run lies in the interval. `sd` gives the deviation from run to run.
fn share(runs: usize, prior: Prior, noise: f64, mut sd: impl FnMut(&mut StdRng) -> f64) -> f64 {
    let mut random = StdRng::seed_from_u64(23 + runs as u64);
    let mut inside = 0;
    for _ in 0..TRIALS {
        let (truth, sd) = (60.0 + 5.0 * normal(&mut random), sd(&mut random));
        let figures: Vec<f64> = (0..runs).map(|_| truth + sd * normal(&mut random)).collect();
        let next = truth + sd * normal(&mut random) + noise * normal(&mut random);
        inside += u32::from(pooled(&figures, noise, prior).unwrap().interval.holds(next));
    }
    f64::from(inside) / f64::from(TRIALS)
}

/// A deviation that is as uncertain as the prior says: ν₀ s₀² over a chi-squared number with ν₀ degrees of freedom.
fn drawn(prior: Prior) -> impl FnMut(&mut StdRng) -> f64 {
    move |random| {
        let chi_squared: f64 = (0..prior.runs).map(|_| normal(random).powi(2)).sum();
        prior.sd * (f64::from(prior.runs) / chi_squared).sqrt()
    }
}

#[test]
fn with_model_error_as_the_policy_judges_it_the_interval_holds_what_it_promises() {
    for (runs, worth) in [(1, 4), (2, 4), (5, 4), (3, 10)] {
        let prior = Prior { sd: 4.0, runs: worth };
        let share = share(runs, prior, 0.0, drawn(prior));
        assert!((share - 0.95).abs() < WITHIN, "{runs} runs, worth {worth}: {share}");
    }
}

#[test]
fn with_noise_of_readings_besides_it_holds_no_less() {
    for runs in [1, 3, 8] {
        let prior = Prior { sd: 4.0, runs: 4 };
        let share = share(runs, prior, 1.5, drawn(prior));
        assert!((0.95 - WITHIN..0.975).contains(&share), "{runs} runs: {share}");
    }
}

#[test]
fn where_the_judgement_was_wrong_runs_put_it_right() {
    // Twice the model error that the policy takes: with one run too narrow, with many not.
    let prior = Prior { sd: 2.0, runs: 4 };
    let of = |runs| share(runs, prior, 0.0, |_| 4.0);
    let (one, many) = (of(1), of(40));
    assert!(one < 0.90 && many > 0.93, "{one} {many}");
}
