//! Climbs at several speeds: true rates, rates at the reference mass, and the speeds of best rate and best angle.

mod ceiling;
mod reduction;
mod speeds;
#[cfg(test)]
mod tests;

pub use ceiling::{CeilingError, RateByAltitude, fit_rate_by_altitude};
pub use reduction::{ClimbError, ClimbPoint, ReducedClimb, energy_rate, tapeline_rate};
pub use speeds::{ClimbCurve, CurveError, fit_climb_curve, gradient_percent};

use quantities::{
    Area, CalibratedAirspeed, ClimbRate, DensityAltitude, Mass, PressureAltitude, Temperature,
};
use serde::Serialize;
use serde_json::Value;

use crate::airspeed::Airspeeds;
use crate::atmosphere::{AIR_TEMPERATURES_C, Air, PRESSURE_ALTITUDES_FT};
use crate::catalogue::{FaultCode, Field, Refused, Topic, answer};
use crate::drag_polar::DragPolar;
use crate::input::{Reader, above_up_to};
use crate::least_squares::{FitError, percent_beyond};

/// Confidence of the interval about the best rate.
const CONFIDENCE: f64 = 0.95;

/// Climbs through another band of altitude are another curve. Our own choice.
const LARGEST_ALTITUDE_SPREAD_FT: f64 = 2_000.0;

/// Without a polar the induced drag's change is left out, which is tolerable for small corrections. Our own choice.
const LARGEST_MASS_CORRECTION: f64 = 0.10;

