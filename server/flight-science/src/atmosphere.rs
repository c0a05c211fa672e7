//! The standard atmosphere from 5 km below sea level to 20 km, and air that is warmer or colder than standard.

use quantities::units::{METRES_PER_FOOT, STANDARD_GRAVITY_M_PER_S2};
use quantities::{
    Density, DensityAltitude, GeopotentialAltitude, Pressure, PressureAltitude, SpeedOfSound,
    Temperature, TemperatureDifference,
};
use serde::Serialize;
use serde_json::Value;

use crate::catalogue::{FaultCode, Field, Refused, Topic, answer};
use crate::input::Reader;

/// Temperature of the standard atmosphere at sea level.
pub const SEA_LEVEL_K: f64 = 288.15;
/// Pressure of the standard atmosphere at sea level.
pub const SEA_LEVEL_PA: f64 = 101_325.0;
/// Fall of temperature with geopotential altitude in the troposphere.
pub const LAPSE_K_PER_M: f64 = 0.006_5;
/// Geopotential altitude at which the troposphere ends and the temperature stays as it is.
pub const TROPOPAUSE_M: f64 = 11_000.0;
/// Specific gas constant of dry air, as ICAO Doc 7488 and ISO 2533 have it.
pub const GAS_CONSTANT_J_PER_KG_K: f64 = 287.052_87;
/// Ratio of the specific heats of air.
pub const HEAT_RATIO: f64 = 1.4;

/// Lowest geopotential altitude of the method.
pub const LOWEST_M: f64 = -5_000.0;
/// Highest geopotential altitude of the method.
pub const HIGHEST_M: f64 = 20_000.0;
/// The limits may be given in whole feet, which lie up to a foot further out.
const ROUNDING_M: f64 = METRES_PER_FOOT;

/// Pressure altitudes that topics take, in whole feet about [`LOWEST_M`] and [`HIGHEST_M`].
pub const PRESSURE_ALTITUDES_FT: std::ops::RangeInclusive<f64> = -16_405.0..=65_617.0;
/// Air temperatures that topics take: somewhat beyond what was ever observed at any height.
pub const AIR_TEMPERATURES_C: std::ops::RangeInclusive<f64> = -100.0..=65.0;
/// How far from standard the air may be.
const DEVIATIONS_C: std::ops::RangeInclusive<f64> = -80.0..=80.0;

/// A value that the standard atmosphere has nowhere between [`LOWEST_M`] and [`HIGHEST_M`].
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum OutsideStandardAtmosphere {
    /// An altitude beyond the layers.
    #[error("a geopotential altitude of {altitude_m} m is outside -5 000 m to 20 000 m")]
    Altitude {
        /// The altitude given.
        altitude_m: f64,
    },
    /// A pressure that is found only below or above the layers.
    #[error(
        "a pressure of {pressure_pa} Pa is found in the standard atmosphere only outside -5 000 m to 20 000 m"
    )]
    Pressure {
        /// The pressure given.
        pressure_pa: f64,
    },
    /// A density that is found only below or above the layers.
    #[error(
        "a density of {density_kg_m3} kg/m³ is found in the standard atmosphere only outside -5 000 m to 20 000 m"
    )]
    Density {
        /// The density given.
        density_kg_m3: f64,
    },
}

/// Whether the layers reach to this altitude.
fn reached(altitude_m: f64) -> bool {
    (LOWEST_M - ROUNDING_M..=HIGHEST_M + ROUNDING_M).contains(&altitude_m)
}

fn within_layers(altitude: GeopotentialAltitude) -> Result<f64, OutsideStandardAtmosphere> {
    let altitude_m = altitude.metres();
    if reached(altitude_m) {
        Ok(altitude_m)
    } else {
        Err(OutsideStandardAtmosphere::Altitude { altitude_m })
    }
}

