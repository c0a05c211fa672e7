//! Several runs that each say something of the same figure, put together with what models are taken to be wrong by.

use flight_science::least_squares::student_t_two_sided;

use super::{CONFIDENCE, Interval};

/// How much the figures of runs are taken to differ from each other before runs have shown it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prior {
    /// The standard deviation, in the figures' unit.
    pub sd: f64,
    /// How many runs that judgement is worth, 1 at least.
    pub runs: u32,
}

/// What several runs say together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pooled {
    /// The mean with the 95 % interval of the figure of one more run.
    pub interval: Interval,
    /// The standard deviation from run to run that it takes.
    pub sd: f64,
}

/// The figure of one more run, from what each of some runs says of it; absent without any, or where one is no number.
///
/// Runs differ by more than the scatter of readings, for no model is quite right: each run's figure is taken to be normal
/// about a common mean with an unknown standard deviation. What is known of that beforehand counts as so many runs, and the
/// runs themselves add to it: `s² = (ν₀ s₀² + Σ (y − ȳ)²) / (ν₀ + n − 1)`. The interval is
/// `ȳ ± t √(s² (1 + 1/n) + noise²)` with `ν₀ + n − 1` degrees of freedom; `noise` is the standard deviation of what one
/// reading adds, and of what single fits leave open.
///
/// # Source
///
/// A normal model with a scaled inverse chi-squared prior of the variance and a flat one of the mean: common practice of
/// Bayesian statistics, no source. Checked by its coverage in simulations, with model error as well as noise.
pub fn pooled(figures: &[f64], noise: f64, prior: Prior) -> Option<Pooled> {
    spread(figures, noise, prior, quantile(figures.len(), prior)?)
}

/// The degrees of freedom of so many runs.
const fn known(runs: usize, prior: Prior) -> Option<usize> {
    let worth = if prior.runs == 0 { 1 } else { prior.runs };
    match runs.checked_sub(1) {
        Some(spare) => Some(worth as usize + spare),
        None => None,
    }
}

/// Student's t of the interval of so many runs: the same for every figure of theirs.
pub(super) fn quantile(runs: usize, prior: Prior) -> Option<f64> {
    student_t_two_sided(CONFIDENCE, known(runs, prior)?)
}

/// As [`pooled`], with Student's t given.
pub(super) fn spread(figures: &[f64], noise: f64, prior: Prior, t: f64) -> Option<Pooled> {
    let known = known(figures.len(), prior)? as f64;
    let runs = figures.len() as f64;
    let mean = figures.iter().sum::<f64>() / runs;
    let spread: f64 = figures.iter().map(|figure| (figure - mean).powi(2)).sum();
    let variance = (f64::from(prior.runs.max(1)) * prior.sd.powi(2) + spread) / known;
    let half_width = t * (variance * (1.0 + 1.0 / runs) + noise.powi(2)).sqrt();
    half_width
        .is_finite()
        .then(|| Pooled { interval: Interval::about(mean, half_width), sd: variance.sqrt() })
}