/// The topic `climb`.
pub static TOPIC: Topic = Topic {
    name: "climb",
    version: 1,
    title: "Climb rates and the best speeds",
    gives: "For each climb the rate in true height and the rate at the reference mass; from all of them the speed and rate \
            of best climb and the speed and gradient of the steepest climb.",
    valid_range: "3 or more steady climbs at three or more speeds through one band of pressure altitude of at most 2,000 ft. \
                  Without a polar the masses are within 10 % of the reference mass, induced drag's change is left out, and a \
                  correction to a greater mass is flattering. Speeds outside those flown are told as extrapolated.",
    inputs: &[
        Field::required("points", "list", "3 or more steady climbs"),
        Field::required("points[].cas_kt", "kt", "calibrated airspeed held"),
        Field::required(
            "points[].climb_rate_fpm",
            "ft/min",
            "rate of climb by the altimeter set to 1013.25 hPa",
        ),
        Field::required("points[].mass_kg", "kg", "mass of the aircraft"),
        Field::required(
            "points[].pressure_altitude_ft",
            "ft",
            "mean pressure altitude of the climb",
        ),
        Field::required("points[].oat_c", "°C", "outside air temperature there"),
        Field::required("reference_mass_kg", "kg", "mass that the rates are corrected to"),
        Field::optional(
            "polar",
            "object",
            "drag polar; with it the correction keeps the lift coefficient and the thrust power",
        ),
        Field::optional("polar.cd0", "ratio", "drag coefficient at zero lift; required in polar"),
        Field::optional(
            "polar.k",
            "ratio",
            "factor of the square of the lift coefficient; required in polar",
        ),
        Field::optional("polar.wing_area_m2", "m2", "wing area; required in polar"),
        Field::optional(
            "best_rates",
            "list",
            "3 or more best rates at several density altitudes, of one mass and power, for the ceilings",
        ),
        Field::optional(
            "best_rates[].density_altitude_ft",
            "ft",
            "density altitude; required in best_rates",
        ),
        Field::optional(
            "best_rates[].climb_rate_fpm",
            "ft/min",
            "best rate there; required in best_rates",
        ),
    ],
    outputs: &[
        Field::required(
            "correction",
            "text",
            "same-lift-coefficient with a polar, else same-excess-power",
        ),
        Field::required("points[].tapeline_rate_fpm", "ft/min", "rate of climb in true height"),
        Field::required(
            "points[].energy_rate_fpm",
            "ft/min",
            "the tapeline rate with what goes into the growth of true airspeed at constant calibrated airspeed",
        ),
        Field::required(
            "points[].corrected_rate_fpm",
            "ft/min",
            "tapeline rate at the reference mass; with a polar also at standard temperature",
        ),
        Field::required(
            "points[].corrected_cas_kt",
            "kt",
            "calibrated airspeed that the corrected rate belongs to",
        ),
        Field::required("best_rate.cas_kt", "kt", "speed of best rate"),
        Field::required("best_rate.climb_rate_fpm", "ft/min", "the best rate"),
        Field::required(
            "best_rate.low_fpm",
            "ft/min",
            "lower end of the best rate's 95 % confidence interval; null for three points",
        ),
        Field::required("best_rate.high_fpm", "ft/min", "upper end; null for three points"),
        Field::required(
            "best_rate.extrapolated_by_percent",
            "%",
            "how far the speed is outside those flown; 0 inside",
        ),
        Field::required("best_angle", "object", "null if the curve has no steepest point"),
        Field::optional("best_angle.cas_kt", "kt", "speed of the steepest climb"),
        Field::optional("best_angle.climb_rate_fpm", "ft/min", "rate there"),
        Field::optional(
            "best_angle.gradient_percent",
            "%",
            "height gained over horizontal distance in still air, at the mean pressure altitude",
        ),
        Field::optional(
            "best_angle.extrapolated_by_percent",
            "%",
            "how far the speed is outside those flown; 0 inside",
        ),
        Field::optional(
            "by_altitude.sea_level_rate_fpm",
            "ft/min",
            "with best_rates: rate at sea level by their straight line",
        ),
        Field::optional(
            "by_altitude.slope_fpm_per_1000ft",
            "ft/min",
            "change of the rate for each 1,000 ft",
        ),
        Field::optional(
            "by_altitude.service_ceiling_ft",
            "ft",
            "density altitude at which 100 ft/min are left",
        ),
        Field::optional(
            "by_altitude.absolute_ceiling_ft",
            "ft",
            "density altitude at which no climb is left",
        ),
        Field::optional(
            "by_altitude.extrapolated_by_percent",
            "%",
            "how far the service ceiling is beyond the altitudes given; 0 between them, null beyond sea level",
        ),
        Field::required(
            "curve",
            "list",
            "the parabola's constant, slope and curvature, in ft/min over kt",
        ),
        Field::required(
            "residual_sd_fpm",
            "ft/min",
            "standard deviation of the rates about the curve; null for three points",
        ),
    ],
    equations: &[
        "tapeline rate = pressure rate · T / T_standard",
        "same excess power: corrected rate = tapeline rate · m / m_ref at the same airspeed",
        "same lift coefficient: corrected rate = (rate · W + D V − D_ref V_ref) / W_ref, with V_ref in standard air at V_e √(m_ref / m) and the drags from the polar",
        "energy rate = tapeline rate · (1 + V/g · dV/dh)",
        "least-squares parabola of corrected rate over calibrated airspeed; best rate at −c1 / (2 c2), best angle at √(c0 / c2)",
        "gradient = tan γ with sin γ = rate / true airspeed",
        "ceilings: least-squares straight line of best rate over density altitude, where 100 ft/min or nothing is left",
    ],
    sources: &[
        "Hydrostatic equation for the tapeline rate; energy height for the energy rate",
        "Steady climb (thrust power − drag · speed) / weight for the correction, thrust power held constant as an electric drive gives it",
        "Quadratic fit of saw-tooth climbs: common practice, no source",
        "The limits of 2,000 ft and 10 % are our own choice",
    ],
    published: &[("climb.toml", include_str!("../published/climb.toml"))],
    example: r#"{
        "reference_mass_kg": 600,
        "points": [
            { "cas_kt": 52, "climb_rate_fpm": 545, "mass_kg": 590, "pressure_altitude_ft": 2500, "oat_c": 14 },
            { "cas_kt": 60, "climb_rate_fpm": 640, "mass_kg": 588, "pressure_altitude_ft": 2500, "oat_c": 14 },
            { "cas_kt": 68, "climb_rate_fpm": 675, "mass_kg": 586, "pressure_altitude_ft": 2600, "oat_c": 13.5 },
            { "cas_kt": 76, "climb_rate_fpm": 640, "mass_kg": 584, "pressure_altitude_ft": 2500, "oat_c": 14 },
            { "cas_kt": 84, "climb_rate_fpm": 560, "mass_kg": 582, "pressure_altitude_ft": 2500, "oat_c": 14 }
        ]
    }"#,
    compute,
};

