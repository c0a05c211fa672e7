//! What a fit gives, and the intervals that follow from it.

use nalgebra::{DMatrix, DVector};
use statrs::distribution::{Continuous, ContinuousCDF, StudentsT};

/// The outcome of a least-squares fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// The fitted parameters, in the order of the model.
    pub parameters: DVector<f64>,
    /// `(JᵀJ)⁻¹` at the solution: the covariance of the parameters per unit of residual variance.
    pub unscaled_covariance: DMatrix<f64>,
    /// Observed minus fitted, in the order of the observations.
    pub residuals: DVector<f64>,
    /// Sum of the squared residuals.
    pub residual_sum_of_squares: f64,
    /// Sum of the squares that the residuals are compared with: about the mean, or about zero for a model without a
    /// constant term.
    pub total_sum_of_squares: f64,
}

impl Fit {
    /// Whether every figure is a number.
    pub(super) fn is_finite(&self) -> bool {
        let sums = [self.residual_sum_of_squares, self.total_sum_of_squares];
        sums.iter()
            .chain(&self.parameters)
            .chain(&self.unscaled_covariance)
            .chain(&self.residuals)
            .all(|figure| figure.is_finite())
    }

    /// Observations less parameters.
    pub fn degrees_of_freedom(&self) -> usize {
        self.residuals.len() - self.parameters.len()
    }

    /// The estimated variance of one observation; `None` when no observation is to spare.
    pub fn residual_variance(&self) -> Option<f64> {
        match self.degrees_of_freedom() {
            0 => None,
            // A count of observations fits a double without loss.
            spare => Some(self.residual_sum_of_squares / spare as f64),
        }
    }

    /// The residual standard deviation `√(RSS / (n − p))`; `None` when no observation is to spare.
    pub fn residual_sd(&self) -> Option<f64> {
        self.residual_variance().map(f64::sqrt)
    }

    /// The root of the mean squared residual, `√(RSS / n)`.
    pub fn residual_rms(&self) -> f64 {
        (self.residual_sum_of_squares / self.residuals.len() as f64).sqrt()
    }

    /// The share of the total sum of squares that the model explains; `None` when there is nothing to explain.
    pub fn r_squared(&self) -> Option<f64> {
        (self.total_sum_of_squares > 0.0)
            .then(|| 1.0 - self.residual_sum_of_squares / self.total_sum_of_squares)
    }

    /// Covariance of the parameters; `None` when no observation is to spare.
    pub fn covariance(&self) -> Option<DMatrix<f64>> {
        self.residual_variance().map(|variance| &self.unscaled_covariance * variance)
    }

    /// Standard error of one parameter; `None` when no observation is to spare.
    pub fn standard_error(&self, parameter: usize) -> Option<f64> {
        let unscaled = self.unscaled_covariance[(parameter, parameter)];
        self.residual_sd().map(|sd| sd * unscaled.sqrt())
    }

    /// Standard error of a quantity whose derivatives by the parameters are `gradient`, to first order; `None` when no
    /// observation is to spare.
    pub fn standard_error_of(&self, gradient: &[f64]) -> Option<f64> {
        self.residual_sd().map(|sd| sd * self.leverage(gradient).sqrt())
    }

    /// Half the width of the confidence interval of such a quantity.
    pub fn confidence_half_width(&self, gradient: &[f64], confidence: f64) -> Option<f64> {
        let t = student_t_two_sided(confidence, self.degrees_of_freedom())?;
        self.standard_error_of(gradient).map(|error| t * error)
    }

    /// Half the width of the prediction interval of one new observation whose derivatives by the parameters are
    /// `gradient`: the parameters' uncertainty together with one observation's own scatter.
    pub fn prediction_half_width(&self, gradient: &[f64], confidence: f64) -> Option<f64> {
        let t = student_t_two_sided(confidence, self.degrees_of_freedom())?;
        let spread = (1.0 + self.leverage(gradient)).sqrt();
        self.residual_sd().map(|sd| t * sd * spread)
    }

    fn leverage(&self, gradient: &[f64]) -> f64 {
        let gradient = DVector::from_column_slice(gradient);
        gradient.dot(&(&self.unscaled_covariance * &gradient)).max(0.0)
    }
}

/// The factor `t` for which Student's distribution has `confidence` of its weight between `−t` and `t`.
///
/// `None` for no degree of freedom, or a confidence that is not between 0 and 1.
///
/// # Source
///
/// statrs' quantile, polished by Newton steps on its distribution function; held against quantiles by SciPy 1.17.1.
pub fn student_t_two_sided(confidence: f64, degrees_of_freedom: usize) -> Option<f64> {
    if !(confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let student = StudentsT::new(0.0, 1.0, degrees_of_freedom as f64).ok()?;
    let tail = (1.0 - confidence) / 2.0;
    let mut t = student.inverse_cdf(1.0 - tail);
    for _ in 0..3 {
        let step = (student.sf(t) - tail) / student.pdf(t);
        if step.is_finite() {
            t += step;
        }
    }
    t.is_finite().then_some(t)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::student_t_two_sided;

    /// Quantiles computed with SciPy 1.17.1 (`stats.t.ppf`), to a relative 1e-9.
    #[test]
    fn students_quantiles_agree_with_scipy() {
        let published = [
            (0.95, 4, 2.776_445_105_197_793_4),
            (0.90, 3, 2.353_363_434_801_823_3),
            (0.95, 30, 2.042_272_456_301_237_8),
        ];
        for (confidence, degrees, expected) in published {
            let t = student_t_two_sided(confidence, degrees).unwrap();
            assert!((t / expected - 1.0).abs() < 1e-9, "{t} against {expected}");
        }
    }

    #[test]
    fn there_is_no_quantile_without_a_degree_of_freedom() {
        assert_eq!(student_t_two_sided(0.95, 0), None);
        assert_eq!(student_t_two_sided(1.0, 5), None);
        assert_eq!(student_t_two_sided(f64::NAN, 5), None);
    }
}
