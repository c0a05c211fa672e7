//! Where the sun stands over the airfield, and how long the day is.

use chrono::{DateTime, Datelike, SecondsFormat, SubsecRound, Utc};
use quantities::{Angle, GeopotentialAltitude, Length, Pressure, Temperature};
use serde::Serialize;
use serde_json::Value;

use crate::atmosphere::standard_pressure;
use crate::catalogue::{FaultCode, Field, Refused, Topic, answer};
use crate::input::Reader;

mod daylight;
mod earth_terms;
mod nutation_terms;
mod position;

pub use daylight::{CIVIL_HEIGHT_DEG, Crossing, Daylight, RISE_HEIGHT_DEG, daylight};
pub use position::{DEFAULT_DELTA_T_S, Geocentric, Place, SunPosition, geocentric, sun_position};

/// The topic `sun`.
pub static TOPIC: Topic = Topic {
    name: "sun",
    version: 1,
    title: "Sun and daylight",
    gives: "Where the sun stands over a place at a moment, and of the solar day around it: sunrise, noon, sunset and civil \
            twilight. What counts as day for a flight is for the local rules to say.",
    valid_range: "Years 1900 to 2100. The position is good to 0.001°, times to seconds for a flat horizon, and to minutes close \
                  to the poles.",
    inputs: &[
        Field::required(
            "at",
            "text",
            "The moment, by RFC 3339 with its offset, such as 2026-06-21T12:00:00Z.",
        ),
        Field::required("latitude_deg", "°", "Latitude, north positive."),
        Field::required("longitude_deg", "°", "Longitude, east positive."),
        Field::optional("elevation_m", "m", "Height above sea level; 0 when absent."),
        Field::optional(
            "pressure_hpa",
            "hPa",
            "The year's mean air pressure there; that of the standard atmosphere when absent.",
        ),
        Field::optional(
            "temperature_c",
            "°C",
            "The year's mean air temperature there; 12 when absent.",
        ),
        Field::optional("delta_t_s", "s", "Terrestrial less universal time; 69.2 when absent."),
    ],
    outputs: &[
        Field::required(
            "zenith_deg",
            "°",
            "Angle of the sun's centre from straight up, without refraction.",
        ),
        Field::required("apparent_zenith_deg", "°", "The same with refraction."),
        Field::required("azimuth_deg", "°", "Direction of the sun, clockwise from true north."),
        Field::required("distance_au", "au", "Distance from the sun."),
        Field::required("equation_of_time_min", "min", "Apparent less mean solar time."),
        Field::required(
            "noon",
            "text",
            "When the sun is highest, of the solar day around the moment.",
        ),
        Field::required("sun", "text", "rises-and-sets, up-all-day or down-all-day."),
        Field::required(
            "sunrise",
            "text",
            "Upper rim on a flat horizon; null if the sun is up or down all day.",
        ),
        Field::required(
            "sunset",
            "text",
            "Upper rim on a flat horizon; null if the sun is up or down all day.",
        ),
        Field::required(
            "civil",
            "text",
            "Whether civil twilight has ends: rises-and-sets, up-all-day or down-all-day.",
        ),
        Field::required(
            "civil_dawn",
            "text",
            "The sun's centre rises to 6° below the horizon; null if it does not cross that.",
        ),
        Field::required(
            "civil_dusk",
            "text",
            "The sun's centre sinks to 6° below the horizon; null if it does not cross that.",
        ),
    ],
    equations: &[
        "The earth's way about the sun as sums of periodic terms, with nutation, aberration, parallax and refraction.",
        "Sunrise and sunset: the sun's centre 0.8333° below the horizon, seen from the earth's centre.",
        "Civil twilight: the sun's centre 6° below the horizon.",
    ],
    sources: &[
        "I. Reda and A. Andreas, Solar Position Algorithm for Solar Radiation Applications, NREL/TP-560-34302, 2003, revised \
         2008 (steps and tables as carried by pvlib 0.16.1)",
        "common practice, no source: 6° for civil twilight",
    ],
    published: &[("sun.toml", include_str!("../published/sun.toml"))],
    example: r#"{ "at": "2026-06-21T12:00:00Z", "latitude_deg": 51.5, "longitude_deg": -0.1, "elevation_m": 50 }"#,
    compute,
};

