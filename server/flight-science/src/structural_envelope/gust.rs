//! What a gust adds to the load factor.

use quantities::units::STANDARD_GRAVITY_M_PER_S2;
use quantities::{Area, Density, EquivalentAirspeed, Length, Mass};

use crate::atmosphere::sea_level_density;

/// What of an aircraft makes its answer to a gust.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GustResponse {
    /// Mass ratio μ of the aircraft.
    pub mass_ratio: f64,
    /// Gust alleviation factor Kg.
    pub alleviation: f64,
    /// Load factor added for each metre a second of gust and of equivalent airspeed, in s²/m².
    per_gust_and_speed: f64,
}

impl GustResponse {
    /// Mass ratio, alleviation and response.
    ///
    /// Valid for figures above zero.
    ///
    /// # Source
    ///
    /// 14 CFR 23.341(c) and CS-VLA 341, in SI units: μ = 2 (m/S) / (ρ c a), Kg = 0.88 μ / (5.3 + μ),
    /// n = 1 ± ½ ρ0 V a Kg Ude / (m g / S). The imperial form of 14 CFR 23.341(c) has 498 where
    /// the unit factors of this one come to 498.53, so it gives an increment that is 0.11 % greater.
    /// Checked by `published/structural_envelope.toml`.
    pub fn new(
        mass: Mass,
        wing_area: Area,
        mean_chord: Length,
        lift_slope_per_rad: f64,
        density: Density,
    ) -> Self {
        let loading_kg_m2 = mass.kilograms() / wing_area.square_metres();
        let mass_ratio =
            2.0 * loading_kg_m2 / (density.kg_per_m3() * mean_chord.metres() * lift_slope_per_rad);
        let alleviation = 0.88 * mass_ratio / (5.3 + mass_ratio);
        let per_gust_and_speed =
            0.5 * sea_level_density().kg_per_m3() * lift_slope_per_rad * alleviation
                / (loading_kg_m2 * STANDARD_GRAVITY_M_PER_S2);
        Self { mass_ratio, alleviation, per_gust_and_speed }
    }

    /// Load factor that a gust adds in level flight, as a ratio; a gust from above takes as much off.
    pub fn increment(self, speed: EquivalentAirspeed, gust: EquivalentAirspeed) -> f64 {
        self.per_gust_and_speed * speed.metres_per_second() * gust.metres_per_second()
    }
}
