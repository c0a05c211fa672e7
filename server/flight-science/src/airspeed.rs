//! Calibrated, equivalent and true airspeed and Mach number, any from any, below the speed of sound.
//!
//! An airspeed indicator measures impact pressure and is graduated as if at sea level in the standard atmosphere. So
//! calibrated airspeed and impact pressure say the same; with static pressure they give the Mach number, with the
//! temperature as well the true airspeed.

use quantities::{
    CalibratedAirspeed, EquivalentAirspeed, Mach, Pressure, PressureAltitude, Temperature,
    TrueAirspeed,
};
use serde::Serialize;
use serde_json::Value;
use std::ops::Bound;

use crate::atmosphere::{
    self, AIR_TEMPERATURES_C, Air, HEAT_RATIO, PRESSURE_ALTITUDES_FT, SEA_LEVEL_PA,
    sea_level_density, sea_level_speed_of_sound,
};
use crate::catalogue::{FaultCode, Field, Refused, Topic, answer};
use crate::input::Reader;

mod batch;

pub use batch::{BatchRefused, true_from_calibrated_batch};

/// An airspeed beyond the method, which holds below the speed of sound.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum BeyondSubsonic {
    /// A speed that is negative or not a number.
    #[error("an airspeed is zero or more, but {metres_per_second} m/s was given")]
    NotASpeed {
        /// The speed given.
        metres_per_second: f64,
    },
    /// At or beyond the speed of sound in the air at hand.
    #[error("the airspeed is Mach {mach:.4}; the method holds below Mach 1")]
    Supersonic {
        /// The Mach number that came out.
        mach: f64,
    },
    /// At or beyond the sea-level speed of sound as calibrated airspeed, although subsonic in the (denser) air at hand.
    #[error(
        "the calibrated airspeed is {cas_kt:.1} kt; the method holds below the sea-level speed of sound, 661.4 kt"
    )]
    CalibratedBeyondIndicator {
        /// The calibrated airspeed that came out.
        cas_kt: f64,
    },
}

/// Impact pressure over static pressure at this Mach number.
///
/// Valid below Mach 1.
///
/// # Source
///
/// Isentropic flow of air with a ratio of specific heats of 1.4: qc/p = (1 + 0.2 M²)^3.5 - 1. Checked by rows of
/// `published/impact_pressure_ratio.toml`.
pub fn impact_pressure_ratio(mach: Mach) -> f64 {
    const HALF_EXCESS: f64 = (HEAT_RATIO - 1.0) / 2.0;
    const EXPONENT: f64 = HEAT_RATIO / (HEAT_RATIO - 1.0);
    // By way of logarithms of 1 + x, since the plain form loses digits at low speed.
    (EXPONENT * (HALF_EXCESS * mach.ratio() * mach.ratio()).ln_1p()).exp_m1()
}

/// The Mach number of this impact pressure over static pressure: the inverse of [`impact_pressure_ratio`].
///
/// # Source
///
/// M = √(5 ((qc/p + 1)^(2/7) - 1)), the same equation solved for M.
pub fn mach_of_impact_pressure_ratio(ratio: f64) -> Mach {
    const HALF_EXCESS: f64 = (HEAT_RATIO - 1.0) / 2.0;
    const EXPONENT: f64 = HEAT_RATIO / (HEAT_RATIO - 1.0);
    Mach::from_ratio(((ratio.ln_1p() / EXPONENT).exp_m1() / HALF_EXCESS).sqrt())
}

/// Impact pressure that an airspeed indicator shows as this speed.
///
/// Valid below the sea-level speed of sound.
///
/// # Source
///
/// Definition of calibrated airspeed: [`impact_pressure_ratio`] with sea-level pressure and speed of sound.
pub fn impact_pressure_of_calibrated(airspeed: CalibratedAirspeed) -> Pressure {
    let mach = airspeed.metres_per_second() / sea_level_speed_of_sound().metres_per_second();
    Pressure::from_pascals(SEA_LEVEL_PA * impact_pressure_ratio(Mach::from_ratio(mach)))
}

/// The speed that an airspeed indicator shows at this impact pressure: the inverse of [`impact_pressure_of_calibrated`].
///
/// # Source
///
/// Definition of calibrated airspeed.
pub fn calibrated_of_impact_pressure(impact_pressure: Pressure) -> CalibratedAirspeed {
    let mach = mach_of_impact_pressure_ratio(impact_pressure.pascals() / SEA_LEVEL_PA);
    CalibratedAirspeed::from_metres_per_second(
        mach.ratio() * sea_level_speed_of_sound().metres_per_second(),
    )
}

/// One flow of air past the aircraft, in all the ways in which its speed is told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Airspeeds {
    /// What a perfect indicator shows.
    pub calibrated: CalibratedAirspeed,
    /// The speed at sea-level density of the same dynamic pressure.
    pub equivalent: EquivalentAirspeed,
    /// Speed through the air.
    pub true_airspeed: TrueAirspeed,
    /// True airspeed over the speed of sound.
    pub mach: Mach,
    /// Pitot less static pressure.
    pub impact_pressure: Pressure,
    /// ½ ρ V².
    pub dynamic_pressure: Pressure,
}

