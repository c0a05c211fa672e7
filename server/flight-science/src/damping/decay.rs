//! Decaying oscillations fitted to samples.

use std::f64::consts::TAU;

use nalgebra::{DMatrix, DVector};

use super::pencil::{Pole, candidate_poles};
use crate::least_squares::{Fit, FitError, Model, fit_nonlinear};

/// Fewer samples than this do not tell an oscillation from noise.
pub const FEWEST_SAMPLES: usize = 12;

/// A step between samples may be so many times the middle one; beyond, something is missing in between.
pub const LARGEST_STEP_RATIO: f64 = 2.5;

/// At most so many modes are fitted together.
const MOST_MODES: usize = 3;

/// So many samples at most take part in choosing among the candidates. The fit itself takes all.
const MOST_FOR_CHOICE: usize = 2_000;

/// A mode is taken in if it lowers the residuals' variance by so many times what its four parameters would by chance.
const SIGNIFICANT: f64 = 10.0;

/// What is left after a fit to this share of the whole is rounding.
const ROUNDING: f64 = 1e-22;

/// An oscillation has to be recorded for at least so many cycles.
const FEWEST_CYCLES: f64 = 1.0;

/// One mode that was found in the samples.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DecayingMode {
    /// Share of critical damping.
    pub damping_ratio: f64,
    /// Its standard error; `None` when no sample is to spare.
    pub damping_ratio_se: Option<f64>,
    /// Frequency of the damped oscillation.
    pub frequency_hz: f64,
    /// Its standard error; `None` when no sample is to spare.
    pub frequency_se_hz: Option<f64>,
    /// Frequency that the oscillation would have without damping.
    pub natural_frequency_hz: f64,
    /// Size at the first sample, in the unit of the samples.
    pub amplitude: f64,
}

/// The decaying oscillations in a record.
#[derive(Debug, Clone, PartialEq)]
pub struct Decay {
    /// The modes, the one that carries most of the signal first.
    pub modes: Vec<DecayingMode>,
    /// What the samples oscillate about.
    pub offset: f64,
    /// The fit; for each mode in the order of its start decay, angular frequency, cosine and sine amplitude, then the
    /// offset.
    pub fit: Fit,
}

/// Why samples give no damping.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum DecayError {
    /// Fewer than [`FEWEST_SAMPLES`].
    #[error("{samples} samples are too few")]
    TooFew {
        /// Samples given.
        samples: usize,
    },
    /// A time is not after the one before.
    #[error("sample {sample} is not after the one before")]
    NotAscending {
        /// The sample, counted from 0.
        sample: usize,
    },
    /// Between two samples there is a gap.
    #[error("before sample {sample} there is a gap of {gap_s} s")]
    Gap {
        /// The sample after the gap, counted from 0.
        sample: usize,
        /// The gap's length.
        gap_s: f64,
    },
    /// Nothing oscillates above the noise.
    #[error("no oscillation stands out of the noise")]
    NothingStandsOut,
    /// The main oscillation does not decay.
    #[error("the oscillation at {frequency_hz:.3} Hz does not decay")]
    NotDecaying {
        /// Its frequency.
        frequency_hz: f64,
    },
    /// The record is shorter than a cycle of the main oscillation.
    #[error("only {cycles:.2} cycles of the oscillation are recorded")]
    TooShort {
        /// Cycles recorded.
        cycles: f64,
    },
    /// The fit did not settle.
    #[error(transparent)]
    Fit(#[from] FitError),
}

/// Finds the decaying oscillations in samples of `[time in seconds, value]`.
///
/// The matrix pencil finds candidate poles; those that stand out of the noise, at most three, are then fitted together to
/// the samples at their own times, with a constant offset. Valid for free decay of linear modes with viscous damping,
/// sampled about evenly and at least twice a cycle, over at least one cycle.
///
/// # Errors
///
/// [`DecayError`] as named.
///
/// # Source
///
/// Matrix pencil as told in `pencil.rs`; refined by least squares. Checked by `published/damping.toml`.
pub fn fit_decay(samples: &[[f64; 2]]) -> Result<Decay, DecayError> {
    let step_s = even_step(samples)?;
    let start_s = samples[0][0];
    let times: Vec<f64> = samples.iter().map(|[t, _]| t - start_s).collect();
    let values: Vec<f64> = samples.iter().map(|[_, value]| *value).collect();
    let candidates = candidate_poles(&evenly_spaced(&times, &values, step_s), step_s);
    let start = choose(&times, &values, &candidates)?;
    let model = Oscillations { times: &times, values: &values };
    let fit = fit_nonlinear(&model, &start)?;
    let modes = modes_of(&fit, &times);
    let Some(main) = modes.first() else { return Err(DecayError::NothingStandsOut) };
    if main.damping_ratio <= 0.0 {
        return Err(DecayError::NotDecaying { frequency_hz: main.frequency_hz });
    }
    let cycles = main.frequency_hz * times[times.len() - 1];
    if cycles < FEWEST_CYCLES {
        return Err(DecayError::TooShort { cycles });
    }
    Ok(Decay { offset: fit.parameters[fit.parameters.len() - 1], modes, fit })
}

