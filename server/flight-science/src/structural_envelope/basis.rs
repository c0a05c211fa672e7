//! The figures that each certification basis lays down.

use quantities::units::{PASCALS_PER_PSF, STANDARD_GRAVITY_M_PER_S2};
use quantities::{Area, EquivalentAirspeed, LoadFactor, Mass, PressureAltitude};

/// The certification basis whose figures are used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Basis {
    /// CS-23 (14 CFR part 23 before its amendment 64), normal category.
    Cs23Normal,
    /// CS-23 (14 CFR part 23 before its amendment 64), utility category.
    Cs23Utility,
    /// CS-VLA, very light aeroplanes.
    CsVla,
}

/// Derived gust speeds, as equivalent airspeed, at the two design speeds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GustSpeeds {
    /// At the design cruising speed.
    pub at_cruise: EquivalentAirspeed,
    /// At the design dive speed.
    pub at_dive: EquivalentAirspeed,
}

/// The least design speeds that the basis allows without further showing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeastSpeeds {
    /// Least design cruising speed.
    pub cruise: EquivalentAirspeed,
    /// Least design dive speed that goes with that cruising speed.
    pub dive: EquivalentAirspeed,
}

/// The design dive speed is at least so many times the design cruising speed, in each basis.
///
/// # Source
///
/// 14 CFR 23.335(b)(1).
pub const LEAST_DIVE_OVER_CRUISE: f64 = 1.25;

impl Basis {
    /// The mass up to which the basis applies.
    ///
    /// # Source
    ///
    /// CS-VLA 1 (Amendment 1): 750 kg. CS-23 normal and utility: 5 670 kg (12 500 lb), from memory.
    pub const fn heaviest(self) -> Mass {
        match self {
            Self::Cs23Normal | Self::Cs23Utility => Mass::from_kilograms(5_670.0),
            Self::CsVla => Mass::from_kilograms(750.0),
        }
    }

    /// Positive limit manoeuvring load factor.
    ///
    /// Valid up to [`Basis::heaviest`].
    ///
    /// # Source
    ///
    /// 14 CFR 23.337(a): 2.1 + 24 000 / (W + 10 000), W in pounds, but not more than 3.8 (normal); 4.4 (utility).
    /// CS-VLA 337: 3.8. Checked by `published/structural_envelope.toml`.
    pub fn positive_manoeuvre(self, mass: Mass) -> LoadFactor {
        LoadFactor::from_ratio(match self {
            Self::Cs23Normal => (2.1 + 24_000.0 / (mass.pounds() + 10_000.0)).min(3.8),
            Self::Cs23Utility => 4.4,
            Self::CsVla => 3.8,
        })
    }

    /// Negative limit manoeuvring load factor, up to the design cruising speed.
    ///
    /// # Source
    ///
    /// 14 CFR 23.337(b): −0.4 times the positive one. CS-VLA 337: −1.5.
    /// Checked by `published/structural_envelope.toml`.
    pub fn negative_manoeuvre(self, mass: Mass) -> LoadFactor {
        LoadFactor::from_ratio(match self {
            Self::Cs23Normal | Self::Cs23Utility => -0.4 * self.positive_manoeuvre(mass).ratio(),
            Self::CsVla => -1.5,
        })
    }

    /// Negative manoeuvring load factor at the design dive speed; from the cruising speed to there it runs straight.
    ///
    /// # Source
    ///
    /// 14 CFR 23.333(b)(3): 0 (normal), −1 (utility). CS-VLA 333(b)(3): 0.
    pub const fn negative_manoeuvre_at_dive(self) -> LoadFactor {
        LoadFactor::from_ratio(match self {
            Self::Cs23Normal | Self::CsVla => 0.0,
            Self::Cs23Utility => -1.0,
        })
    }

    /// Derived gust speeds at an altitude.
    ///
    /// Valid up to 50 000 ft. Below sea level they are those of sea level.
    ///
    /// # Source
    ///
    /// 14 CFR 23.333(c)(1): 50 ft/s and 25 ft/s up to 20 000 ft, then falling straight to half of that at 50 000 ft.
    /// CS-VLA 333(c)(1): 15.24 m/s and 7.62 m/s, which is the same, at any altitude.
    /// Checked by `published/structural_envelope.toml`.
    pub fn gust_speeds(self, altitude: PressureAltitude) -> GustSpeeds {
        let share = match self {
            Self::Cs23Normal | Self::Cs23Utility => {
                1.0 - 0.5 * ((altitude.feet() - 20_000.0) / 30_000.0).max(0.0)
            }
            Self::CsVla => 1.0,
        };
        GustSpeeds {
            at_cruise: EquivalentAirspeed::from_metres_per_second(15.24 * share),
            at_dive: EquivalentAirspeed::from_metres_per_second(7.62 * share),
        }
    }

    /// The least design speeds.
    ///
    /// # Source
    ///
    /// 14 CFR 23.335(a)(1) and (b): 33 √(W/S) knots, and 1.4 (normal) or 1.5 (utility) times that, W/S in pounds a square
    /// foot; above 20 of those the factors fall straight to 28.6 and 1.35 at 100. CS-VLA 335: 2.4 √(W/S) metres a second,
    /// W/S in newtons a square metre, and 1.4 times that. Checked by `published/structural_envelope.toml`.
    pub fn least_speeds(self, mass: Mass, wing_area: Area) -> LeastSpeeds {
        let loading_pa = mass.kilograms() * STANDARD_GRAVITY_M_PER_S2 / wing_area.square_metres();
        let loading_psf = loading_pa / PASCALS_PER_PSF;
        // Up to 20 psf the first figure, at 100 psf and above the second.
        let falling = |at_20: f64, at_100: f64| {
            let share = ((loading_psf - 20.0) / 80.0).clamp(0.0, 1.0);
            at_20 + share * (at_100 - at_20)
        };
        let (cruise_knots, dive_over_cruise) = match self {
            Self::Cs23Normal => (falling(33.0, 28.6) * loading_psf.sqrt(), falling(1.4, 1.35)),
            Self::Cs23Utility => (falling(33.0, 28.6) * loading_psf.sqrt(), falling(1.5, 1.35)),
            Self::CsVla => {
                let cruise = EquivalentAirspeed::from_metres_per_second(2.4 * loading_pa.sqrt());
                (cruise.knots(), 1.4)
            }
        };
        LeastSpeeds {
            cruise: EquivalentAirspeed::from_knots(cruise_knots),
            dive: EquivalentAirspeed::from_knots(dive_over_cruise * cruise_knots),
        }
    }
}
