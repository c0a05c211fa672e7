//! Linear least squares by Householder QR in double-double arithmetic.
//!
//! Fitting a parabola to climbs at 60 to 90 knots already squares and cubes condition numbers. In double-double the
//! rounding of the solver stays below that of the data for any design worth fitting.

use nalgebra::{DMatrix, DVector};

use super::double_double::DoubleDouble;
use super::{Fit, FitError};

/// A column whose part that earlier columns don't explain is below this share of it counts as explained by them.
///
/// Data are doubles, so a share of 1e-14 is rounding; a degree-10 polynomial still keeps about 1e-10.
const SMALLEST_NEW_SHARE: f64 = 1e-14;

/// Whether R² is measured about the mean (the model has a constant term) or about zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Intercept {
    /// The columns contain a constant.
    Included,
    /// The model has no constant term.
    None,
}

/// Fits `y = Σ parameter_k · column_k`, where each of `rows` has one observation's columns.
///
/// # Errors
///
/// [`FitError::TooFewObservations`] for fewer rows than columns, [`FitError::UnusableData`] for numbers that are not
/// finite or rows of differing length, [`FitError::Undetermined`] for columns that depend on each other.
///
/// # Source
///
/// Householder's QR factorisation, common practice in numerical analysis. Checked by `published/nist`.
pub fn fit_linear(rows: &[Vec<f64>], y: &[f64], intercept: Intercept) -> Result<Fit, FitError> {
    let width = rows.first().map_or(0, Vec::len);
    if rows.iter().any(|row| row.len() != width) {
        return Err(FitError::UnusableData);
    }
    let columns = (0..width)
        .map(|column| rows.iter().map(|row| DoubleDouble::exactly(row[column])).collect())
        .collect();
    solve(columns, y, intercept)
}

/// Fits the straight line `y = parameter_0 + parameter_1 · x`.
///
/// # Errors
///
/// As [`fit_linear`].
pub fn fit_line(x: &[f64], y: &[f64]) -> Result<Fit, FitError> {
    fit_polynomial(x, y, 1)
}

/// Fits the polynomial `y = Σ parameter_k · xᵏ` of the given degree.
///
/// The powers themselves are formed in double-double arithmetic.
///
/// # Errors
///
/// As [`fit_linear`].
pub fn fit_polynomial(x: &[f64], y: &[f64], degree: usize) -> Result<Fit, FitError> {
    let mut columns = vec![vec![DoubleDouble::ONE; x.len()]];
    for power in 0..degree {
        let next = columns[power]
            .iter()
            .zip(x)
            .map(|(lower, x)| *lower * DoubleDouble::exactly(*x))
            .collect();
        columns.push(next);
    }
    solve(columns, y, Intercept::Included)
}

fn solve(
    mut columns: Vec<Vec<DoubleDouble>>,
    y: &[f64],
    intercept: Intercept,
) -> Result<Fit, FitError> {
    let (observations, width) = (y.len(), columns.len());
    let usable = columns
        .iter()
        .all(|column| column.len() == observations && column.iter().all(|x| x.is_finite()))
        && y.iter().all(|y| y.is_finite());
    if !usable {
        return Err(FitError::UnusableData);
    }
    if width == 0 || observations < width {
        return Err(FitError::TooFewObservations { observations, parameters: width });
    }
    let scales = scale_columns(&mut columns)?;
    let design = columns.clone();
    let observed: Vec<DoubleDouble> = y.iter().copied().map(DoubleDouble::exactly).collect();
    let mut rotated = observed.clone();
    let diagonal = reduce(&mut columns, &mut rotated)?;
    let inverse = invert_upper(&columns, &diagonal);

    // x = R⁻¹ Qᵀ y, then the residuals afresh from the design.
    let scaled: Vec<DoubleDouble> = (0..width)
        .map(|row| (row..width).map(|column| inverse[row][column] * rotated[column]).sum())
        .collect();
    let residuals: Vec<DoubleDouble> = (0..observations)
        .map(|row| {
            let fitted: DoubleDouble = (0..width).map(|k| design[k][row] * scaled[k]).sum();
            observed[row] - fitted
        })
        .collect();

    let unscaled_covariance = DMatrix::from_fn(width, width, |i, j| {
        let product: DoubleDouble = (i.max(j)..width).map(|k| inverse[i][k] * inverse[j][k]).sum();
        product.rounded() / (scales[i] * scales[j])
    });
    let fit = Fit {
        parameters: DVector::from_fn(width, |k, _| scaled[k].rounded() / scales[k]),
        unscaled_covariance,
        residual_sum_of_squares: sum_of_squares(&residuals),
        total_sum_of_squares: total_sum_of_squares(&observed, intercept),
        residuals: DVector::from_iterator(observations, residuals.iter().map(|r| r.rounded())),
    };
    // Data near the largest or smallest double leave its range when they are squared.
    if fit.is_finite() { Ok(fit) } else { Err(FitError::UnusableData) }
}

/// Divides each column by a power of two near its largest size, which costs no digit, and gives the divisors.
fn scale_columns(columns: &mut [Vec<DoubleDouble>]) -> Result<Vec<f64>, FitError> {
    let mut scales = Vec::with_capacity(columns.len());
    for (parameter, column) in columns.iter_mut().enumerate() {
        let largest = column.iter().fold(0.0, |largest: f64, x| largest.max(x.rounded().abs()));
        let scale = largest.log2().floor().exp2();
        // Zero, or so near to it that its inverse is no double.
        if largest == 0.0 || !scale.recip().is_finite() {
            return Err(FitError::Undetermined { parameter });
        }
        let divisor = DoubleDouble::exactly(1.0 / scale);
        for x in column.iter_mut() {
            *x = *x * divisor;
        }
        scales.push(scale);
    }
    Ok(scales)
}