/// The middle step between samples, if they are about even.
fn even_step(samples: &[[f64; 2]]) -> Result<f64, DecayError> {
    if samples.len() < FEWEST_SAMPLES {
        return Err(DecayError::TooFew { samples: samples.len() });
    }
    let steps: Vec<f64> = samples.windows(2).map(|pair| pair[1][0] - pair[0][0]).collect();
    if let Some(step) = steps.iter().position(|step| step.is_nan() || *step <= 0.0) {
        return Err(DecayError::NotAscending { sample: step + 1 });
    }
    let mut sorted = steps.clone();
    sorted.sort_by(f64::total_cmp);
    let middle = sorted[sorted.len() / 2];
    match steps.iter().position(|step| *step > LARGEST_STEP_RATIO * middle) {
        Some(step) => Err(DecayError::Gap { sample: step + 1, gap_s: steps[step] }),
        None => Ok(middle),
    }
}

/// The values at even times, on straight lines between the samples. Only the candidates come from these; the fit takes
/// the samples as they are.
fn evenly_spaced(times: &[f64], values: &[f64], step_s: f64) -> Vec<f64> {
    let last = times[times.len() - 1];
    let count = (last / step_s).round() as usize + 1;
    let mut after = 1;
    (0..count)
        .map(|index| {
            // Spread over the whole record, so that rounding of the middle step doesn't add up.
            let time = last * index as f64 / (count - 1) as f64;
            while after + 1 < times.len() && times[after] < time {
                after += 1;
            }
            let (before, after) = (after - 1, after);
            let share = (time - times[before]) / (times[after] - times[before]);
            values[before] + share * (values[after] - values[before])
        })
        .collect()
}

/// Picks the candidates that explain the samples, one after another, and gives the start of the fit.
fn choose(times: &[f64], values: &[f64], candidates: &[Pole]) -> Result<Vec<f64>, DecayError> {
    let (times, values) = thinned(times, values);
    let mut chosen: Vec<Pole> = Vec::new();
    let (mut best_amplitudes, mut left) =
        amplitudes(&times, &values, &chosen).ok_or(DecayError::NothingStandsOut)?;
    let whole = left;
    while chosen.len() < MOST_MODES && left > ROUNDING * whole {
        let explained = candidates.iter().filter_map(|pole| {
            let mut poles = chosen.clone();
            poles.push(*pole);
            amplitudes(&times, &values, &poles).map(|(found, left)| (*pole, found, left))
        });
        let Some((pole, found, still_left)) =
            explained.min_by(|(_, _, one), (_, _, other)| one.total_cmp(other))
        else {
            break;
        };
        // Two amplitudes were fitted here; decay and frequency were fitted by the choice.
        let to_spare = values.len().saturating_sub(4 * (chosen.len() + 1) + 1);
        let gained = (left - still_left) / 4.0;
        if to_spare == 0 || gained <= SIGNIFICANT * still_left / to_spare as f64 {
            break;
        }
        chosen.push(pole);
        (best_amplitudes, left) = (found, still_left);
    }
    if chosen.is_empty() {
        return Err(DecayError::NothingStandsOut);
    }
    let mut start = Vec::new();
    for (mode, pole) in chosen.iter().enumerate() {
        let cosine = best_amplitudes[2 * mode + 1];
        let sine = best_amplitudes[2 * mode + 2];
        start.extend([pole.decay, pole.angular, cosine, sine]);
    }
    start.push(best_amplitudes[0]);
    Ok(start)
}

