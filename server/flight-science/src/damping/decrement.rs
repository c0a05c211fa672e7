//! Damping from the sizes of successive peaks: the logarithmic decrement.

use std::f64::consts::TAU;

use crate::least_squares::{Fit, fit_line};

/// The logarithmic decrement with its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Decrement {
    /// Natural logarithm of the ratio of two successive peaks.
    pub log_decrement: f64,
    /// Its standard error; `None` for two peaks.
    pub standard_error: Option<f64>,
    /// Share of the scatter of the logarithms that steady decay explains; `None` where there is none.
    pub r_squared: Option<f64>,
    /// Root of the mean squared residual of the logarithms.
    pub residual_rms: f64,
}

/// Why peaks give no decrement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum DecrementError {
    /// A peak is zero, not finite or of another sign than the first.
    #[error("peak {peak} is zero or of another sign than the first")]
    NotOfOneSign {
        /// The peak, counted from 0.
        peak: usize,
    },
    /// Fewer than two peaks.
    #[error("a decrement needs two peaks")]
    TooFew,
    /// The peaks do not become smaller.
    #[error("the peaks do not become smaller")]
    NotDecaying,
}

/// The damping ratio of viscous damping with this logarithmic decrement.
///
/// # Source
///
/// ζ = δ / √(4π² + δ²), as in pont.ist/logarithmic-decrement (text seen). Checked by `published/damping.toml`.
pub fn damping_ratio_of(log_decrement: f64) -> f64 {
    log_decrement / TAU.hypot(log_decrement)
}

/// The logarithmic decrement of viscous damping with this ratio: the inverse of [`damping_ratio_of`].
///
/// # Source
///
/// δ = 2π ζ / √(1 − ζ²), as in pont.ist/logarithmic-decrement (text seen).
pub fn log_decrement_of(damping_ratio: f64) -> f64 {
    TAU * damping_ratio / (1.0 - damping_ratio * damping_ratio).sqrt()
}

/// Cycles in which the amplitude falls to half.
///
/// # Source
///
/// ln 2 / δ, arithmetic.
pub fn cycles_to_half(log_decrement: f64) -> f64 {
    std::f64::consts::LN_2 / log_decrement
}

/// Fits a steady decay to successive peaks of one sign: a straight line through the logarithms of their sizes.
///
/// Valid for one mode with viscous damping about a zero that was taken off. Noise in small peaks weighs as much as in
/// large ones, so peaks near the noise do not belong in.
///
/// # Errors
///
/// [`DecrementError`] as named.
///
/// # Source
///
/// δ = (1/n) ln(x_0 / x_n) for two peaks; the log-linear least-squares fit for more. Checked by `published/damping.toml`.
pub fn fit_decrement(peaks: &[f64]) -> Result<Decrement, DecrementError> {
    let first = *peaks.first().ok_or(DecrementError::TooFew)?;
    let odd_one = peaks.iter().position(|peak| !(peak * first.signum() > 0.0 && peak.is_finite()));
    if let Some(peak) = odd_one {
        return Err(DecrementError::NotOfOneSign { peak });
    }
    let numbers: Vec<f64> = (0..peaks.len()).map(|number| number as f64).collect();
    let logarithms: Vec<f64> = peaks.iter().map(|peak| peak.abs().ln()).collect();
    let fit: Fit = fit_line(&numbers, &logarithms).map_err(|_| DecrementError::TooFew)?;
    let log_decrement = -fit.parameters[1];
    if log_decrement > 0.0 {
        Ok(Decrement {
            log_decrement,
            standard_error: fit.standard_error(1),
            r_squared: fit.r_squared(),
            residual_rms: fit.residual_rms(),
        })
    } else {
        Err(DecrementError::NotDecaying)
    }
}