impl Airspeeds {
    /// All airspeeds from the calibrated one.
    ///
    /// # Errors
    ///
    /// [`BeyondSubsonic`] at or beyond the sea-level speed of sound, or Mach 1.
    ///
    /// # Source
    ///
    /// Impact pressure by [`impact_pressure_of_calibrated`], Mach number by [`mach_of_impact_pressure_ratio`],
    /// TAS = M a. Checked by `published/airspeed.toml`.
    pub fn from_calibrated(airspeed: CalibratedAirspeed, air: Air) -> Result<Self, BeyondSubsonic> {
        not_negative(airspeed.metres_per_second())?;
        let ratio = impact_pressure_of_calibrated(airspeed).pascals() / air.pressure.pascals();
        let mach = mach_of_impact_pressure_ratio(ratio);
        Self::complete(mach, Some(airspeed), air)
    }

    /// All airspeeds from the equivalent one.
    ///
    /// # Errors
    ///
    /// As [`Airspeeds::from_calibrated`].
    ///
    /// # Source
    ///
    /// TAS = EAS √(ρ0/ρ), which is the definition of equivalent airspeed; then as [`Airspeeds::from_mach`].
    pub fn from_equivalent(airspeed: EquivalentAirspeed, air: Air) -> Result<Self, BeyondSubsonic> {
        let true_airspeed = airspeed.metres_per_second() / air.density_ratio().sqrt();
        Self::from_true(TrueAirspeed::from_metres_per_second(true_airspeed), air)
    }

    /// All airspeeds from the true one.
    ///
    /// # Errors
    ///
    /// As [`Airspeeds::from_calibrated`].
    ///
    /// # Source
    ///
    /// M = TAS / a; then as [`Airspeeds::from_mach`].
    pub fn from_true(airspeed: TrueAirspeed, air: Air) -> Result<Self, BeyondSubsonic> {
        let mach = airspeed.metres_per_second() / air.speed_of_sound().metres_per_second();
        Self::from_mach(Mach::from_ratio(mach), air)
    }

    /// All airspeeds from the Mach number.
    ///
    /// # Errors
    ///
    /// As [`Airspeeds::from_calibrated`].
    ///
    /// # Source
    ///
    /// qc = p [(1 + 0.2 M²)^3.5 - 1], CAS by [`calibrated_of_impact_pressure`].
    pub fn from_mach(mach: Mach, air: Air) -> Result<Self, BeyondSubsonic> {
        Self::complete(mach, None, air)
    }

    fn complete(
        mach: Mach,
        calibrated: Option<CalibratedAirspeed>,
        air: Air,
    ) -> Result<Self, BeyondSubsonic> {
        not_negative(mach.ratio())?;
        if mach.ratio() >= 1.0 {
            return Err(BeyondSubsonic::Supersonic { mach: mach.ratio() });
        }
        let impact_pressure =
            Pressure::from_pascals(air.pressure.pascals() * impact_pressure_ratio(mach));
        let calibrated =
            calibrated.unwrap_or_else(|| calibrated_of_impact_pressure(impact_pressure));
        if calibrated.metres_per_second() >= sea_level_speed_of_sound().metres_per_second() {
            return Err(BeyondSubsonic::CalibratedBeyondIndicator { cas_kt: calibrated.knots() });
        }
        let true_airspeed = mach.ratio() * air.speed_of_sound().metres_per_second();
        let equivalent =
            EquivalentAirspeed::from_metres_per_second(true_airspeed * air.density_ratio().sqrt());
        Ok(Self {
            calibrated,
            equivalent,
            true_airspeed: TrueAirspeed::from_metres_per_second(true_airspeed),
            mach,
            impact_pressure,
            dynamic_pressure: dynamic_pressure(equivalent),
        })
    }
}

/// Dynamic pressure, ½ ρ0 EAS².
///
/// # Source
///
/// Definition of equivalent airspeed.
pub fn dynamic_pressure(airspeed: EquivalentAirspeed) -> Pressure {
    let metres_per_second = airspeed.metres_per_second();
    Pressure::from_pascals(
        0.5 * sea_level_density().kg_per_m3() * metres_per_second * metres_per_second,
    )
}

fn not_negative(metres_per_second: f64) -> Result<(), BeyondSubsonic> {
    // NaN is not at least zero, so it is refused too.
    if metres_per_second >= 0.0 {
        Ok(())
    } else {
        Err(BeyondSubsonic::NotASpeed { metres_per_second })
    }
}

