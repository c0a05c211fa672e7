//! The speeds of best rate and best angle from climbs at several speeds.

use quantities::{CalibratedAirspeed, ClimbRate, TrueAirspeed};

use crate::least_squares::{Fit, FitError, fit_polynomial};

/// A parabola of climb rate over calibrated airspeed.
#[derive(Debug, Clone, PartialEq)]
pub struct ClimbCurve {
    /// The fit, in feet per minute over knots: parameters are the constant, the slope and the curvature.
    pub fit: Fit,
}

/// Why climbs give no best speed.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum CurveError {
    /// The parabola could not be fitted.
    #[error(transparent)]
    Fit(#[from] FitError),
    /// The parabola has no highest point, or has it at no speed.
    #[error("the climb rates have no highest point between a slow and a fast side")]
    NoHighestRate,
}

/// Fits the climb rate as a parabola of calibrated airspeed, by ordinary least squares.
///
/// Valid for climbs at one altitude and mass, or reduced to one, about the speed of best rate.
///
/// # Errors
///
/// [`CurveError::Fit`] for fewer than three different speeds, [`CurveError::NoHighestRate`] for a curve without a top.
///
/// # Source
///
/// Saw-tooth climbs with a quadratic fit, common practice. Checked by `published/climb.toml`.
pub fn fit_climb_curve(
    points: &[(CalibratedAirspeed, ClimbRate)],
) -> Result<ClimbCurve, CurveError> {
    let (speeds, rates): (Vec<f64>, Vec<f64>) =
        points.iter().map(|(speed, rate)| (speed.knots(), rate.feet_per_minute())).unzip();
    let curve = ClimbCurve { fit: fit_polynomial(&speeds, &rates, 2)? };
    let [_, slope, curvature] = curve.coefficients();
    if curvature < 0.0 && slope > 0.0 { Ok(curve) } else { Err(CurveError::NoHighestRate) }
}

impl ClimbCurve {
    /// Constant, slope and curvature, in feet per minute over knots.
    pub fn coefficients(&self) -> [f64; 3] {
        [self.fit.parameters[0], self.fit.parameters[1], self.fit.parameters[2]]
    }

    /// The rate on the curve.
    pub fn rate(&self, speed: CalibratedAirspeed) -> ClimbRate {
        let [constant, slope, curvature] = self.coefficients();
        let knots = speed.knots();
        ClimbRate::from_feet_per_minute(constant + knots * (slope + knots * curvature))
    }

    /// The speed of best rate, at the top of the parabola.
    pub fn best_rate_speed(&self) -> CalibratedAirspeed {
        let [_, slope, curvature] = self.coefficients();
        CalibratedAirspeed::from_knots(-slope / (2.0 * curvature))
    }

    /// The speed of best angle, where a line from the origin touches the parabola; `None` where none does, because the
    /// parabola is above zero at zero speed, or where the aircraft does not climb there.
    ///
    /// The angle's sine is rate over true airspeed, which at one altitude goes with the calibrated one; compressibility
    /// is left out of that step.
    ///
    /// # Source
    ///
    /// `√(c0 / c2)`, from the derivative of `c0 / V + c1 + c2 V`. Checked by `published/climb.toml`.
    pub fn best_angle_speed(&self) -> Option<CalibratedAirspeed> {
        let [constant, _, curvature] = self.coefficients();
        let speed = CalibratedAirspeed::from_knots((constant / curvature).sqrt());
        (constant < 0.0 && self.rate(speed).feet_per_minute() > 0.0).then_some(speed)
    }

    /// The derivatives of the rate at a speed by the three coefficients.
    pub fn gradient(speed: CalibratedAirspeed) -> [f64; 3] {
        [1.0, speed.knots(), speed.knots().powi(2)]
    }
}

/// Climb gradient in percent: height gained over horizontal distance; `None` where the aircraft would have to climb faster
/// than it flies.
///
/// # Source
///
/// `tan γ`, where `sin γ` is rate over true airspeed along the path.
pub fn gradient_percent(rate: ClimbRate, airspeed: TrueAirspeed) -> Option<f64> {
    let sine = rate.metres_per_second() / airspeed.metres_per_second();
    (sine.abs() < 1.0).then(|| 100.0 * sine.asin().tan())
}
