//! True airspeed and wind from ground speeds and tracks.
//!
//! In still air the tips of all ground vectors lie on a circle about the origin, whose radius is the true airspeed. Wind
//! shifts that circle: its centre is the wind vector. Three legs fix a circle; more legs are fitted.

use nalgebra::{DMatrix, DVector, Matrix2, Vector2};
use quantities::{Angle, GroundSpeed, TrueAirspeed, WindSpeed};

use crate::least_squares::{Fit, FitError, Intercept, Model, fit_linear, fit_nonlinear};

/// Legs whose solution would be more than so many times as uncertain as one leg are refused. Three legs spread evenly
/// over the compass have 1.3; three legs within 40° of each other have about 20.
pub const LARGEST_DILUTION: f64 = 20.0;

/// The sine of the angle at a corner of the triangle of tips below which three tips count as lying on one line.
const SMALLEST_SINE: f64 = 1e-9;

/// One straight leg flown at steady indicated airspeed, altitude and heading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leg {
    /// Mean ground speed.
    pub ground_speed: GroundSpeed,
    /// Mean track over the ground, clockwise from true north.
    pub track: Angle,
}

/// True airspeed and wind, as determined from legs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirspeedAndWind {
    /// True airspeed, taken as the same on all legs.
    pub true_airspeed: TrueAirspeed,
    /// Wind speed.
    pub wind_speed: WindSpeed,
    /// Where the wind comes from, clockwise from true north.
    pub wind_from: Angle,
    /// How many times as uncertain the whole solution (airspeed and both wind components) is as one leg.
    pub dilution: f64,
    wind_m_s: Vector2<f64>,
}

impl AirspeedAndWind {
    /// The heading that was held on a leg: the direction of the ground vector less the wind.
    pub fn heading(&self, leg: &Leg) -> Angle {
        bearing(ground_vector(leg) - self.wind_m_s)
    }

    fn from_circle(centre: Vector2<f64>, radius: f64, tips: &[Vector2<f64>]) -> Option<Self> {
        let dilution = dilution(centre, tips)?;
        (dilution <= LARGEST_DILUTION && radius.is_finite()).then(|| Self {
            true_airspeed: TrueAirspeed::from_metres_per_second(radius),
            wind_speed: WindSpeed::from_metres_per_second(centre.norm()),
            wind_from: bearing(-centre),
            dilution,
            wind_m_s: centre,
        })
    }
}

/// The least-squares solution of four or more legs, or the exact one of three.
#[derive(Debug, Clone, PartialEq)]
pub struct LegsSolution {
    /// Airspeed and wind.
    pub solution: AirspeedAndWind,
    /// Standard error of the true airspeed in metres per second; `None` for three legs.
    pub true_airspeed_se_m_s: Option<f64>,
    /// Root of the mean squared residual, in metres per second.
    pub residual_rms_m_s: f64,
    /// Residual standard deviation `√(RSS / (n − 3))` in metres per second; `None` for three legs.
    pub residual_sd_m_s: Option<f64>,
}

/// Why legs give no airspeed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum LegsError {
    /// The tips of the ground vectors do not fix a circle.
    #[error("the legs do not determine a circle")]
    Undetermined,
    /// The circle does not enclose the origin, so that the wind would be faster than the aircraft.
    #[error("the legs give a wind that is faster than the aircraft")]
    WindFasterThanAircraft,
    /// The fit did not settle.
    #[error("the circle could not be fitted")]
    Fit(#[from] FitError),
}

/// True airspeed and wind from three or more legs.
///
/// Minimises the sum of squares of `|g_i − w| − V`, with the same weight for each leg, where `g_i` are the ground vectors,
/// `w` the wind and `V` the true airspeed. Valid for legs at one true airspeed in one steady wind that differ enough in
/// track, with a wind slower than the aircraft.
///
/// # Errors
///
/// [`LegsError::Undetermined`] for tips on a line, too few legs or a dilution above [`LARGEST_DILUTION`],
/// [`LegsError::WindFasterThanAircraft`], and [`LegsError::Fit`].
///
/// # Source
///
/// D. Gray, "Using GPS to accurately establish True Airspeed (TAS)", 1998, for three legs; the geometric circle fit for
/// more. Checked by `published/gps_airspeed.toml`.
pub fn solve_legs(legs: &[Leg]) -> Result<LegsSolution, LegsError> {
    let tips: Vec<Vector2<f64>> = legs.iter().map(ground_vector).collect();
    let solution = match tips.as_slice() {
        [a, b, c] => LegsSolution {
            solution: circle_through([*a, *b, *c]).ok_or(LegsError::Undetermined)?,
            true_airspeed_se_m_s: None,
            residual_rms_m_s: 0.0,
            residual_sd_m_s: None,
        },
        tips => fit_circle(tips)?,
    };
    let found = &solution.solution;
    if found.wind_speed.metres_per_second() >= found.true_airspeed.metres_per_second() {
        return Err(LegsError::WindFasterThanAircraft);
    }
    Ok(solution)
}

/// The exact solution of three legs; `None` where they do not determine one.
///
/// # Source
///
/// D. Gray, "Using GPS to accurately establish True Airspeed (TAS)", 1998: the circle through the three tips.
pub fn solve_three_legs(legs: [Leg; 3]) -> Option<AirspeedAndWind> {
    circle_through(legs.map(|leg| ground_vector(&leg)))
}

