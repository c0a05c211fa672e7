//! True airspeed and wind from legs flown on different tracks, and the position correction that follows.

mod legs;
#[cfg(test)]
mod tests;

pub use legs::{
    AirspeedAndWind, LARGEST_DILUTION, Leg, LegsError, LegsSolution, solve_legs, solve_three_legs,
    three_leg_choices,
};

use quantities::{Angle, CalibratedAirspeed, GroundSpeed, PressureAltitude, Temperature};
use serde::Serialize;
use serde_json::Value;

use crate::airspeed::Airspeeds;
use crate::atmosphere::{AIR_TEMPERATURES_C, Air, PRESSURE_ALTITUDES_FT};
use crate::catalogue::{FaultCode, Field, Refused, Topic, answer};
use crate::input::{Reader, above_up_to};

/// More legs would only make the list of three-leg choices unreadable: 30 give 4,060.
const MOST_LEGS: usize = 30;

/// The topic `gps-airspeed`.
pub static TOPIC: Topic = Topic {
    name: "gps-airspeed",
    version: 1,
    title: "Airspeed and wind from GPS legs",
    gives: "True airspeed, its standard error and the wind from the ground speeds and tracks of three or more legs; with the \
            indicated airspeed and pressure altitude also the airspeed system's position correction.",
    valid_range: "3 to 30 legs at one true airspeed in one steady wind slower than the aircraft, spread over the compass so \
                  that the solution is at most 20 times as uncertain as a leg. Indicated airspeed is corrected for the \
                  instrument's own error.",
    inputs: &[
        Field::required(
            "legs",
            "list",
            "3 to 30 straight legs, each at the same indicated airspeed and altitude",
        ),
        Field::required("legs[].ground_speed_kt", "kt", "mean ground speed of the leg"),
        Field::required(
            "legs[].track_deg",
            "deg",
            "mean track of the leg, clockwise from true north, 0 to 360",
        ),
        Field::optional(
            "ias_kt",
            "kt",
            "indicated airspeed corrected for instrument error; needs pressure_altitude_ft",
        ),
        Field::optional("pressure_altitude_ft", "ft", "pressure altitude of the legs"),
        Field::optional(
            "oat_c",
            "°C",
            "outside air temperature; without it the standard temperature is taken. Needs pressure_altitude_ft",
        ),
    ],
    outputs: &[
        Field::required(
            "tas_kt",
            "kt",
            "true airspeed by least squares over all legs, exact for three",
        ),
        Field::required(
            "tas_se_kt",
            "kt",
            "its standard error from the legs' disagreement; null for three legs",
        ),
        Field::required("wind_speed_kt", "kt", "wind speed"),
        Field::required(
            "wind_from_deg",
            "deg",
            "direction the wind comes from, clockwise from true north",
        ),
        Field::required("headings_deg", "list of deg", "the heading that follows for each leg"),
        Field::required(
            "residual_rms_kt",
            "kt",
            "root of the mean squared difference between each leg's airspeed and tas_kt",
        ),
        Field::required(
            "residual_sd_kt",
            "kt",
            "the same with n − 3 in place of n; null for three legs",
        ),
        Field::required(
            "dilution",
            "ratio",
            "how many times as uncertain airspeed and wind together are as one leg",
        ),
        Field::required(
            "three_leg.mean_tas_kt",
            "kt",
            "mean true airspeed of all choices of three legs; null if none can be solved",
        ),
        Field::required(
            "three_leg.sample_sd_tas_kt",
            "kt",
            "their sample standard deviation; null for fewer than two",
        ),
        Field::required(
            "three_leg.solutions",
            "list",
            "the exact solution of each choice of three legs",
        ),
        Field::required(
            "three_leg.solutions[].legs",
            "list",
            "the three legs by number, counted from 1",
        ),
        Field::required("three_leg.solutions[].tas_kt", "kt", "true airspeed"),
        Field::required("three_leg.solutions[].wind_speed_kt", "kt", "wind speed"),
        Field::required(
            "three_leg.solutions[].wind_from_deg",
            "deg",
            "direction the wind comes from",
        ),
        Field::required(
            "three_leg.undetermined",
            "list",
            "choices of three legs that fix no circle, and are left out of the mean",
        ),
        Field::optional(
            "cas_kt",
            "kt",
            "calibrated airspeed of tas_kt at that altitude and temperature; only with pressure_altitude_ft",
        ),
        Field::optional(
            "position_correction_kt",
            "kt",
            "calibrated less indicated airspeed: to be added to the indication; only with ias_kt",
        ),
    ],
    equations: &[
        "ground vector = air vector + wind vector, so the tips of the ground vectors lie on a circle: its centre is the wind, its radius the true airspeed",
        "least squares: minimise Σ (|g − w| − V)² over airspeed V and wind w, by Levenberg–Marquardt from the algebraic circle",
        "standard error of V = √(RSS / (n − 3) · [(JᵀJ)⁻¹]_VV)",
        "three legs: the circle through three points",
        "position correction = CAS − IAS, where CAS follows from V by the compressible airspeed equations",
    ],
    sources: &[
        "Doug Gray, \"Using GPS to accurately establish True Airspeed (TAS)\", 1998, as reproduced in github.com/fugalh/TAS",
        "Four legs by the mean of the three-leg choices: the NTPS method as in aerocalc's ssec.gps2tas",
        "The limit on the dilution is our own choice",
    ],
    published: &[("gps_airspeed.toml", include_str!("../published/gps_airspeed.toml"))],
    example: r#"{
        "legs": [
            { "ground_speed_kt": 178, "track_deg": 178 },
            { "ground_speed_kt": 185, "track_deg": 82 },
            { "ground_speed_kt": 188, "track_deg": 355 },
            { "ground_speed_kt": 184, "track_deg": 265 }
        ],
        "ias_kt": 168, "pressure_altitude_ft": 6000, "oat_c": 5
    }"#,
    compute,
};

