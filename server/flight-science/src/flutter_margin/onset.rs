//! Where the flutter margin would come to zero, by its trend over dynamic pressure.

use crate::least_squares::{Fit, FitError, fit_polynomial};

/// Confidence of the band about the trend.
pub const CONFIDENCE: f64 = 0.95;

/// With so many points the trend is a parabola, as the theory has it; with fewer a straight line.
pub const FEWEST_FOR_PARABOLA: usize = 4;

/// An onset is told up to so many times the highest tested dynamic pressure, which is three times the speed, and the upper
/// end of its interval up to so many times that of the onset. Beyond, a trend says nothing.
const FARTHEST: f64 = 9.0;

/// How finely an end of the interval is looked for, before it is closed in upon.
const LOOKS: usize = 1_000;

/// The trend of the margin over dynamic pressure.
#[derive(Debug, Clone, PartialEq)]
pub struct MarginTrend {
    /// The fit of the margin over dynamic pressure in pascals: constant, slope and, for a parabola, curvature.
    pub fit: Fit,
    lowest_pa: f64,
    highest_pa: f64,
}

/// Where the trend comes to zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Onset {
    /// Dynamic pressure of the onset.
    pub pressure_pa: f64,
    /// Where the lower side of the 95 % confidence band comes to zero; `None` when no point was to spare.
    pub low_pa: Option<f64>,
    /// Where the upper side does; `None` when it does not within three times the onset's speed, or no point was to spare.
    pub high_pa: Option<f64>,
}

/// Fits the trend of margins over dynamic pressures.
///
/// # Errors
///
/// [`FitError`], in the first place for too few different dynamic pressures.
///
/// # Source
///
/// Zimmerman and Weissenburger, as told at [`flutter_margin`](super::flutter_margin): the margin is quadratic in dynamic
/// pressure at one density and Mach number small.
pub fn fit_margin_trend(pressures_pa: &[f64], margins: &[f64]) -> Result<MarginTrend, FitError> {
    let degree = if pressures_pa.len() >= FEWEST_FOR_PARABOLA { 2 } else { 1 };
    Ok(MarginTrend {
        fit: fit_polynomial(pressures_pa, margins, degree)?,
        lowest_pa: pressures_pa.iter().copied().fold(f64::INFINITY, f64::min),
        highest_pa: pressures_pa.iter().copied().fold(f64::NEG_INFINITY, f64::max),
    })
}

impl MarginTrend {
    /// Constant, slope and curvature; a straight line has the curvature zero.
    pub fn coefficients(&self) -> [f64; 3] {
        std::array::from_fn(|power| self.fit.parameters.get(power).copied().unwrap_or(0.0))
    }

    /// The margin on the trend.
    pub fn margin_at(&self, pressure_pa: f64) -> f64 {
        let [constant, slope, curvature] = self.coefficients();
        constant + pressure_pa * (slope + pressure_pa * curvature)
    }

    /// Where the trend comes to zero first, from the lowest tested dynamic pressure upwards; `None` if it does not within
    /// three times the highest tested speed.
    pub fn onset(&self) -> Option<Onset> {
        let in_sight = self.lowest_pa..=FARTHEST * self.highest_pa;
        let pressure_pa =
            self.zeros().into_iter().filter(|zero| in_sight.contains(zero)).reduce(f64::min)?;
        let lower = |pressure| Some(self.margin_at(pressure) - self.half_width(pressure)?);
        let upper = |pressure| Some(self.margin_at(pressure) + self.half_width(pressure)?);
        Some(Onset {
            pressure_pa,
            // The lower side is below the trend, so it comes to zero at the onset at the latest.
            low_pa: self.half_width(pressure_pa).map(|_| {
                first_not_positive(lower, self.lowest_pa, pressure_pa).unwrap_or(pressure_pa)
            }),
            high_pa: first_not_positive(upper, pressure_pa, FARTHEST * pressure_pa),
        })
    }

    fn zeros(&self) -> Vec<f64> {
        let [constant, slope, curvature] = self.coefficients();
        let discriminant = slope * slope - 4.0 * curvature * constant;
        // The form that does not cancel; division by a zero gives an infinity, which is no zero of the trend.
        let sum = -0.5 * (slope + slope.signum() * discriminant.sqrt());
        [sum / curvature, constant / sum].into_iter().filter(|zero| zero.is_finite()).collect()
    }

    fn half_width(&self, pressure_pa: f64) -> Option<f64> {
        let powers = [1.0, pressure_pa, pressure_pa * pressure_pa];
        self.fit.confidence_half_width(&powers[..self.fit.parameters.len()], CONFIDENCE)
    }
}

/// The first place between `from` and `to` at which the function is not positive; `None` if there is none, or no function.
fn first_not_positive(function: impl Fn(f64) -> Option<f64>, from: f64, to: f64) -> Option<f64> {
    let reached = |place: f64| function(place).map(|value| value <= 0.0);
    if reached(from)? {
        return Some(from);
    }
    let look = |number: usize| from + (to - from) * number as f64 / LOOKS as f64;
    let first = (1..=LOOKS).find(|number| reached(look(*number)) == Some(true))?;
    let (mut before, mut after) = (look(first - 1), look(first));
    for _ in 0..60 {
        let between = 0.5 * (before + after);
        if reached(between)? {
            after = between;
        } else {
            before = between;
        }
    }
    Some(after)
}
