//! The parabolic drag polar: `C_D = C_D0 + k C_L²`.

use quantities::units::STANDARD_GRAVITY_M_PER_S2;
use quantities::{Area, Density, EquivalentAirspeed, Length, Mass, Power, TrueAirspeed};

use crate::atmosphere::sea_level_density;
use crate::least_squares::{Fit, FitError, fit_line};

/// A parabolic drag polar of an aircraft with its wing area.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DragPolar {
    /// Drag coefficient at zero lift.
    pub cd0: f64,
    /// Increase of the drag coefficient with the square of the lift coefficient.
    pub k: f64,
    /// Wing area that the coefficients refer to.
    pub wing_area: Area,
}

/// One stretch of steady level flight at load factor one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelFlightPoint {
    /// True airspeed.
    pub true_airspeed: TrueAirspeed,
    /// Density of the air.
    pub density: Density,
    /// Mass of the aircraft at the time.
    pub mass: Mass,
    /// Thrust times true airspeed: shaft power times propeller efficiency.
    pub thrust_power: Power,
}

/// Lift and drag coefficient of one point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coefficients {
    /// Lift coefficient.
    pub lift: f64,
    /// Drag coefficient.
    pub drag: f64,
}

/// A polar with the fit that it comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedPolar {
    /// The polar.
    pub polar: DragPolar,
    /// The straight line of drag coefficient over the square of the lift coefficient: parameters are `C_D0` and `k`.
    pub fit: Fit,
}

/// Why points give no polar.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum PolarError {
    /// The line could not be fitted.
    #[error(transparent)]
    Fit(#[from] FitError),
    /// Zero-lift drag or induced drag would not be positive.
    #[error(
        "the points give C_D0 = {cd0:.5} and k = {k:.5}, and no aircraft has a drag that is zero or less"
    )]
    NotADrag {
        /// Zero-lift drag coefficient that came out.
        cd0: f64,
        /// Factor that came out.
        k: f64,
    },
}

impl LevelFlightPoint {
    /// Lift and drag coefficient, from lift = weight and thrust = drag.
    ///
    /// # Source
    ///
    /// Definitions of the coefficients; common practice, no source.
    pub fn coefficients(&self, wing_area: Area) -> Coefficients {
        let speed = self.true_airspeed.metres_per_second();
        let pressure_times_area =
            0.5 * self.density.kg_per_m3() * speed * speed * wing_area.square_metres();
        Coefficients {
            lift: weight_n(self.mass) / pressure_times_area,
            drag: self.thrust_power.watts() / (pressure_times_area * speed),
        }
    }

    /// Equivalent airspeed at which the reference mass flies with the same lift coefficient.
    ///
    /// # Source
    ///
    /// VIW = V_e / √(W / W_s): R. D. Kimberlin, Flight Testing of Fixed-Wing Aircraft, chapter 9 (excerpt seen).
    pub fn reduced_speed(&self, reference: Mass) -> EquivalentAirspeed {
        let mass_ratio = self.mass.kilograms() / reference.kilograms();
        EquivalentAirspeed::from_metres_per_second(
            self.true_airspeed.metres_per_second() * (self.density_ratio() / mass_ratio).sqrt(),
        )
    }

    /// Power that the reference mass takes at sea-level density with the same lift coefficient.
    ///
    /// # Source
    ///
    /// PIW = P √σ / (W / W_s)^1.5: the exponent is from memory and follows from P = D V at the same lift coefficient.
    pub fn reduced_power(&self, reference: Mass) -> Power {
        let mass_ratio = self.mass.kilograms() / reference.kilograms();
        Power::from_watts(
            self.thrust_power.watts() * self.density_ratio().sqrt() / mass_ratio.powf(1.5),
        )
    }

    fn density_ratio(&self) -> f64 {
        self.density.kg_per_m3() / sea_level_density().kg_per_m3()
    }
}

