//! Pressure altitude from field elevation and QNH, and density altitude of the air there, dry or humid.

use quantities::{Density, Length, Pressure, PressureAltitude, Temperature};
use serde::Serialize;
use serde_json::Value;

use crate::atmosphere::{self, AIR_TEMPERATURES_C, Air, OutsideStandardAtmosphere, sentence};
use crate::catalogue::{FaultCode, Field, Refused, Topic, answer};
use crate::input::Reader;

/// Molecular mass of water over that of dry air, to three digits, as the humidity formula below was printed with.
const WATER_TO_AIR_MASS_RATIO: f64 = 0.622;

/// Elevations that the topic takes: from below any dry land to beyond any field.
const FIELD_ELEVATIONS_FT: std::ops::RangeInclusive<f64> = -5_000.0..=36_000.0;
/// Altimeter settings that the topic takes: somewhat beyond the lowest and highest ever observed.
const QNHS_HPA: std::ops::RangeInclusive<f64> = 850.0..=1_100.0;
/// Dew points for which the vapour pressure formula is used.
const DEW_POINTS_C: std::ops::RangeInclusive<f64> = -60.0..=50.0;

/// Pressure altitude of a place, which is what an altimeter there shows when set to standard pressure.
///
/// An altimeter set to QNH shows the elevation. Turning the setting to 1013.25 hPa adds the altitude at which the
/// standard atmosphere has the pressure QNH.
///
/// # Errors
///
/// [`OutsideStandardAtmosphere::Pressure`] if `qnh` is found in the standard atmosphere only outside -5 000 m to
/// 20 000 m, [`OutsideStandardAtmosphere::Altitude`] if the pressure altitude lies there.
///
/// # Source
///
/// The definition of an altimeter setting over the standard atmosphere of [`atmosphere`]; the algorithm that the U.S.
/// National Weather Service prints for it is the same with rounded constants (a row of `published/altimetry.toml`).
pub fn pressure_altitude(
    field_elevation: Length,
    qnh: Pressure,
) -> Result<PressureAltitude, OutsideStandardAtmosphere> {
    let of_qnh = atmosphere::altitude_of_pressure(qnh)?;
    let altitude = PressureAltitude::from_metres(field_elevation.metres() + of_qnh.metres());
    atmosphere::standard_pressure(altitude.into()).map(|_| altitude)
}

/// Pressure of water vapour in air of this dew point, over liquid water.
///
/// Meant for dew points of the weather: the topic takes -60 °C to 50 °C. Below freezing the formula still stands for
/// water, not ice, which differs by less than a fifth of a pressure that hardly counts there.
///
/// # Source
///
/// A formula of Magnus' type, e = 6.11 hPa · 10^(7.5 Td / (237.7 + Td)), as the U.S. National Weather Service prints it
/// for density altitude; it was seen as quoted in the rows of `published/altimetry.toml`.
pub fn vapour_pressure(dew_point: Temperature) -> Pressure {
    let dew_point_c = dew_point.celsius();
    Pressure::from_hectopascals(6.11 * 10.0_f64.powf(7.5 * dew_point_c / (237.7 + dew_point_c)))
}

/// The temperature at which dry air would be as light as this humid air.
///
/// # Source
///
/// Tv = T / (1 - (e/p) (1 - 0.622)), as the U.S. National Weather Service prints it for density altitude; seen as quoted
/// in the rows of `published/altimetry.toml`.
pub fn virtual_temperature(
    temperature: Temperature,
    pressure: Pressure,
    vapour: Pressure,
) -> Temperature {
    let vapour_share = vapour.pascals() / pressure.pascals();
    Temperature::from_kelvins(
        temperature.kelvins() / (1.0 - vapour_share * (1.0 - WATER_TO_AIR_MASS_RATIO)),
    )
}