struct Input {
    points: Vec<ClimbPoint>,
    reference_mass: Mass,
    polar: Option<DragPolar>,
    best_rates: Option<Vec<(DensityAltitude, ClimbRate)>>,
}

#[derive(Serialize)]
struct Answer {
    correction: &'static str,
    points: Vec<Point>,
    best_rate: BestRate,
    best_angle: Option<BestAngle>,
    #[serde(skip_serializing_if = "Option::is_none")]
    by_altitude: Option<ByAltitude>,
    curve: [f64; 3],
    residual_sd_fpm: Option<f64>,
}

#[derive(Serialize)]
struct Point {
    tapeline_rate_fpm: f64,
    energy_rate_fpm: f64,
    corrected_rate_fpm: f64,
    corrected_cas_kt: f64,
}

#[derive(Serialize)]
struct BestRate {
    cas_kt: f64,
    climb_rate_fpm: f64,
    low_fpm: Option<f64>,
    high_fpm: Option<f64>,
    extrapolated_by_percent: Option<f64>,
}

#[derive(Serialize)]
struct BestAngle {
    cas_kt: f64,
    climb_rate_fpm: f64,
    gradient_percent: Option<f64>,
    extrapolated_by_percent: Option<f64>,
}

#[derive(Serialize)]
struct ByAltitude {
    sea_level_rate_fpm: f64,
    slope_fpm_per_1000ft: f64,
    service_ceiling_ft: f64,
    absolute_ceiling_ft: f64,
    extrapolated_by_percent: Option<f64>,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    let input = read(input)?;
    let reduced = reduce(&input)?;
    let corrected: Vec<(CalibratedAirspeed, ClimbRate)> =
        reduced.iter().map(|climb| (climb.corrected_airspeed, climb.corrected_rate)).collect();
    let curve = fit_climb_curve(&corrected).map_err(no_curve)?;
    let beyond = |speed: CalibratedAirspeed| {
        percent_beyond(speed.knots(), corrected.iter().map(|(speed, _)| speed.knots()))
    };
    let best = curve.best_rate_speed();
    let best_fpm = curve.rate(best).feet_per_minute();
    // At the top the rate doesn't change with the speed, so the speed's own uncertainty adds nothing to first order.
    let half_width = curve.fit.confidence_half_width(&ClimbCurve::gradient(best), CONFIDENCE);
    let best_angle = match curve.best_angle_speed() {
        None => None,
        Some(speed) => Some(BestAngle {
            cas_kt: speed.knots(),
            climb_rate_fpm: curve.rate(speed).feet_per_minute(),
            gradient_percent: steepest(&input, speed, curve.rate(speed))?,
            extrapolated_by_percent: beyond(speed),
        }),
    };
    answer(&Answer {
        correction: match input.polar {
            Some(_) => "same-lift-coefficient",
            None => "same-excess-power",
        },
        points: reduced
            .iter()
            .map(|climb| Point {
                tapeline_rate_fpm: climb.tapeline_rate.feet_per_minute(),
                energy_rate_fpm: climb.energy_rate.feet_per_minute(),
                corrected_rate_fpm: climb.corrected_rate.feet_per_minute(),
                corrected_cas_kt: climb.corrected_airspeed.knots(),
            })
            .collect(),
        best_rate: BestRate {
            cas_kt: best.knots(),
            climb_rate_fpm: best_fpm,
            low_fpm: half_width.map(|half| best_fpm - half),
            high_fpm: half_width.map(|half| best_fpm + half),
            extrapolated_by_percent: beyond(best),
        },
        best_angle,
        by_altitude: input.best_rates.as_deref().map(by_altitude).transpose()?,
        curve: curve.coefficients(),
        residual_sd_fpm: curve.fit.residual_sd(),
    })
}