/// Reduces the columns to upper triangular form by reflections, which are applied to `y` as well. Above the diagonal
/// `columns` then holds R; the diagonal of R is the result.
fn reduce(
    columns: &mut [Vec<DoubleDouble>],
    y: &mut [DoubleDouble],
) -> Result<Vec<DoubleDouble>, FitError> {
    let mut diagonal = Vec::with_capacity(columns.len());
    for pivot in 0..columns.len() {
        let whole = norm(&columns[pivot]);
        let mut reflector = columns[pivot][pivot..].to_vec();
        let length = norm(&reflector);
        if length.rounded() <= SMALLEST_NEW_SHARE * whole.rounded() {
            return Err(FitError::Undetermined { parameter: pivot });
        }
        // The sign that does not cancel.
        let end = if reflector[0].rounded() > 0.0 { -length } else { length };
        reflector[0] = reflector[0] - end;
        let size: DoubleDouble = reflector.iter().map(|v| *v * *v).sum();
        let reflect = |target: &mut [DoubleDouble]| {
            let along: DoubleDouble = reflector.iter().zip(&*target).map(|(v, t)| *v * *t).sum();
            let factor = (along + along) / size;
            for (t, v) in target.iter_mut().zip(&reflector) {
                *t = *t - factor * *v;
            }
        };
        for column in &mut columns[pivot + 1..] {
            reflect(&mut column[pivot..]);
        }
        reflect(&mut y[pivot..]);
        diagonal.push(end);
    }
    Ok(diagonal)
}

/// The inverse of the upper triangular R, by back substitution.
fn invert_upper(
    columns: &[Vec<DoubleDouble>],
    diagonal: &[DoubleDouble],
) -> Vec<Vec<DoubleDouble>> {
    let width = diagonal.len();
    let mut inverse = vec![vec![DoubleDouble::ZERO; width]; width];
    for column in 0..width {
        inverse[column][column] = DoubleDouble::ONE / diagonal[column];
        for row in (0..column).rev() {
            let known: DoubleDouble =
                (row + 1..=column).map(|k| columns[k][row] * inverse[k][column]).sum();
            inverse[row][column] = -known / diagonal[row];
        }
    }
    inverse
}

fn norm(vector: &[DoubleDouble]) -> DoubleDouble {
    let squares: DoubleDouble = vector.iter().map(|x| *x * *x).sum();
    squares.square_root()
}

fn sum_of_squares(numbers: &[DoubleDouble]) -> f64 {
    let sum: DoubleDouble = numbers.iter().map(|x| *x * *x).sum();
    sum.rounded()
}

fn total_sum_of_squares(observed: &[DoubleDouble], intercept: Intercept) -> f64 {
    let centre = match intercept {
        Intercept::None => DoubleDouble::ZERO,
        Intercept::Included => {
            let sum: DoubleDouble = observed.iter().copied().sum();
            sum / DoubleDouble::exactly(observed.len() as f64)
        }
    };
    let about: Vec<DoubleDouble> = observed.iter().map(|y| *y - centre).collect();
    sum_of_squares(&about)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::{Intercept, fit_line, fit_linear, fit_polynomial};
    use crate::least_squares::FitError;

    #[test]
    fn a_line_through_three_exact_points_is_found_with_its_degree_of_freedom() {
        let fit = fit_line(&[1.0, 2.0, 4.0], &[3.0, 5.0, 9.0]).unwrap();
        assert!((fit.parameters[0] - 1.0).abs() < 1e-15);
        assert!((fit.parameters[1] - 2.0).abs() < 1e-15);
        assert_eq!(fit.degrees_of_freedom(), 1);
        assert_eq!(fit.r_squared(), Some(1.0));
    }

    #[test]
    fn a_line_through_two_points_has_no_standard_error() {
        let fit = fit_line(&[1.0, 2.0], &[3.0, 5.0]).unwrap();
        assert_eq!(fit.standard_error(1), None);
        assert_eq!(fit.residual_sd(), None);
    }

    #[test]
    fn points_at_one_place_do_not_determine_a_slope() {
        let fit = fit_line(&[0.1, 0.1, 0.1], &[1.0, 2.0, 3.0]);
        assert_eq!(fit, Err(FitError::Undetermined { parameter: 1 }));
    }

    #[test]
    fn columns_that_add_up_to_another_are_undetermined() {
        let rows = vec![
            vec![1.0, 0.1, 1.1],
            vec![1.0, 0.2, 1.2],
            vec![1.0, 0.7, 1.7],
            vec![1.0, 0.4, 1.4],
        ];
        let fit = fit_linear(&rows, &[1.0, 2.0, 3.0, 4.0], Intercept::Included);
        assert_eq!(fit, Err(FitError::Undetermined { parameter: 2 }));
    }

    #[test]
    fn fewer_points_than_parameters_and_nan_are_refused() {
        assert_eq!(
            fit_polynomial(&[1.0, 2.0], &[1.0, 2.0], 2),
            Err(FitError::TooFewObservations { observations: 2, parameters: 3 })
        );
        assert_eq!(fit_line(&[1.0, f64::NAN], &[1.0, 2.0]), Err(FitError::UnusableData));
        assert_eq!(fit_line(&[1.0, 2.0, 3.0], &[1.0, 2.0]), Err(FitError::UnusableData));
    }
}