impl DragPolar {
    /// Drag in newtons at an equivalent airspeed in steady level flight.
    pub fn drag_n(&self, airspeed: EquivalentAirspeed, mass: Mass) -> f64 {
        let pressure_times_area = 0.5
            * sea_level_density().kg_per_m3()
            * airspeed.metres_per_second().powi(2)
            * self.wing_area.square_metres();
        let lift_coefficient = weight_n(mass) / pressure_times_area;
        pressure_times_area * (self.cd0 + self.k * lift_coefficient.powi(2))
    }

    /// The greatest ratio of lift to drag, which is also the flattest glide in still air.
    ///
    /// # Source
    ///
    /// 1 / (2 √(C_D0 k)), from the derivative of `C_L / C_D`; checked by `published/drag_polar.toml`.
    pub fn best_glide_ratio(&self) -> f64 {
        0.5 / (self.cd0 * self.k).sqrt()
    }

    /// Equivalent airspeed of the greatest ratio of lift to drag, where `C_L² = C_D0 / k`.
    pub fn best_glide_speed(&self, mass: Mass) -> EquivalentAirspeed {
        self.speed_at_lift((self.cd0 / self.k).sqrt(), mass)
    }

    /// Equivalent airspeed of the least power in level flight, where `C_L² = 3 C_D0 / k`.
    pub fn least_power_speed(&self, mass: Mass) -> EquivalentAirspeed {
        self.speed_at_lift((3.0 * self.cd0 / self.k).sqrt(), mass)
    }

    /// The least thrust power in level flight in air of sea-level density.
    pub fn least_power(&self, mass: Mass) -> Power {
        let speed = self.least_power_speed(mass);
        Power::from_watts(self.drag_n(speed, mass) * speed.metres_per_second())
    }

    /// Oswald's efficiency factor, `1 / (π A k)` with the aspect ratio `A = b² / S`.
    pub fn oswald_factor(&self, span: Length) -> f64 {
        let aspect_ratio = span.metres().powi(2) / self.wing_area.square_metres();
        1.0 / (std::f64::consts::PI * aspect_ratio * self.k)
    }

    fn speed_at_lift(&self, lift_coefficient: f64, mass: Mass) -> EquivalentAirspeed {
        let loading = weight_n(mass) / self.wing_area.square_metres();
        let dynamic_pressure_pa = loading / lift_coefficient;
        EquivalentAirspeed::from_metres_per_second(
            (2.0 * dynamic_pressure_pa / sea_level_density().kg_per_m3()).sqrt(),
        )
    }
}

/// Fits a parabolic polar to level-flight points: an ordinary least-squares line of `C_D` over `C_L²`.
///
/// Valid where the drag is parabolic: away from the stall and from compressibility, in one configuration.
///
/// # Errors
///
/// [`PolarError::Fit`] for too few points or points at one lift coefficient, [`PolarError::NotADrag`] for a result that is
/// not positive.
///
/// # Source
///
/// The linearisation is common practice; checked by `published/drag_polar.toml`.
pub fn fit_polar(points: &[LevelFlightPoint], wing_area: Area) -> Result<FittedPolar, PolarError> {
    let coefficients = points.iter().map(|point| point.coefficients(wing_area));
    let (lift_squared, drag): (Vec<f64>, Vec<f64>) =
        coefficients.map(|point| (point.lift.powi(2), point.drag)).unzip();
    let fit = fit_line(&lift_squared, &drag)?;
    let (cd0, k) = (fit.parameters[0], fit.parameters[1]);
    if cd0 > 0.0 && k > 0.0 {
        Ok(FittedPolar { polar: DragPolar { cd0, k, wing_area }, fit })
    } else {
        Err(PolarError::NotADrag { cd0, k })
    }
}

/// Weight under standard gravity, in newtons.
pub(crate) fn weight_n(mass: Mass) -> f64 {
    mass.kilograms() * STANDARD_GRAVITY_M_PER_S2
}