/// Density of air, with its humidity if a dew point is given and else dry.
///
/// # Source
///
/// ρ = p / (R Tv) with [`virtual_temperature`].
pub fn density_with_humidity(air: Air, dew_point: Option<Temperature>) -> Density {
    let temperature = match dew_point {
        Some(dew_point) => {
            virtual_temperature(air.temperature, air.pressure, vapour_pressure(dew_point))
        }
        None => air.temperature,
    };
    atmosphere::density(air.pressure, temperature)
}

/// The topic `altimetry`.
pub static TOPIC: Topic = Topic {
    name: "altimetry",
    version: 1,
    title: "Pressure and density altitude of a field",
    gives: "Pressure altitude of a field from its elevation and QNH, and the density altitude of the air there, with its \
            humidity if the dew point is given and else dry. Humid air is lighter, so leaving the dew point out makes \
            the density altitude come out too low.",
    valid_range: "Elevation -5 000 ft to 36 000 ft, QNH 850 hPa to 1 100 hPa, air -100 °C to 65 °C, dew point -60 °C to \
                  50 °C and not above the air's temperature; pressure altitude and density altitude -5 000 m to \
                  20 000 m. Elevation is taken as geopotential (11 ft less at 15 000 ft if it is geometric).",
    inputs: &[
        Field::required("field_elevation_ft", "ft", "elevation of the field above mean sea level"),
        Field::required(
            "qnh_hpa",
            "hPa",
            "altimeter setting with which an altimeter shows the elevation",
        ),
        Field::required("oat_c", "°C", "air temperature at the field"),
        Field::optional("dew_point_c", "°C", "dew point at the field; dry air if not given"),
    ],
    outputs: &[
        Field::required(
            "pressure_altitude_ft",
            "ft",
            "what an altimeter there shows when set to 1013.25 hPa",
        ),
        Field::required(
            "density_altitude_ft",
            "ft",
            "altitude at which the standard atmosphere has the air's density",
        ),
        Field::required("station_pressure_hpa", "hPa", "static pressure at the field"),
        Field::required(
            "density_kg_m3",
            "kg/m³",
            "density of the air, humidity included if the dew point is given",
        ),
        Field::required("isa_temperature_c", "°C", "standard temperature at the pressure altitude"),
        Field::required(
            "density_altitude_rule_of_thumb_ft",
            "ft",
            "pressure altitude and 120 ft for each °C above standard, dry, for holding against a figure worked by hand",
        ),
        Field::optional(
            "vapour_pressure_hpa",
            "hPa",
            "pressure of water vapour; only with a dew point",
        ),
        Field::optional(
            "virtual_temperature_c",
            "°C",
            "dry air of the same density; only with a dew point",
        ),
    ],
    equations: &[
        "pressure altitude = elevation + the altitude at which the standard atmosphere has the pressure QNH",
        "e = 6.11 hPa 10^(7.5 Td/(237.7 + Td)), Td in degrees Celsius; Tv = T/(1 - (e/p)(1 - 0.622))",
        "rho = p/(R Tv); density altitude: the altitude at which the standard atmosphere has rho",
    ],
    sources: &[
        "Definition of an altimeter setting over the standard atmosphere (see atmosphere)",
        "Vapour pressure and virtual temperature: formulas of the U.S. National Weather Service for density altitude, as \
         quoted by the published cases (a formula of Magnus' type, not a psychrometric standard). Its printed density \
         altitude formula has rounded constants and gives 14 ft to 18 ft more; here the density is looked up in the \
         standard atmosphere instead",
    ],
    published: &[("altimetry.toml", include_str!("../published/altimetry.toml"))],
    example: r#"{ "field_elevation_ft": 1240, "qnh_hpa": 1008, "oat_c": 27, "dew_point_c": 16 }"#,
    compute,
};