struct Input {
    legs: Vec<Leg>,
    indicated_kt: Option<f64>,
    altitude: Option<PressureAltitude>,
    temperature: Option<Temperature>,
}

#[derive(Serialize)]
struct Answer {
    tas_kt: f64,
    tas_se_kt: Option<f64>,
    wind_speed_kt: f64,
    wind_from_deg: f64,
    headings_deg: Vec<f64>,
    residual_rms_kt: f64,
    residual_sd_kt: Option<f64>,
    dilution: f64,
    three_leg: ThreeLeg,
    #[serde(skip_serializing_if = "Option::is_none")]
    cas_kt: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    position_correction_kt: Option<f64>,
}

#[derive(Serialize)]
struct ThreeLeg {
    mean_tas_kt: Option<f64>,
    sample_sd_tas_kt: Option<f64>,
    solutions: Vec<ThreeLegSolution>,
    undetermined: Vec<[usize; 3]>,
}

#[derive(Serialize)]
struct ThreeLegSolution {
    legs: [usize; 3],
    tas_kt: f64,
    wind_speed_kt: f64,
    wind_from_deg: f64,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    let input = read(input)?;
    let solved = solve_legs(&input.legs).map_err(refused)?;
    let found = &solved.solution;
    let calibrated_kt = match input.altitude {
        None => None,
        Some(altitude) => Some(calibrated(found, altitude, input.temperature)?.knots()),
    };
    let knots = |m_s: f64| GroundSpeed::from_metres_per_second(m_s).knots();
    answer(&Answer {
        tas_kt: found.true_airspeed.knots(),
        tas_se_kt: solved.true_airspeed_se_m_s.map(knots),
        wind_speed_kt: found.wind_speed.knots(),
        wind_from_deg: found.wind_from.degrees_of_turn(),
        headings_deg: input.legs.iter().map(|leg| found.heading(leg).degrees_of_turn()).collect(),
        residual_rms_kt: knots(solved.residual_rms_m_s),
        residual_sd_kt: solved.residual_sd_m_s.map(knots),
        dilution: found.dilution,
        three_leg: three_leg(&input.legs),
        cas_kt: calibrated_kt,
        position_correction_kt: calibrated_kt
            .zip(input.indicated_kt)
            .map(|(calibrated, indicated)| calibrated - indicated),
    })
}