/// Every choice of three out of `count` legs, those flown next to each other first. Four legs come as 1-2-3, 2-3-4, 3-4-1
/// and 4-1-2, which is the order of the four-leg method.
pub fn three_leg_choices(count: usize) -> Vec<[usize; 3]> {
    let mut choices = Vec::new();
    for i in 0..count {
        for j in i + 1..count {
            for k in j + 1..count {
                // The choice as a round trip: where it starts, and how far apart its legs are.
                let gaps = [j - i, k - j, count - (k - i)];
                let turns = [
                    (gaps, [i, j, k]),
                    ([gaps[1], gaps[2], gaps[0]], [j, k, i]),
                    ([gaps[2], gaps[0], gaps[1]], [k, i, j]),
                ];
                choices.extend(turns.into_iter().min());
            }
        }
    }
    choices.sort_unstable();
    choices.into_iter().map(|(_, legs)| legs).collect()
}

fn ground_vector(leg: &Leg) -> Vector2<f64> {
    // East, then north.
    let (east, north) = leg.track.radians().sin_cos();
    Vector2::new(east, north) * leg.ground_speed.metres_per_second()
}

fn bearing(vector: Vector2<f64>) -> Angle {
    Angle::from_radians(vector.x.atan2(vector.y))
}

fn circle_through(tips: [Vector2<f64>; 3]) -> Option<AirspeedAndWind> {
    let [a, b, c] = tips;
    let (to_b, to_c) = (b - a, c - a);
    if to_b.perp(&to_c).abs() <= SMALLEST_SINE * to_b.norm() * to_c.norm() {
        return None;
    }
    // |a − w|² = |b − w|² = |c − w|², with the origin moved to a: 2 (b − a)·(w − a) = |b − a|².
    let normals = Matrix2::new(to_b.x, to_b.y, to_c.x, to_c.y) * 2.0;
    let from_a = normals.lu().solve(&Vector2::new(to_b.norm_squared(), to_c.norm_squared()))?;
    AirspeedAndWind::from_circle(a + from_a, from_a.norm(), &tips)
}

fn fit_circle(tips: &[Vector2<f64>]) -> Result<LegsSolution, LegsError> {
    let start = algebraic_circle(tips)?;
    let circle = Circle { tips, zeros: vec![0.0; tips.len()] };
    let fit: Fit = fit_nonlinear(&circle, &start).map_err(undetermined_or)?;
    let centre = Vector2::new(fit.parameters[1], fit.parameters[2]);
    Ok(LegsSolution {
        solution: AirspeedAndWind::from_circle(centre, fit.parameters[0], tips)
            .ok_or(LegsError::Undetermined)?,
        true_airspeed_se_m_s: fit.standard_error(0),
        residual_rms_m_s: fit.residual_rms(),
        residual_sd_m_s: fit.residual_sd(),
    })
}

/// The circle that minimises the algebraic distance: `g·g = 2 g·w + (V² − w·w)` is linear. Good enough to start from.
fn algebraic_circle(tips: &[Vector2<f64>]) -> Result<[f64; 3], LegsError> {
    let rows: Vec<Vec<f64>> = tips.iter().map(|tip| vec![1.0, 2.0 * tip.x, 2.0 * tip.y]).collect();
    let squares: Vec<f64> = tips.iter().map(Vector2::norm_squared).collect();
    let fit = fit_linear(&rows, &squares, Intercept::Included).map_err(undetermined_or)?;
    let centre = Vector2::new(fit.parameters[1], fit.parameters[2]);
    let radius_squared = fit.parameters[0] + centre.norm_squared();
    if radius_squared > 0.0 {
        Ok([radius_squared.sqrt(), centre.x, centre.y])
    } else {
        Err(LegsError::Undetermined)
    }
}

fn undetermined_or(error: FitError) -> LegsError {
    match error {
        FitError::Undetermined { .. } | FitError::TooFewObservations { .. } => {
            LegsError::Undetermined
        }
        other => LegsError::Fit(other),
    }
}

/// The model `|g_i − w| − V`, which should be zero on each leg.
struct Circle<'a> {
    tips: &'a [Vector2<f64>],
    zeros: Vec<f64>,
}

impl Model for Circle<'_> {
    fn observed(&self) -> &[f64] {
        &self.zeros
    }

    fn evaluate(
        &self,
        parameters: &DVector<f64>,
        fitted: &mut DVector<f64>,
        mut jacobian: Option<&mut DMatrix<f64>>,
    ) {
        let centre = Vector2::new(parameters[1], parameters[2]);
        for (row, tip) in self.tips.iter().enumerate() {
            let air = tip - centre;
            fitted[row] = air.norm() - parameters[0];
            if let Some(jacobian) = jacobian.as_deref_mut() {
                let [by_airspeed, by_east, by_north] = derivatives(air);
                jacobian[(row, 0)] = by_airspeed;
                jacobian[(row, 1)] = by_east;
                jacobian[(row, 2)] = by_north;
            }
        }
    }
}

/// The derivatives of `|g − w| − V` by `V` and the two components of `w`.
fn derivatives(air: Vector2<f64>) -> [f64; 3] {
    let direction = air / air.norm();
    [-1.0, -direction.x, -direction.y]
}

/// The root of the trace of `(JᵀJ)⁻¹`.
fn dilution(centre: Vector2<f64>, tips: &[Vector2<f64>]) -> Option<f64> {
    let mut squares = nalgebra::Matrix3::<f64>::zeros();
    for tip in tips {
        let row = nalgebra::Vector3::from(derivatives(tip - centre));
        squares += row * row.transpose();
    }
    let trace = squares.try_inverse()?.trace();
    (trace.is_finite() && trace > 0.0).then(|| trace.sqrt())
}