/// Temperature of the lower layer over that of sea level, from the altitude.
fn troposphere_temperature_ratio(altitude_m: f64) -> f64 {
    1.0 - LAPSE_K_PER_M * altitude_m / SEA_LEVEL_K
}

/// Exponent of p/p0 = (T/T0)^(g0/(R L)).
const PRESSURE_EXPONENT: f64 =
    STANDARD_GRAVITY_M_PER_S2 / (GAS_CONSTANT_J_PER_KG_K * LAPSE_K_PER_M);

/// Temperature above the tropopause.
const STRATOSPHERE_K: f64 = SEA_LEVEL_K - LAPSE_K_PER_M * TROPOPAUSE_M;

/// Height over which pressure falls to 1/e where the temperature stays as it is: R T / g0.
const STRATOSPHERE_SCALE_M: f64 =
    GAS_CONSTANT_J_PER_KG_K * STRATOSPHERE_K / STANDARD_GRAVITY_M_PER_S2;

/// Pressure at the tropopause over that at sea level.
fn tropopause_pressure_ratio() -> f64 {
    troposphere_temperature_ratio(TROPOPAUSE_M).powf(PRESSURE_EXPONENT)
}

/// Temperature of the standard atmosphere.
///
/// Valid from -5 000 m to 20 000 m geopotential.
///
/// # Errors
///
/// [`OutsideStandardAtmosphere::Altitude`] beyond.
///
/// # Source
///
/// ICAO Doc 7488 and ISO 2533 (the layers of U.S. Standard Atmosphere, 1976, are the same to this height). The
/// constants were seen in the published rows of `published/atmosphere.toml`, which check it, not in the documents.
pub fn standard_temperature(
    altitude: GeopotentialAltitude,
) -> Result<Temperature, OutsideStandardAtmosphere> {
    let altitude_m = within_layers(altitude)?;
    let kelvins = if altitude_m <= TROPOPAUSE_M {
        SEA_LEVEL_K - LAPSE_K_PER_M * altitude_m
    } else {
        STRATOSPHERE_K
    };
    Ok(Temperature::from_kelvins(kelvins))
}

/// Pressure of the standard atmosphere.
///
/// Valid from -5 000 m to 20 000 m geopotential.
///
/// # Errors
///
/// [`OutsideStandardAtmosphere::Altitude`] beyond.
///
/// # Source
///
/// As [`standard_temperature`]: hydrostatic equilibrium of an ideal gas in a layer with a steady lapse, and in one with
/// none.
pub fn standard_pressure(
    altitude: GeopotentialAltitude,
) -> Result<Pressure, OutsideStandardAtmosphere> {
    let altitude_m = within_layers(altitude)?;
    // Below 11 km: p / p0 = (T / T0) ^ (g0 / (R L)). Above: p / p11 = exp(-(H - 11 km) g0 / (R T11)).
    let ratio = if altitude_m <= TROPOPAUSE_M {
        troposphere_temperature_ratio(altitude_m).powf(PRESSURE_EXPONENT)
    } else {
        tropopause_pressure_ratio() * ((TROPOPAUSE_M - altitude_m) / STRATOSPHERE_SCALE_M).exp()
    };
    Ok(Pressure::from_pascals(SEA_LEVEL_PA * ratio))
}

/// Density of air of this pressure and temperature: an ideal gas. For humid air give the virtual temperature.
///
/// # Source
///
/// Equation of state of an ideal gas, with the gas constant of dry air of ICAO Doc 7488.
pub fn density(pressure: Pressure, temperature: Temperature) -> Density {
    Density::from_kg_per_m3(pressure.pascals() / (GAS_CONSTANT_J_PER_KG_K * temperature.kelvins()))
}

/// Density of the standard atmosphere at sea level, 1.225 kg/m³ to seven digits.
pub fn sea_level_density() -> Density {
    density(Pressure::from_pascals(SEA_LEVEL_PA), Temperature::from_kelvins(SEA_LEVEL_K))
}