fn by_altitude(rates: &[(DensityAltitude, ClimbRate)]) -> Result<ByAltitude, Refused> {
    let line = fit_rate_by_altitude(rates).map_err(no_ceiling)?;
    let service = line.service_ceiling().feet();
    Ok(ByAltitude {
        sea_level_rate_fpm: line.at_sea_level().feet_per_minute(),
        slope_fpm_per_1000ft: 1_000.0 * line.slope_fpm_per_ft(),
        service_ceiling_ft: service,
        absolute_ceiling_ft: line.absolute_ceiling().feet(),
        extrapolated_by_percent: percent_beyond(
            service,
            rates.iter().map(|(altitude, _)| altitude.feet()),
        ),
    })
}

fn reduce(input: &Input) -> Result<Vec<ReducedClimb>, Refused> {
    let mut faults = Vec::new();
    let mut reduced = Vec::new();
    for (index, point) in input.points.iter().enumerate() {
        match point.reduce(input.reference_mass, input.polar.as_ref()) {
            Ok(climb) => reduced.push(climb),
            Err(error) => {
                let why = format!("This climb is outside the method: {error}.");
                let fault =
                    Refused::because(format!("points[{index}]"), FaultCode::OutOfRange, why);
                faults.extend(fault.faults);
            }
        }
    }
    if faults.is_empty() { Ok(reduced) } else { Err(Refused { faults }) }
}

/// The gradient at the mean altitude: in standard air with a polar, since the rates are corrected to that, else in air of
/// the day's mean temperature.
fn steepest(
    input: &Input,
    speed: CalibratedAirspeed,
    rate: ClimbRate,
) -> Result<Option<f64>, Refused> {
    let mean = |figure: fn(&ClimbPoint) -> f64| {
        input.points.iter().map(figure).sum::<f64>() / input.points.len() as f64
    };
    let altitude = PressureAltitude::from_metres(mean(|point| point.altitude.metres()));
    let temperature = Temperature::from_kelvins(mean(|point| point.temperature.kelvins()));
    let speeds = Air::at(altitude, input.polar.is_none().then_some(temperature))
        .map_err(ClimbError::from)
        .and_then(|air| Ok(Airspeeds::from_calibrated(speed, air)?))
        .map_err(|error| {
            let why = format!("The steepest climb is outside the method: {error}.");
            Refused::because("points", FaultCode::OutOfRange, why)
        })?;
    Ok(gradient_percent(rate, speeds.true_airspeed))
}

fn read(input: &Value) -> Result<Input, Refused> {
    let mut reader = Reader::object(input);
    let points = reader.array("points", 3, |point| {
        let cas_kt = point.required_number("cas_kt", above_up_to(0.0, 330.0));
        let climb_rate_fpm = point.required_number("climb_rate_fpm", -10_000.0..=10_000.0);
        let mass_kg = point.required_number("mass_kg", above_up_to(0.0, 100_000.0));
        let altitude_ft = point.required_number("pressure_altitude_ft", PRESSURE_ALTITUDES_FT);
        let oat_c = point.required_number("oat_c", AIR_TEMPERATURES_C);
        Some(ClimbPoint {
            airspeed: CalibratedAirspeed::from_knots(cas_kt?),
            pressure_rate: ClimbRate::from_feet_per_minute(climb_rate_fpm?),
            mass: Mass::from_kilograms(mass_kg?),
            altitude: PressureAltitude::from_feet(altitude_ft?),
            temperature: Temperature::from_celsius(oat_c?),
        })
    });
    let reference_mass_kg =
        reader.required_number("reference_mass_kg", above_up_to(0.0, 100_000.0));
    let polar = reader.optional_object("polar", |polar| {
        let cd0 = polar.required_number("cd0", above_up_to(0.0, 1.0));
        let k = polar.required_number("k", above_up_to(0.0, 1.0));
        let wing_area_m2 = polar.required_number("wing_area_m2", above_up_to(0.0, 1000.0));
        Some(DragPolar { cd0: cd0?, k: k?, wing_area: Area::from_square_metres(wing_area_m2?) })
    });
    let best_rates = reader.optional_array("best_rates", 3, |rate| {
        let altitude_ft = rate.required_number("density_altitude_ft", PRESSURE_ALTITUDES_FT);
        let climb_rate_fpm = rate.required_number("climb_rate_fpm", -10_000.0..=10_000.0);
        Some((
            DensityAltitude::from_feet(altitude_ft?),
            ClimbRate::from_feet_per_minute(climb_rate_fpm?),
        ))
    });
    if let Some(points) = &points {
        note_altitude_spread(&mut reader, points);
        if let (Some(reference_mass_kg), Some(None)) = (reference_mass_kg, polar) {
            note_large_mass_corrections(&mut reader, points, reference_mass_kg);
        }
    }
    reader.finish(|| {
        Some(Input {
            points: points?,
            reference_mass: Mass::from_kilograms(reference_mass_kg?),
            polar: polar?,
            best_rates: best_rates?,
        })
    })
}

