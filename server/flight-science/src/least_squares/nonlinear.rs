//! Nonlinear least squares by Levenberg and Marquardt's method.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, storage::Owned};

use super::{Fit, FitError};

/// Evaluations allowed for each parameter, and once more. Honest problems settle in tens.
const PATIENCE: usize = 500;

/// A step to where the model can't be evaluated is answered with this residual, so that the solver steps back.
const REPELLING_RESIDUAL: f64 = 1e100;

/// At most so many Gauss–Newton steps end a fit.
const POLISHING_STEPS: usize = 12;

/// A step that moves the fitted values by less than this share of them is rounding.
const NEGLIGIBLE_STEP: f64 = 1e-13;

/// A model to be fitted: what it says for all observations, and how that changes with the parameters.
pub trait Model {
    /// The observed values.
    fn observed(&self) -> &[f64];

    /// Writes the fitted value of each observation into `fitted`, and into column `k` of `jacobian` (if there is one) its
    /// derivatives by parameter `k`. What can't be evaluated is NaN.
    fn evaluate(
        &self,
        parameters: &DVector<f64>,
        fitted: &mut DVector<f64>,
        jacobian: Option<&mut DMatrix<f64>>,
    );
}

/// Fits the model, starting from `start`.
///
/// R² compares with the sum of squares about the mean.
///
/// # Errors
///
/// [`FitError::TooFewObservations`] for fewer observations than parameters, [`FitError::UnusableData`] where the data or
/// the model at the start are not finite, [`FitError::NoConvergence`] where the fit doesn't settle, and
/// [`FitError::Undetermined`] where it settles at a place in which the observations leave a parameter open.
///
/// # Source
///
/// Moré's form of the Levenberg–Marquardt method as in MINPACK, by the crate `levenberg-marquardt`. Checked by
/// `published/nist` from both of NIST's starts.
pub fn fit_nonlinear<M: Model>(model: &M, start: &[f64]) -> Result<Fit, FitError> {
    let observed = model.observed();
    let (observations, width) = (observed.len(), start.len());
    if width == 0 || observations < width {
        return Err(FitError::TooFewObservations { observations, parameters: width });
    }
    let problem = Problem { model, parameters: DVector::from_column_slice(start) };
    let usable = observed.iter().chain(start).all(|x| x.is_finite())
        && problem.raw_residuals().iter().all(|r| r.is_finite());
    if !usable {
        return Err(FitError::UnusableData);
    }
    let (mut problem, report) = LevenbergMarquardt::new().with_patience(PATIENCE).minimize(problem);
    // "No improvement possible" means that the last digits are reached before the solver's own bound.
    let settled = report.termination.was_successful()
        || matches!(
            report.termination,
            levenberg_marquardt::TerminationReason::NoImprovementPossible(_)
        );
    if !settled {
        return Err(FitError::NoConvergence { evaluations: report.number_of_evaluations });
    }
    problem.polish();
    outcome(&problem)
}

struct Problem<'a, M> {
    model: &'a M,
    parameters: DVector<f64>,
}

impl<M: Model> Problem<'_, M> {
    /// Fitted minus observed.
    fn raw_residuals(&self) -> DVector<f64> {
        let mut residuals = self.raw_fitted();
        for (residual, observed) in residuals.iter_mut().zip(self.model.observed()) {
            *residual -= observed;
        }
        residuals
    }

    fn raw_jacobian(&self) -> DMatrix<f64> {
        let observations = self.model.observed().len();
        let mut fitted = DVector::zeros(observations);
        let mut jacobian = DMatrix::zeros(observations, self.parameters.len());
        self.model.evaluate(&self.parameters, &mut fitted, Some(&mut jacobian));
        jacobian
    }
}