#[derive(Serialize)]
struct Output {
    pressure_altitude_ft: f64,
    density_altitude_ft: f64,
    station_pressure_hpa: f64,
    density_kg_m3: f64,
    isa_temperature_c: f64,
    density_altitude_rule_of_thumb_ft: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    vapour_pressure_hpa: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    virtual_temperature_c: Option<f64>,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    let mut reader = Reader::object(input);
    let elevation_ft = reader.required_number("field_elevation_ft", FIELD_ELEVATIONS_FT);
    let qnh_hpa = reader.required_number("qnh_hpa", QNHS_HPA);
    let oat_c = reader.required_number("oat_c", AIR_TEMPERATURES_C);
    let dew_point_c = reader.optional_number("dew_point_c", DEW_POINTS_C);
    if let (Some(oat_c), Some(Some(dew_point_c))) = (oat_c, dew_point_c)
        && dew_point_c > oat_c
    {
        reader.fault(
            "dew_point_c",
            FaultCode::Inconsistent,
            format!("dew_point_c is {dew_point_c}, above oat_c of {oat_c}; air is never warmer at its dew point."),
        );
    }
    let (elevation_ft, qnh_hpa, oat_c, dew_point_c) =
        reader.finish(|| Some((elevation_ft?, qnh_hpa?, oat_c?, dew_point_c?)))?;

    let beyond =
        |error| Refused::because("field_elevation_ft", FaultCode::OutOfRange, sentence(error));
    let altitude =
        pressure_altitude(Length::from_feet(elevation_ft), Pressure::from_hectopascals(qnh_hpa))
            .map_err(beyond)?;
    let temperature = Temperature::from_celsius(oat_c);
    let dew_point = dew_point_c.map(Temperature::from_celsius);
    let air = Air::at(altitude, Some(temperature)).map_err(beyond)?;
    let density = density_with_humidity(air, dew_point);
    let density_altitude = atmosphere::altitude_of_density(density)
        .map_err(|error| Refused::because("oat_c", FaultCode::OutOfRange, sentence(error)))?;
    let rule_of_thumb =
        atmosphere::density_altitude_by_rule_of_thumb(altitude, temperature).map_err(beyond)?;
    let vapour = dew_point.map(vapour_pressure);

    answer(&Output {
        pressure_altitude_ft: altitude.feet(),
        density_altitude_ft: density_altitude.feet(),
        station_pressure_hpa: air.pressure.hectopascals(),
        density_kg_m3: density.kg_per_m3(),
        isa_temperature_c: atmosphere::standard_temperature(altitude.into())
            .map_err(beyond)?
            .celsius(),
        density_altitude_rule_of_thumb_ft: rule_of_thumb.feet(),
        vapour_pressure_hpa: vapour.map(Pressure::hectopascals),
        virtual_temperature_c: vapour
            .map(|vapour| virtual_temperature(temperature, air.pressure, vapour).celsius()),
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic)]

    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn more_humid_air_is_never_denser(
            feet in -1_000.0..=14_000.0, oat_c in -20.0..=45.0, below_c in 0.0..=30.0, drier_by_c in 0.0..=10.0,
        ) {
            let altitude = PressureAltitude::from_feet(feet);
            let air = Air::at(altitude, Some(Temperature::from_celsius(oat_c))).unwrap();
            let dew_point = |celsius| Some(Temperature::from_celsius(celsius));
            let moist = density_with_humidity(air, dew_point(oat_c - below_c));
            let less_moist = density_with_humidity(air, dew_point(oat_c - below_c - drier_by_c));
            prop_assert!(moist <= less_moist);
            prop_assert!(less_moist <= density_with_humidity(air, None));
        }

        #[test]
        fn a_higher_qnh_means_a_lower_pressure_altitude(
            feet in -1_000.0..=14_000.0, low_hpa in 870.0..=1_080.0, by_hpa in 0.1..=10.0,
        ) {
            let at = |hpa| pressure_altitude(Length::from_feet(feet), Pressure::from_hectopascals(hpa)).unwrap();
            prop_assert!(at(low_hpa + by_hpa) < at(low_hpa));
        }
    }

    #[test]
    fn at_standard_qnh_the_pressure_altitude_is_the_elevation() {
        let altitude =
            pressure_altitude(Length::from_feet(812.0), Pressure::from_hectopascals(1_013.25))
                .unwrap();
        assert!((altitude.feet() - 812.0).abs() < 1.0e-9);
    }
}