fn note_altitude_spread(reader: &mut Reader, points: &[ClimbPoint]) {
    let altitudes = points.iter().map(|point| point.altitude.feet());
    let (lowest, highest) = altitudes
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), one| (low.min(one), high.max(one)));
    let spread = highest - lowest;
    if spread > LARGEST_ALTITUDE_SPREAD_FT {
        reader.fault(
            "points",
            FaultCode::Inconsistent,
            format!(
                "The climbs lie {spread:.0} ft of pressure altitude apart; at most {LARGEST_ALTITUDE_SPREAD_FT:.0} ft are \
                 taken as one curve. Reduce each altitude by itself."
            ),
        );
    }
}

fn note_large_mass_corrections(reader: &mut Reader, points: &[ClimbPoint], reference_mass_kg: f64) {
    let largest = points
        .iter()
        .map(|point| (point.mass.kilograms() / reference_mass_kg - 1.0).abs())
        .fold(0.0, f64::max);
    if largest > LARGEST_MASS_CORRECTION {
        reader.fault(
            "reference_mass_kg",
            FaultCode::OutOfRange,
            format!(
                "A mass differs from reference_mass_kg by {:.0} %. Without a polar at most 10 % are corrected; give polar, or \
                 a reference mass nearer to those flown.",
                100.0 * largest
            ),
        );
    }
}

fn no_ceiling(error: CeilingError) -> Refused {
    let (code, why) = match error {
        CeilingError::Fit(FitError::Undetermined { .. }) => (
            FaultCode::Undetermined,
            "The best rates are of one altitude, which shows no change with altitude. Give several altitudes.".to_owned(),
        ),
        CeilingError::Fit(error) => {
            (FaultCode::NoConvergence, format!("The line of best rates could not be fitted: {error}."))
        }
        CeilingError::NotFalling => (
            FaultCode::Inconsistent,
            "These best rates do not fall with altitude, so they show no ceiling. Look for a mistaken figure, or for \
             different mass or power."
                .to_owned(),
        ),
    };
    Refused::because("best_rates", code, why)
}

fn no_curve(error: CurveError) -> Refused {
    let (code, why) = match error {
        CurveError::Fit(FitError::Undetermined { .. }) => (
            FaultCode::Undetermined,
            "The climbs were flown at fewer than three different speeds, which do not determine a curve. Fly at least one \
             slower and one faster."
                .to_owned(),
        ),
        CurveError::Fit(error) => {
            (FaultCode::NoConvergence, format!("The curve could not be fitted: {error}."))
        }
        CurveError::NoHighestRate => (
            FaultCode::Undetermined,
            "These climb rates have no highest point between a slow and a fast side, so they do not determine a best speed. \
             Fly speeds on both sides of it, and look for a mistaken point."
                .to_owned(),
        ),
    };
    Refused::because("points", code, why)
}