impl<M: Model> Problem<'_, M> {
    /// Ends with undamped Gauss–Newton steps. The sum of squares is flat at its bottom, so a solver that watches it stops
    /// when half of the parameters' digits are reached; the steps themselves show the other half.
    fn polish(&mut self) {
        let mut last_size = f64::INFINITY;
        for _ in 0..POLISHING_STEPS {
            let mut jacobian = self.raw_jacobian();
            let lengths: Vec<f64> = jacobian.column_iter().map(|column| column.norm()).collect();
            for (column, length) in lengths.iter().enumerate() {
                jacobian.column_mut(column).unscale_mut(*length);
            }
            let factors = jacobian.qr();
            let mut rotated = self.raw_residuals();
            factors.q_tr_mul(&mut rotated);
            let width = self.parameters.len();
            let Some(step) =
                factors.r().solve_upper_triangular(&rotated.rows(0, width).into_owned())
            else {
                return;
            };
            let size = step.norm();
            if size.is_nan() || size >= last_size {
                return;
            }
            last_size = size;
            let before = self.parameters.clone();
            for (parameter, (step, length)) in step.iter().zip(&lengths).enumerate() {
                self.parameters[parameter] -= step / length;
            }
            if self.raw_residuals().iter().any(|r| !r.is_finite()) {
                self.parameters = before;
                return;
            }
            if size <= NEGLIGIBLE_STEP * self.raw_fitted().norm() {
                return;
            }
        }
    }

    fn raw_fitted(&self) -> DVector<f64> {
        let mut fitted = DVector::zeros(self.model.observed().len());
        self.model.evaluate(&self.parameters, &mut fitted, None);
        fitted
    }
}

impl<M: Model> LeastSquaresProblem<f64, Dyn, Dyn> for Problem<'_, M> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, parameters: &DVector<f64>) {
        self.parameters.copy_from(parameters);
    }

    fn params(&self) -> DVector<f64> {
        self.parameters.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        let mut residuals = self.raw_residuals();
        if residuals.iter().any(|r| r.is_nan() || r.abs() > REPELLING_RESIDUAL) {
            residuals.fill(REPELLING_RESIDUAL);
        }
        Some(residuals)
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let jacobian = self.raw_jacobian();
        jacobian.iter().all(|d| d.is_finite()).then_some(jacobian)
    }
}

fn outcome<M: Model>(problem: &Problem<'_, M>) -> Result<Fit, FitError> {
    let residuals = -problem.raw_residuals();
    let observed = problem.model.observed();
    let mean = observed.iter().sum::<f64>() / observed.len() as f64;
    let fit = Fit {
        unscaled_covariance: unscaled_covariance(problem.raw_jacobian())?,
        parameters: problem.parameters.clone(),
        residual_sum_of_squares: residuals.norm_squared(),
        total_sum_of_squares: observed.iter().map(|y| (y - mean).powi(2)).sum(),
        residuals,
    };
    if fit.is_finite() { Ok(fit) } else { Err(FitError::UnusableData) }
}

/// `(JᵀJ)⁻¹` by QR of the Jacobian with its columns scaled to length one.
fn unscaled_covariance(mut jacobian: DMatrix<f64>) -> Result<DMatrix<f64>, FitError> {
    let width = jacobian.ncols();
    let lengths: Vec<f64> = jacobian.column_iter().map(|column| column.norm()).collect();
    for (parameter, length) in lengths.iter().enumerate() {
        if !(*length > 0.0 && length.is_finite()) {
            return Err(FitError::Undetermined { parameter });
        }
        jacobian.column_mut(parameter).unscale_mut(*length);
    }
    let r = jacobian.qr().r();
    if let Some(parameter) = (0..width).find(|k| r[(*k, *k)].abs() < 1e-13) {
        return Err(FitError::Undetermined { parameter });
    }
    let inverse = r.try_inverse().ok_or(FitError::Undetermined { parameter: 0 })?;
    let scaled = &inverse * inverse.transpose();
    Ok(DMatrix::from_fn(width, width, |i, j| scaled[(i, j)] / (lengths[i] * lengths[j])))
}
