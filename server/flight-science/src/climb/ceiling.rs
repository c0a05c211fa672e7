//! How the best rate falls with altitude, and where it would be used up.

use quantities::{ClimbRate, DensityAltitude};

use crate::least_squares::{Fit, FitError, fit_line};

/// At the service ceiling this rate is left.
const SERVICE_CEILING_FPM: f64 = 100.0;

/// A straight line of climb rate over density altitude.
#[derive(Debug, Clone, PartialEq)]
pub struct RateByAltitude {
    /// The fit, in feet per minute over feet: parameters are the rate at sea level and the slope.
    pub fit: Fit,
}

/// Why rates give no ceiling.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum CeilingError {
    /// The line could not be fitted.
    #[error(transparent)]
    Fit(#[from] FitError),
    /// The rate does not fall with altitude.
    #[error("the rates do not fall with altitude")]
    NotFalling,
}

/// Fits best rates at several density altitudes with a straight line.
///
/// Valid for rates of one mass and one power setting.
///
/// # Errors
///
/// [`CeilingError`] as named.
///
/// # Source
///
/// Straight-line fit, common practice. Checked by `published/climb.toml`.
pub fn fit_rate_by_altitude(
    points: &[(DensityAltitude, ClimbRate)],
) -> Result<RateByAltitude, CeilingError> {
    let (altitudes, rates): (Vec<f64>, Vec<f64>) =
        points.iter().map(|(altitude, rate)| (altitude.feet(), rate.feet_per_minute())).unzip();
    let line = RateByAltitude { fit: fit_line(&altitudes, &rates)? };
    if line.slope_fpm_per_ft() < 0.0 { Ok(line) } else { Err(CeilingError::NotFalling) }
}

impl RateByAltitude {
    /// The rate at sea level.
    pub fn at_sea_level(&self) -> ClimbRate {
        ClimbRate::from_feet_per_minute(self.fit.parameters[0])
    }

    /// Change of the rate with altitude, in feet per minute for each foot.
    pub fn slope_fpm_per_ft(&self) -> f64 {
        self.fit.parameters[1]
    }

    /// Where 100 feet per minute are left.
    pub fn service_ceiling(&self) -> DensityAltitude {
        self.altitude_of(SERVICE_CEILING_FPM)
    }

    /// Where no climb is left.
    pub fn absolute_ceiling(&self) -> DensityAltitude {
        self.altitude_of(0.0)
    }

    fn altitude_of(&self, rate_fpm: f64) -> DensityAltitude {
        DensityAltitude::from_feet((rate_fpm - self.fit.parameters[0]) / self.slope_fpm_per_ft())
    }
}