/// The topic `airspeed`.
pub static TOPIC: Topic = Topic {
    name: "airspeed",
    version: 1,
    title: "Calibrated, equivalent and true airspeed and Mach number",
    gives: "All four from any one, for compressible flow below the speed of sound, with impact and dynamic pressure.",
    valid_range: "Below Mach 1 and below a calibrated airspeed of 661.4 kt; pressure altitude -5 000 m to 20 000 m \
                  (-16 404 ft to 65 617 ft); air from -100 °C to 65 °C. Without oat_c the air is standard.",
    inputs: &[
        Field::optional("cas_kt", "kt", "calibrated airspeed; exactly one of the four is given"),
        Field::optional("eas_kt", "kt", "equivalent airspeed"),
        Field::optional("tas_kt", "kt", "true airspeed"),
        Field::optional("mach", "ratio", "Mach number"),
        Field::required("pressure_altitude_ft", "ft", "pressure altitude"),
        Field::optional("oat_c", "°C", "static air temperature; standard if not given"),
    ],
    outputs: &[
        Field::required("cas_kt", "kt", "calibrated airspeed: a perfect indicator's reading"),
        Field::required(
            "eas_kt",
            "kt",
            "equivalent airspeed: the same dynamic pressure at sea-level density",
        ),
        Field::required("tas_kt", "kt", "true airspeed"),
        Field::required("mach", "ratio", "true airspeed over the speed of sound"),
        Field::required("impact_pressure_pa", "Pa", "pitot less static pressure"),
        Field::required("dynamic_pressure_pa", "Pa", "half density times true airspeed squared"),
        Field::required("temperature_c", "°C", "static air temperature that was reckoned with"),
        Field::required("static_pressure_hpa", "hPa", "static pressure"),
        Field::required("density_ratio", "ratio", "density over the standard one at sea level"),
    ],
    equations: &[
        "qc = p0 [(1 + 0.2 (CAS/a0)^2)^3.5 - 1] = p [(1 + 0.2 M^2)^3.5 - 1]",
        "M = sqrt(5 [(qc/p + 1)^(2/7) - 1]); TAS = M a(T)",
        "EAS = TAS sqrt(rho/rho0); dynamic pressure = rho0 EAS^2/2",
    ],
    sources: &[
        "Isentropic (Saint-Venant) flow with a ratio of specific heats of 1.4 and the definition of calibrated airspeed; \
         common practice of the trade, checked by the published cases",
        "Standard atmosphere: see atmosphere",
    ],
    published: &[("airspeed.toml", include_str!("../published/airspeed.toml"))],
    example: r#"{ "cas_kt": 78, "pressure_altitude_ft": 3200, "oat_c": 18 }"#,
    compute,
};

#[derive(Serialize)]
struct Output {
    cas_kt: f64,
    eas_kt: f64,
    tas_kt: f64,
    mach: f64,
    impact_pressure_pa: f64,
    dynamic_pressure_pa: f64,
    temperature_c: f64,
    static_pressure_hpa: f64,
    density_ratio: f64,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    let speeds = (Bound::Included(0.0), Bound::Excluded(sea_level_speed_of_sound().knots()));
    let true_speeds = (Bound::Included(0.0), Bound::Excluded(1_000.0));
    let machs = (Bound::Included(0.0), Bound::Excluded(1.0));
    let mut reader = Reader::object(input);
    let speed = reader.exactly_one_number(&[
        ("cas_kt", speeds),
        ("eas_kt", speeds),
        ("tas_kt", true_speeds),
        ("mach", machs),
    ]);
    let altitude_ft = reader.required_number("pressure_altitude_ft", PRESSURE_ALTITUDES_FT);
    let oat_c = reader.optional_number("oat_c", AIR_TEMPERATURES_C);
    let ((field, speed), altitude_ft, oat_c) =
        reader.finish(|| Some((speed?, altitude_ft?, oat_c?)))?;

    let air =
        Air::at(PressureAltitude::from_feet(altitude_ft), oat_c.map(Temperature::from_celsius))
            .map_err(|error| {
                Refused::because(
                    "pressure_altitude_ft",
                    FaultCode::OutOfRange,
                    atmosphere::sentence(error),
                )
            })?;
    let speeds = match field {
        "cas_kt" => Airspeeds::from_calibrated(CalibratedAirspeed::from_knots(speed), air),
        "eas_kt" => Airspeeds::from_equivalent(EquivalentAirspeed::from_knots(speed), air),
        "tas_kt" => Airspeeds::from_true(TrueAirspeed::from_knots(speed), air),
        _ => Airspeeds::from_mach(Mach::from_ratio(speed), air),
    }
    .map_err(|error| {
        let why = format!("With {field} of {speed} at this altitude {error}.");
        Refused::because(field, FaultCode::OutOfRange, why)
    })?;

    answer(&Output {
        cas_kt: speeds.calibrated.knots(),
        eas_kt: speeds.equivalent.knots(),
        tas_kt: speeds.true_airspeed.knots(),
        mach: speeds.mach.ratio(),
        impact_pressure_pa: speeds.impact_pressure.pascals(),
        dynamic_pressure_pa: speeds.dynamic_pressure.pascals(),
        temperature_c: air.temperature.celsius(),
        static_pressure_hpa: air.pressure.hectopascals(),
        density_ratio: air.density_ratio(),
    })
}

#[cfg(test)]
mod tests;
