//! The poles of a sum of decaying oscillations by the matrix pencil.

use nalgebra::{DMatrix, Schur};

/// So many evenly spaced values at most go into one pencil; more cost time and add little.
const WINDOW: usize = 240;

/// Singular values below so many times the middle one count as noise.
const ABOVE_NOISE: f64 = 3.0;

/// Singular values below this share of the largest are rounding.
const ROUNDING: f64 = 1e-12;

/// At most so many poles are looked for: six oscillations, or fewer with a drift.
const MOST_POLES: usize = 12;

const MOST_ITERATIONS: usize = 1_000;

/// A decaying oscillation's rates, `e^(−decay · t) · cos(angular · t + phase)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pole {
    /// Decay in one per second; negative where it grows.
    pub(super) decay: f64,
    /// Damped angular frequency in radians per second.
    pub(super) angular: f64,
}

/// Candidate poles of evenly spaced values.
///
/// Long records are looked at several times: as they are, and averaged over blocks of 2, 4, 8, … values, each time over
/// the first [`WINDOW`] blocks. Averaging over blocks changes an oscillation's amplitude, not its pole, so slow modes are
/// found in the coarse looks and fast ones in the fine.
pub(super) fn candidate_poles(values: &[f64], step_s: f64) -> Vec<Pole> {
    let mut candidates = Vec::new();
    let mut block = 1;
    loop {
        let averages: Vec<f64> = values
            .chunks_exact(block)
            .take(WINDOW)
            .map(|chunk| chunk.iter().sum::<f64>() / block as f64)
            .collect();
        candidates.extend(poles_of(&averages, step_s * block as f64));
        if block * WINDOW >= values.len() {
            return candidates;
        }
        block *= 2;
    }
}

/// The pencil itself.
///
/// # Source
///
/// Matrix pencil with truncation of the singular value decomposition, after T. K. Sarkar and O. Pereira, IEEE Antennas and
/// Propagation Magazine 37 (1), 1995: written from memory, checked by decays made with known poles.
fn poles_of(values: &[f64], step_s: f64) -> Vec<Pole> {
    let length = values.len() / 3;
    if length < 3 {
        return Vec::new();
    }
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let rows = values.len() - length;
    // Row i holds values i to i + length: each row is the one before, one step later.
    let hankel = DMatrix::from_fn(rows, length + 1, |row, column| values[row + column] - mean);
    let Some(decomposed) = hankel.try_svd(false, true, f64::EPSILON, MOST_ITERATIONS) else {
        return Vec::new();
    };
    let sizes = decomposed.singular_values;
    let Some(right) = decomposed.v_t else { return Vec::new() };
    let noise = (ABOVE_NOISE * sizes[sizes.len() / 2]).max(ROUNDING * sizes[0]);
    let count = sizes.iter().filter(|size| **size > noise).count();
    let count = count.clamp(2, MOST_POLES).min(length);

    let signal = right.rows(0, count).transpose();
    let earlier = signal.rows(0, length).into_owned();
    let later = signal.rows(1, length).into_owned();
    let Some(step) = (earlier.transpose() * &earlier).lu().solve(&(earlier.transpose() * later))
    else {
        return Vec::new();
    };
    let Some(schur) = Schur::try_new(step, f64::EPSILON, MOST_ITERATIONS) else {
        return Vec::new();
    };
    schur
        .complex_eigenvalues()
        .iter()
        .filter(|pole| pole.im > 0.0)
        .map(|pole| Pole {
            decay: -pole.re.hypot(pole.im).ln() / step_s,
            angular: pole.im.atan2(pole.re) / step_s,
        })
        .filter(|pole| pole.decay.is_finite() && pole.angular.is_finite())
        .collect()
}
