//! The one least-squares kernel: linear and nonlinear fits with their uncertainty.
//!
//! - [`fit_linear`], [`fit_line`], [`fit_polynomial`]: ordinary linear least squares by Householder QR, carried out in
//!   double-double arithmetic so that even badly conditioned designs keep their digits.
//! - [`fit_nonlinear`]: Levenberg–Marquardt with an analytic Jacobian.
//!
//! Both give a [`Fit`]: parameters, covariance, residuals, degrees of freedom, R², and from these the confidence and
//! prediction intervals. All weights are equal, and the errors are taken as independent with one common variance that is
//! estimated from the residuals. Where that is not so the intervals are too narrow, and the reductions say so.
//!
//! The kernel is held against the certified values of the NIST Statistical Reference Datasets, in `published/nist`.

#[cfg(test)]
mod coverage;
mod double_double;
mod extrapolation;
mod fit;
mod linear;
#[cfg(test)]
mod nist;
mod nonlinear;

pub use extrapolation::percent_beyond;
pub use fit::{Fit, student_t_two_sided};
pub use linear::{Intercept, fit_line, fit_linear, fit_polynomial};
pub use nonlinear::{Model, fit_nonlinear};

/// Why a fit gave no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum FitError {
    /// There are fewer observations than parameters.
    #[error("{observations} observations cannot determine {parameters} parameters")]
    TooFewObservations {
        /// Observations given.
        observations: usize,
        /// Parameters asked for.
        parameters: usize,
    },
    /// A number among the data or the start is not finite, or lists differ in length.
    #[error("the data of the fit are not finite or not of one length")]
    UnusableData,
    /// The observations leave a combination of the parameters open.
    #[error("the observations leave parameter {parameter} undetermined")]
    Undetermined {
        /// The first parameter, counted from 0, that the earlier ones already explain.
        parameter: usize,
    },
    /// The nonlinear fit did not settle.
    #[error("the fit did not settle in {evaluations} evaluations")]
    NoConvergence {
        /// How often the model was evaluated.
        evaluations: usize,
    },
}