fn read(input: &Value) -> Result<Input, Refused> {
    let mut reader = Reader::object(input);
    let legs = reader.array("legs", 3, |leg| {
        let ground_speed_kt = leg.required_number("ground_speed_kt", above_up_to(0.0, 1000.0));
        let track_deg = leg.required_number("track_deg", 0.0..=360.0);
        Some(Leg {
            ground_speed: GroundSpeed::from_knots(ground_speed_kt?),
            track: Angle::from_degrees(track_deg?),
        })
    });
    if let Some(count) = legs.as_ref().map(Vec::len).filter(|count| *count > MOST_LEGS) {
        reader.fault(
            "legs",
            FaultCode::TooMany,
            format!("legs has {count} items; at most {MOST_LEGS} are taken."),
        );
    }
    let indicated_kt = reader.optional_number("ias_kt", above_up_to(0.0, 1000.0));
    let altitude_ft = reader.optional_number("pressure_altitude_ft", PRESSURE_ALTITUDES_FT);
    let oat_c = reader.optional_number("oat_c", AIR_TEMPERATURES_C);
    for name in ["ias_kt", "oat_c"] {
        if reader.has(name) && !reader.has("pressure_altitude_ft") {
            reader.fault(
                "pressure_altitude_ft",
                FaultCode::Missing,
                format!(
                    "pressure_altitude_ft is missing; {name} can only be used together with it."
                ),
            );
        }
    }
    reader.finish(|| {
        Some(Input {
            legs: legs?,
            indicated_kt: indicated_kt?,
            altitude: altitude_ft?.map(PressureAltitude::from_feet),
            temperature: oat_c?.map(Temperature::from_celsius),
        })
    })
}

fn calibrated(
    found: &AirspeedAndWind,
    altitude: PressureAltitude,
    temperature: Option<Temperature>,
) -> Result<CalibratedAirspeed, Refused> {
    let air = Air::at(altitude, temperature).map_err(|outside| {
        Refused::because(
            "pressure_altitude_ft",
            FaultCode::OutOfRange,
            format!("The pressure altitude is outside the method: {outside}."),
        )
    })?;
    let speeds = Airspeeds::from_true(found.true_airspeed, air).map_err(|beyond| {
        Refused::because(
            "legs",
            FaultCode::OutOfRange,
            format!("The true airspeed of these legs is outside the method: {beyond}."),
        )
    })?;
    Ok(speeds.calibrated)
}

fn three_leg(legs: &[Leg]) -> ThreeLeg {
    let mut solutions = Vec::new();
    let mut undetermined = Vec::new();
    for choice in three_leg_choices(legs.len()) {
        let numbers = choice.map(|index| index + 1);
        match solve_three_legs(choice.map(|index| legs[index])) {
            Some(found) => solutions.push(ThreeLegSolution {
                legs: numbers,
                tas_kt: found.true_airspeed.knots(),
                wind_speed_kt: found.wind_speed.knots(),
                wind_from_deg: found.wind_from.degrees_of_turn(),
            }),
            None => undetermined.push(numbers),
        }
    }
    let count = solutions.len() as f64;
    let sum: f64 = solutions.iter().map(|solution| solution.tas_kt).sum();
    let mean = (count > 0.0).then(|| sum / count);
    let sample_sd = mean.filter(|_| count > 1.0).map(|mean| {
        let squares: f64 = solutions.iter().map(|solution| (solution.tas_kt - mean).powi(2)).sum();
        (squares / (count - 1.0)).sqrt()
    });
    ThreeLeg { mean_tas_kt: mean, sample_sd_tas_kt: sample_sd, solutions, undetermined }
}

fn refused(error: LegsError) -> Refused {
    let (code, why) = match error {
        LegsError::Undetermined => (
            FaultCode::Undetermined,
            "These legs do not determine airspeed and wind: their tracks are too alike, or lie along one line. Fly legs \
             spread over the compass, such as three tracks 120° apart."
                .to_owned(),
        ),
        LegsError::WindFasterThanAircraft => (
            FaultCode::Inconsistent,
            "These legs give a wind that is faster than the aircraft. Look for a mistaken track or ground speed, and for \
             legs that were not flown at one airspeed."
                .to_owned(),
        ),
        LegsError::Fit(error) => (
            FaultCode::NoConvergence,
            format!("Airspeed and wind could not be fitted to these legs: {error}. Look for a mistaken leg."),
        ),
    };
    Refused::because("legs", code, why)
}