/// Speed of sound in air of this temperature.
///
/// # Source
///
/// a = √(γ R T) of an ideal gas, with the constants of ICAO Doc 7488.
pub fn speed_of_sound(temperature: Temperature) -> SpeedOfSound {
    SpeedOfSound::from_metres_per_second(
        (HEAT_RATIO * GAS_CONSTANT_J_PER_KG_K * temperature.kelvins()).sqrt(),
    )
}

/// Speed of sound in the standard atmosphere at sea level, on which the airspeed indicator is built.
pub fn sea_level_speed_of_sound() -> SpeedOfSound {
    speed_of_sound(Temperature::from_kelvins(SEA_LEVEL_K))
}

/// The altitude at which the standard atmosphere has this pressure.
///
/// # Errors
///
/// [`OutsideStandardAtmosphere::Pressure`] for a pressure of no altitude from -5 000 m to 20 000 m.
///
/// # Source
///
/// The inverse of [`standard_pressure`].
pub fn altitude_of_pressure(
    pressure: Pressure,
) -> Result<PressureAltitude, OutsideStandardAtmosphere> {
    let ratio = pressure.pascals() / SEA_LEVEL_PA;
    let altitude_m = if ratio >= tropopause_pressure_ratio() {
        troposphere_altitude_m(ratio.powf(1.0 / PRESSURE_EXPONENT))
    } else {
        TROPOPAUSE_M - STRATOSPHERE_SCALE_M * (ratio / tropopause_pressure_ratio()).ln()
    };
    if reached(altitude_m) {
        Ok(PressureAltitude::from_metres(altitude_m))
    } else {
        Err(OutsideStandardAtmosphere::Pressure { pressure_pa: pressure.pascals() })
    }
}

/// The altitude at which the standard atmosphere has this density.
///
/// # Errors
///
/// [`OutsideStandardAtmosphere::Density`] for a density of no altitude from -5 000 m to 20 000 m.
///
/// # Source
///
/// The inverse of the standard density: below 11 km ρ/ρ0 = (T/T0)^(g0/(R L) - 1), above it falls as pressure does.
pub fn altitude_of_density(density: Density) -> Result<DensityAltitude, OutsideStandardAtmosphere> {
    let ratio = density.kg_per_m3() / sea_level_density().kg_per_m3();
    let tropopause_ratio = tropopause_pressure_ratio() * SEA_LEVEL_K / STRATOSPHERE_K;
    let altitude_m = if ratio >= tropopause_ratio {
        troposphere_altitude_m(ratio.powf(1.0 / (PRESSURE_EXPONENT - 1.0)))
    } else {
        TROPOPAUSE_M - STRATOSPHERE_SCALE_M * (ratio / tropopause_ratio).ln()
    };
    if reached(altitude_m) {
        Ok(DensityAltitude::from_metres(altitude_m))
    } else {
        Err(OutsideStandardAtmosphere::Density { density_kg_m3: density.kg_per_m3() })
    }
}

fn troposphere_altitude_m(temperature_ratio: f64) -> f64 {
    (1.0 - temperature_ratio) * SEA_LEVEL_K / LAPSE_K_PER_M
}

/// Dry air at a pressure altitude, standard or not.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// Static pressure.
    pub pressure: Pressure,
    /// Static temperature.
    pub temperature: Temperature,
}

impl Air {
    /// Air of the standard pressure at this altitude, and of this temperature or else the standard one.
    ///
    /// # Errors
    ///
    /// [`OutsideStandardAtmosphere::Altitude`] outside -5 000 m to 20 000 m.
    pub fn at(
        altitude: PressureAltitude,
        temperature: Option<Temperature>,
    ) -> Result<Self, OutsideStandardAtmosphere> {
        Ok(Self {
            pressure: standard_pressure(altitude.into())?,
            temperature: match temperature {
                Some(temperature) => temperature,
                None => standard_temperature(altitude.into())?,
            },
        })
    }