/// Long records thinned for the choice: ever more widely, since the signal is at the beginning, and unevenly, so that no
/// frequency passes for another.
fn thinned(times: &[f64], values: &[f64]) -> (Vec<f64>, Vec<f64>) {
    let count = times.len();
    if count <= MOST_FOR_CHOICE {
        return (times.to_vec(), values.to_vec());
    }
    let mut places: Vec<usize> = (0..MOST_FOR_CHOICE)
        .map(|k| {
            let share = k as f64 / MOST_FOR_CHOICE as f64;
            // A share below one of a count is an index.
            (share * (0.3 + 0.7 * share) * count as f64) as usize
        })
        .collect();
    places.dedup();
    places.iter().map(|place| (times[*place], values[*place])).unzip()
}

/// The amplitudes that fit best for given poles (an offset, then a cosine and a sine for each pole) and the sum of squares
/// that they leave. Plain normal equations will do for a start.
fn amplitudes(times: &[f64], values: &[f64], poles: &[Pole]) -> Option<(DVector<f64>, f64)> {
    let mut design = DMatrix::from_element(times.len(), 1 + 2 * poles.len(), 1.0);
    for (row, t) in times.iter().enumerate() {
        for (mode, pole) in poles.iter().enumerate() {
            let (sine, cosine) = (pole.angular * t).sin_cos();
            let size = (-pole.decay * t).exp();
            design[(row, 2 * mode + 1)] = size * cosine;
            design[(row, 2 * mode + 2)] = size * sine;
        }
    }
    let values = DVector::from_column_slice(values);
    let normal = design.tr_mul(&design).cholesky()?;
    let found = normal.solve(&design.tr_mul(&values));
    let left = (values - design * &found).norm_squared();
    left.is_finite().then_some((found, left))
}

fn modes_of(fit: &Fit, times: &[f64]) -> Vec<DecayingMode> {
    let width = fit.parameters.len();
    let mut modes: Vec<(f64, DecayingMode)> = (0..width / 4)
        .map(|mode| {
            let at = 4 * mode;
            let [decay, angular, cosine, sine] = std::array::from_fn(|k| fit.parameters[at + k]);
            // The sign of the frequency only turns the sine.
            let angular_size = angular.abs();
            let natural = decay.hypot(angular);
            // ζ = d / √(d² + ω²)
            let mut by_parameters = vec![0.0; width];
            by_parameters[at] = angular.powi(2) / natural.powi(3);
            by_parameters[at + 1] = -decay * angular / natural.powi(3);
            let signal = times
                .iter()
                .map(|t| {
                    let (s, c) = (angular * t).sin_cos();
                    ((-decay * t).exp() * (cosine * c + sine * s)).powi(2)
                })
                .sum();
            let found = DecayingMode {
                damping_ratio: decay / natural,
                damping_ratio_se: fit.standard_error_of(&by_parameters),
                frequency_hz: angular_size / TAU,
                frequency_se_hz: fit.standard_error(at + 1).map(|error| error / TAU),
                natural_frequency_hz: natural / TAU,
                amplitude: cosine.hypot(sine),
            };
            (signal, found)
        })
        .collect();
    modes.sort_by(|(one, _), (other, _)| other.total_cmp(one));
    modes.into_iter().map(|(_, mode)| mode).collect()
}

/// `Σ e^(−d t) (a cos ωt + b sin ωt) + c`.
struct Oscillations<'a> {
    times: &'a [f64],
    values: &'a [f64],
}

impl Model for Oscillations<'_> {
    fn observed(&self) -> &[f64] {
        self.values
    }

    fn evaluate(
        &self,
        parameters: &DVector<f64>,
        fitted: &mut DVector<f64>,
        mut jacobian: Option<&mut DMatrix<f64>>,
    ) {
        let width = parameters.len();
        for (row, t) in self.times.iter().enumerate() {
            let mut sum = parameters[width - 1];
            for at in (0..width - 1).step_by(4) {
                let [decay, angular, a, b] = std::array::from_fn(|k| parameters[at + k]);
                let (sine, cosine) = (angular * t).sin_cos();
                let size = (-decay * t).exp();
                let value = size * (a * cosine + b * sine);
                sum += value;
                if let Some(jacobian) = jacobian.as_deref_mut() {
                    jacobian[(row, at)] = -t * value;
                    jacobian[(row, at + 1)] = t * size * (b * cosine - a * sine);
                    jacobian[(row, at + 2)] = size * cosine;
                    jacobian[(row, at + 3)] = size * sine;
                }
            }
            fitted[row] = sum;
            if let Some(jacobian) = jacobian.as_deref_mut() {
                jacobian[(row, width - 1)] = 1.0;
            }
        }
    }
}