#[derive(Serialize)]
struct Output {
    zenith_deg: f64,
    apparent_zenith_deg: f64,
    azimuth_deg: f64,
    distance_au: f64,
    equation_of_time_min: f64,
    noon: String,
    sun: &'static str,
    sunrise: Option<String>,
    sunset: Option<String>,
    civil: &'static str,
    civil_dawn: Option<String>,
    civil_dusk: Option<String>,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    let mut reader = Reader::object(input);
    let at = moment(&mut reader, "at");
    let place = place(&mut reader);
    let pressure_hpa = reader.optional_number("pressure_hpa", 100.0..=1_100.0);
    let temperature_c = reader.optional_number("temperature_c", -60.0..=60.0);
    let delta_t_s = reader.optional_number("delta_t_s", -100.0..=500.0);
    let (at, place, pressure_hpa, temperature_c, delta_t_s) =
        reader.finish(|| Some((at?, place?, pressure_hpa?, temperature_c?, delta_t_s?)))?;
    let delta_t_s = delta_t_s.unwrap_or(DEFAULT_DELTA_T_S);
    let pressure = match pressure_hpa {
        Some(hectopascals) => Pressure::from_hectopascals(hectopascals),
        None => usual_pressure(place),
    };
    let temperature = Temperature::from_celsius(temperature_c.unwrap_or(USUAL_CELSIUS));
    let sun = sun_position(at, place, pressure, temperature, delta_t_s);
    let day = daylight(at, place, delta_t_s);
    let (sun_word, sunrise, sunset) = told(day.sun);
    let (civil_word, civil_dawn, civil_dusk) = told(day.civil);
    answer(&Output {
        zenith_deg: sun.zenith.degrees(),
        apparent_zenith_deg: sun.apparent_zenith.degrees(),
        azimuth_deg: sun.azimuth.degrees_of_turn(),
        distance_au: sun.geocentric.distance_au,
        equation_of_time_min: sun.geocentric.equation_of_time_min,
        noon: to_the_second(day.noon),
        sun: sun_word,
        sunrise,
        sunset,
        civil: civil_word,
        civil_dawn,
        civil_dusk,
    })
}

/// Air temperature for refraction where none is stated.
pub(crate) const USUAL_CELSIUS: f64 = 12.0;

/// The standard atmosphere's pressure at a place. Heights that it does not reach were refused before.
pub(crate) fn usual_pressure(place: Place) -> Pressure {
    standard_pressure(GeopotentialAltitude::from_metres(place.elevation.metres()))
        .unwrap_or(Pressure::from_hectopascals(1_013.25))
}

/// Reads `latitude_deg`, `longitude_deg` and `elevation_m`.
pub(crate) fn place(reader: &mut Reader<'_>) -> Option<Place> {
    let latitude_deg = reader.required_number("latitude_deg", -90.0..=90.0);
    let longitude_deg = reader.required_number("longitude_deg", -180.0..=180.0);
    let elevation_m = reader.optional_number("elevation_m", -500.0..=9_000.0);
    Some(Place {
        latitude: Angle::from_degrees(latitude_deg?),
        longitude: Angle::from_degrees(longitude_deg?),
        elevation: Length::from_metres(elevation_m?.unwrap_or(0.0)),
    })
}

/// Reads a moment by RFC 3339.
pub(crate) fn moment(reader: &mut Reader<'_>, name: &'static str) -> Option<DateTime<Utc>> {
    let text = reader.required_text(name)?;
    let path = reader.path_of(name);
    let Ok(at) = DateTime::parse_from_rfc3339(text) else {
        let start: String = text.chars().take(40).collect();
        reader.fault(
            name,
            FaultCode::WrongType,
            format!("{path} is \"{start}\"; a moment with its offset is wanted, such as 2026-06-21T12:00:00Z."),
        );
        return None;
    };
    let at = at.to_utc();
    if !(1900..=2100).contains(&at.year()) {
        reader.fault(
            name,
            FaultCode::OutOfRange,
            format!("{path} is in the year {}; years 1900 to 2100 are taken.", at.year()),
        );
        return None;
    }
    Some(at)
}

fn told(crossing: Crossing) -> (&'static str, Option<String>, Option<String>) {
    match crossing {
        Crossing::Between(from, to) => {
            ("rises-and-sets", Some(to_the_second(from)), Some(to_the_second(to)))
        }
        Crossing::AlwaysAbove => ("up-all-day", None, None),
        Crossing::AlwaysBelow => ("down-all-day", None, None),
    }
}

/// A moment as RFC 3339 in UTC, rounded to the second.
pub(crate) fn to_the_second(moment: DateTime<Utc>) -> String {
    moment.round_subsecs(0).to_rfc3339_opts(SecondsFormat::Secs, true)
}

#[cfg(test)]
mod tests;