    /// Density of this air.
    pub fn density(self) -> Density {
        density(self.pressure, self.temperature)
    }

    /// Density over the standard one at sea level.
    pub fn density_ratio(self) -> f64 {
        self.density().kg_per_m3() / sea_level_density().kg_per_m3()
    }

    /// Speed of sound in this air.
    pub fn speed_of_sound(self) -> SpeedOfSound {
        speed_of_sound(self.temperature)
    }
}

/// Density altitude by the rule that pilots work in their heads: 120 ft for each °C above standard.
///
/// For holding against a figure worked by hand; no other reduction uses it.
///
/// # Errors
///
/// [`OutsideStandardAtmosphere::Altitude`] outside -5 000 m to 20 000 m.
///
/// # Source
///
/// A rule of thumb in many text books; the rows of `published/altimetry.toml` that are marked as such name some.
pub fn density_altitude_by_rule_of_thumb(
    altitude: PressureAltitude,
    temperature: Temperature,
) -> Result<DensityAltitude, OutsideStandardAtmosphere> {
    const FEET_PER_KELVIN: f64 = 120.0;
    let warmer_by = temperature - standard_temperature(altitude.into())?;
    Ok(DensityAltitude::from_feet(altitude.feet() + FEET_PER_KELVIN * warmer_by.kelvins()))
}

/// The topic `atmosphere`.
pub static TOPIC: Topic = Topic {
    name: "atmosphere",
    version: 1,
    title: "Standard atmosphere and density altitude",
    gives: "Temperature, pressure, density and speed of sound at a pressure altitude, in the standard atmosphere or in \
            air of a given temperature, with the density altitude. The air is dry; for humid air see altimetry.",
    valid_range: "Pressure altitude and density altitude from -5 000 m to 20 000 m (-16 404 ft to 65 617 ft); air \
                  from -100 °C to 65 °C.",
    inputs: &[
        Field::required(
            "pressure_altitude_ft",
            "ft",
            "pressure altitude, which is a geopotential altitude",
        ),
        Field::optional(
            "oat_c",
            "°C",
            "static air temperature; standard if neither this nor a deviation is given",
        ),
        Field::optional(
            "isa_deviation_c",
            "°C",
            "how much warmer the air is than standard; not together with oat_c",
        ),
    ],
    outputs: &[
        Field::required("isa_temperature_c", "°C", "standard temperature at the pressure altitude"),
        Field::required("temperature_c", "°C", "temperature that was reckoned with"),
        Field::required("isa_deviation_c", "°C", "temperature less the standard one"),
        Field::required("pressure_hpa", "hPa", "static pressure"),
        Field::required(
            "density_kg_m3",
            "kg/m³",
            "density of dry air of that pressure and temperature",
        ),
        Field::required("pressure_ratio", "ratio", "pressure over 1013.25 hPa"),
        Field::required("temperature_ratio", "ratio", "absolute temperature over 288.15 K"),
        Field::required("density_ratio", "ratio", "density over the standard one at sea level"),
        Field::required(
            "density_altitude_ft",
            "ft",
            "altitude at which the standard atmosphere has that density",
        ),
        Field::required(
            "density_altitude_rule_of_thumb_ft",
            "ft",
            "pressure altitude and 120 ft for each °C above standard, for holding against a figure worked by hand",
        ),
        Field::required("speed_of_sound_kt", "kt", "speed of sound at that temperature"),
    ],
    equations: &[
        "up to 11 km: T = 288.15 K - 0.0065 K/m H; p/p0 = (T/288.15 K)^(g0/(R 0.0065 K/m))",
        "11 km to 20 km: T = 216.65 K; p/p11 = exp(-(H - 11 km) g0/(R T))",
        "rho = p/(R T); a = sqrt(1.4 R T); R = 287.05287 J/(kg K), g0 = 9.80665 m/s2, p0 = 101325 Pa",
        "density altitude: the H at which the standard atmosphere has rho",
    ],
    sources: &[
        "ICAO Doc 7488/3 and ISO 2533, standard atmosphere: layers and constants, as the published cases quote them \
         (the documents themselves were not opened)",
        "U.S. Standard Atmosphere, 1976: the same layers up to 20 km; its gas constant differs in the seventh digit",
    ],
    published: &[
        ("atmosphere.toml", include_str!("../published/atmosphere.toml")),
        ("density_altitude.toml", include_str!("../published/density_altitude.toml")),
    ],
    example: r#"{ "pressure_altitude_ft": 4500, "oat_c": 22 }"#,
    compute,
};

#[derive(Serialize)]
struct Output {
    isa_temperature_c: f64,
    temperature_c: f64,
    isa_deviation_c: f64,
    pressure_hpa: f64,
    density_kg_m3: f64,
    pressure_ratio: f64,
    temperature_ratio: f64,
    density_ratio: f64,
    density_altitude_ft: f64,
    density_altitude_rule_of_thumb_ft: f64,
    speed_of_sound_kt: f64,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    let mut reader = Reader::object(input);
    let altitude_ft = reader.required_number("pressure_altitude_ft", PRESSURE_ALTITUDES_FT);
    let warmth = reader
        .at_most_one_number(&[("oat_c", AIR_TEMPERATURES_C), ("isa_deviation_c", DEVIATIONS_C)]);
    let (altitude_ft, warmth) = reader.finish(|| Some((altitude_ft?, warmth?)))?;

    let altitude = PressureAltitude::from_feet(altitude_ft);
    let beyond_altitude = |error: OutsideStandardAtmosphere| {
        Refused::because("pressure_altitude_ft", FaultCode::OutOfRange, sentence(error))
    };
    let standard = Air::at(altitude, None).map_err(beyond_altitude)?;
    let temperature = match warmth {
        None => standard.temperature,
        Some(("oat_c", oat_c)) => Temperature::from_celsius(oat_c),
        Some((_, warmer_by_c)) => {
            standard.temperature + TemperatureDifference::from_kelvins(warmer_by_c)
        }
    };
    if !AIR_TEMPERATURES_C.contains(&temperature.celsius()) {
        return Err(Refused::because(
            "isa_deviation_c",
            FaultCode::OutOfRange,
            format!(
                "With this isa_deviation_c the air would have {:.1} °C; -100 °C to 65 °C is taken.",
                temperature.celsius()
            ),
        ));
    }
    let air = Air { temperature, ..standard };
    let density_altitude = altitude_of_density(air.density()).map_err(|error| {
        let field = warmth.map_or("pressure_altitude_ft", |(field, _)| field);
        Refused::because(field, FaultCode::OutOfRange, sentence(error))
    })?;
    let rule_of_thumb =
        density_altitude_by_rule_of_thumb(altitude, temperature).map_err(beyond_altitude)?;

    answer(&Output {
        isa_temperature_c: standard.temperature.celsius(),
        temperature_c: temperature.celsius(),
        isa_deviation_c: (temperature - standard.temperature).kelvins(),
        pressure_hpa: air.pressure.hectopascals(),
        density_kg_m3: air.density().kg_per_m3(),
        pressure_ratio: air.pressure.pascals() / SEA_LEVEL_PA,
        temperature_ratio: temperature.kelvins() / SEA_LEVEL_K,
        density_ratio: air.density_ratio(),
        density_altitude_ft: density_altitude.feet(),
        density_altitude_rule_of_thumb_ft: rule_of_thumb.feet(),
        speed_of_sound_kt: air.speed_of_sound().knots(),
    })
}

/// The error as a whole sentence.
pub(crate) fn sentence(error: OutsideStandardAtmosphere) -> String {
    let text = error.to_string();
    let mut letters = text.chars();
    let first = letters.next().map(|letter| letter.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}, so the method does not hold.", letters.as_str())
}

#[cfg(test)]
mod tests;
