//! The flutter margin of two modes over dynamic pressure, and where its trend would come to zero.

mod margin;
mod onset;
#[cfg(test)]
mod tests;

pub use margin::{FlutterMode, flutter_margin};
pub use onset::{CONFIDENCE, FEWEST_FOR_PARABOLA, MarginTrend, Onset, fit_margin_trend};

use quantities::{EquivalentAirspeed, Frequency, Pressure};
use serde::Serialize;
use serde_json::Value;

use crate::airspeed::dynamic_pressure;
use crate::atmosphere::sea_level_density;
use crate::catalogue::{FaultCode, Field, Refused, Topic, answer};
use crate::input::{Reader, above_up_to};
use crate::least_squares::{fit_line, percent_beyond};

/// The margin is a curve over dynamic pressure at one density only. How much may differ is our own choice.
const LARGEST_DENSITY_SPREAD: f64 = 0.10;

/// Structural damping of 0.03, told as a damping ratio: a figure that flutter work often draws its line at.
const DAMPING_RATIO_OF_G_0_03: f64 = 0.015;

/// A line of damping that falls by less than this from standstill to the highest speed is level but for rounding.
const SMALLEST_FALL: f64 = 1e-9;

/// What is said with every answer.
const CAUTION: &str = "Trends below the onset can't be extrapolated reliably: damping may fall away within a few knots, and \
                       modes that were not measured are not in here. The figure clears no speed; each step waits for people.";

/// The topic `flutter-margin`.
pub static TOPIC: Topic = Topic {
    name: "flutter-margin",
    version: 1,
    title: "Flutter margin and where its trend ends",
    gives: "The flutter margin of two modes at each speed, the speed at which its trend over dynamic pressure comes to zero \
            with a 95 % confidence interval, and how far beyond the tested speeds that is. Beside it, the straight-line trend \
            of each mode's damping.",
    valid_range: "Two modes that may flutter with each other, measured at three or more speeds at about one density (within \
                  10 %), both still damped. With three points the trend is a straight line, with more a parabola. Trends \
                  below the onset can't be extrapolated reliably: damping may fall away within a few knots, and modes that \
                  were not measured are not in here. The figure clears no speed; flutter expansion waits for people between \
                  steps.",
    inputs: &[
        Field::required("points", "list", "3 or more speeds"),
        Field::required("points[].eas_kt", "kt", "equivalent airspeed"),
        Field::required(
            "points[].density_ratio",
            "ratio",
            "density of the air over that at sea level",
        ),
        Field::required(
            "points[].modes",
            "list",
            "exactly the two modes, in the same order at each speed",
        ),
        Field::required(
            "points[].modes[].frequency_hz",
            "Hz",
            "natural frequency of the mode, which is damping's natural_frequency_hz",
        ),
        Field::required(
            "points[].modes[].damping_ratio",
            "ratio",
            "share of critical damping, zero or more",
        ),
    ],
    outputs: &[
        Field::required("margins[].eas_kt", "kt", "equivalent airspeed of the point"),
        Field::required("margins[].dynamic_pressure_pa", "Pa", "dynamic pressure there"),
        Field::required(
            "margins[].margin",
            "1/s4",
            "flutter margin there: positive while both modes are stable, zero at the onset",
        ),
        Field::required("trend", "text", "parabola or straight-line"),
        Field::required(
            "coefficients",
            "list",
            "constant, slope and curvature of the margin over dynamic pressure in Pa",
        ),
        Field::required(
            "r_squared",
            "ratio",
            "share of the margins' scatter that the trend explains; null for margins all alike",
        ),
        Field::required(
            "flutter_eas_kt",
            "kt",
            "equivalent airspeed at which the trend comes to zero; null if it does not within three times the highest speed tested, which is no freedom from flutter",
        ),
        Field::required(
            "low",
            "kt",
            "lower end of its 95 % confidence interval, not below the lowest tested speed; null as above",
        ),
        Field::required(
            "high",
            "kt",
            "upper end; null as above, or if it is beyond three times flutter_eas_kt",
        ),
        Field::required(
            "flutter_dynamic_pressure_pa",
            "Pa",
            "dynamic pressure at flutter_eas_kt; null as above",
        ),
        Field::required(
            "extrapolated_by_percent",
            "%",
            "how far flutter_eas_kt is beyond the highest tested speed; null as above",
        ),
        Field::required(
            "damping_trends",
            "list",
            "for each mode slope_per_kt and intercept of the damping ratio's straight line, and the speeds zero_damping_eas_kt and structural_damping_0_03_eas_kt at which it comes to zero and to 0.015; null if damping does not fall",
        ),
        Field::required("caution", "text", "what the figures are not"),
    ],
    equations: &[
        "root of a mode: β = −ζ ω_n, ω = ω_n √(1 − ζ²) with ω_n = 2π · frequency",
        "margin = [(ω2² − ω1²)/2 + (β2² − β1²)/2]² + 4 β1 β2 [(ω2² + ω1²)/2 + 2 ((β2 + β1)/2)²] − [(β2 − β1)/(β2 + β1) · (ω2² − ω1²)/2 + 2 ((β2 + β1)/2)²]²",
        "dynamic pressure q = ½ ρ0 EAS²",
        "least-squares trend margin = c0 + c1 q + c2 q²; onset where it is zero; interval where the sides of its 95 % confidence band are zero",
        "straight line of damping ratio over equivalent airspeed for each mode",
    ],
    sources: &[
        "N. H. Zimmerman and J. T. Weissenburger, \"Prediction of Flutter Onset Speed Based on Flight Testing at Subcritical Speeds\", Journal of Aircraft 1 (4), 1964; closed form from memory, confirmed against Routh's criterion",
        "The limit on the spread of density is our own choice",
    ],
    published: &[("flutter_margin.toml", include_str!("../published/flutter_margin.toml"))],
    example: r#"{
        "points": [
            { "eas_kt": 60, "density_ratio": 0.86, "modes": [{ "frequency_hz": 4.97, "damping_ratio": 0.021 }, { "frequency_hz": 8.72, "damping_ratio": 0.018 }] },
            { "eas_kt": 75, "density_ratio": 0.86, "modes": [{ "frequency_hz": 5.05, "damping_ratio": 0.024 }, { "frequency_hz": 8.36, "damping_ratio": 0.020 }] },
            { "eas_kt": 88, "density_ratio": 0.86, "modes": [{ "frequency_hz": 5.23, "damping_ratio": 0.027 }, { "frequency_hz": 7.98, "damping_ratio": 0.021 }] },
            { "eas_kt": 100, "density_ratio": 0.86, "modes": [{ "frequency_hz": 5.52, "damping_ratio": 0.029 }, { "frequency_hz": 7.52, "damping_ratio": 0.020 }] },
            { "eas_kt": 105, "density_ratio": 0.86, "modes": [{ "frequency_hz": 5.70, "damping_ratio": 0.030 }, { "frequency_hz": 7.28, "damping_ratio": 0.019 }] }
        ]
    }"#,
    compute,
};

struct Point {
    airspeed: EquivalentAirspeed,
    density_ratio: f64,
    modes: [FlutterMode; 2],
}

impl Point {
    fn pressure_pa(&self) -> f64 {
        dynamic_pressure(self.airspeed).pascals()
    }
}

#[derive(Serialize)]
struct Answer {
    margins: Vec<Margin>,
    trend: &'static str,
    coefficients: [f64; 3],
    r_squared: Option<f64>,
    flutter_eas_kt: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    flutter_dynamic_pressure_pa: Option<f64>,
    extrapolated_by_percent: Option<f64>,
    damping_trends: Vec<DampingTrend>,
    caution: &'static str,
}

#[derive(Serialize)]
struct Margin {
    eas_kt: f64,
    dynamic_pressure_pa: f64,
    margin: f64,
}

#[derive(Serialize)]
struct DampingTrend {
    slope_per_kt: f64,
    intercept: f64,
    zero_damping_eas_kt: Option<f64>,
    structural_damping_0_03_eas_kt: Option<f64>,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    let points = read(input)?;
    let margins: Vec<Margin> = points
        .iter()
        .map(|point| Margin {
            eas_kt: point.airspeed.knots(),
            dynamic_pressure_pa: point.pressure_pa(),
            margin: flutter_margin(&point.modes[0], &point.modes[1]),
        })
        .collect();
    refuse_past_onset(&margins)?;
    let (pressures, sizes): (Vec<f64>, Vec<f64>) =
        margins.iter().map(|margin| (margin.dynamic_pressure_pa, margin.margin)).unzip();
    let trend = fit_margin_trend(&pressures, &sizes).map_err(|_| too_few_speeds())?;
    let onset = trend.onset();
    let knots_at = |pressure_pa: f64| airspeed_of(Pressure::from_pascals(pressure_pa)).knots();
    let flutter_eas_kt = onset.map(|onset| knots_at(onset.pressure_pa));
    answer(&Answer {
        trend: if trend.fit.parameters.len() == 3 { "parabola" } else { "straight-line" },
        coefficients: trend.coefficients(),
        r_squared: trend.fit.r_squared(),
        flutter_eas_kt,
        low: onset.and_then(|onset| onset.low_pa).map(knots_at),
        high: onset.and_then(|onset| onset.high_pa).map(knots_at),
        flutter_dynamic_pressure_pa: onset.map(|onset| onset.pressure_pa),
        extrapolated_by_percent: flutter_eas_kt
            .and_then(|knots| percent_beyond(knots, margins.iter().map(|margin| margin.eas_kt))),
        damping_trends: vec![damping_trend(&points, 0)?, damping_trend(&points, 1)?],
        caution: CAUTION,
        margins,
    })
}

/// The straight line of one mode's damping over equivalent airspeed.
fn damping_trend(points: &[Point], mode: usize) -> Result<DampingTrend, Refused> {
    let (speeds, ratios): (Vec<f64>, Vec<f64>) = points
        .iter()
        .map(|point| (point.airspeed.knots(), point.modes[mode].damping_ratio))
        .unzip();
    let fit = fit_line(&speeds, &ratios).map_err(|_| too_few_speeds())?;
    let (intercept, slope) = (fit.parameters[0], fit.parameters[1]);
    let falls = -slope * speeds.iter().copied().fold(0.0, f64::max) > SMALLEST_FALL;
    let speed_at = |ratio: f64| falls.then(|| (ratio - intercept) / slope);
    Ok(DampingTrend {
        slope_per_kt: slope,
        intercept,
        zero_damping_eas_kt: speed_at(0.0),
        structural_damping_0_03_eas_kt: speed_at(DAMPING_RATIO_OF_G_0_03),
    })
}

/// The inverse of [`dynamic_pressure`].
fn airspeed_of(pressure: Pressure) -> EquivalentAirspeed {
    EquivalentAirspeed::from_metres_per_second(
        (2.0 * pressure.pascals() / sea_level_density().kg_per_m3()).sqrt(),
    )
}

fn refuse_past_onset(margins: &[Margin]) -> Result<(), Refused> {
    let mut faults = Vec::new();
    for (index, margin) in margins.iter().enumerate() {
        if margin.margin > 0.0 {
            continue;
        }
        let why = format!(
            "At {:.1} kt the flutter margin is {:.4e}, so these modes are at the onset or past it. There is nothing left to \
             extrapolate; go no faster.",
            margin.eas_kt, margin.margin
        );
        faults.extend(
            Refused::because(format!("points[{index}]"), FaultCode::Inconsistent, why).faults,
        );
    }
    if faults.is_empty() { Ok(()) } else { Err(Refused { faults }) }
}

fn too_few_speeds() -> Refused {
    Refused::because(
        "points",
        FaultCode::Undetermined,
        "The points lie at too few different speeds to show a trend. Measure at three or more.",
    )
}

fn read(input: &Value) -> Result<Vec<Point>, Refused> {
    let mut reader = Reader::object(input);
    let points = reader.array("points", 3, |point| {
        let eas_kt = point.required_number("eas_kt", above_up_to(0.0, 660.0));
        let density_ratio = point.required_number("density_ratio", above_up_to(0.0, 1.5));
        let modes = point.array("modes", 2, |mode| {
            let frequency_hz = mode.required_number("frequency_hz", above_up_to(0.0, 1.0e4));
            let damping_ratio = read_damping(mode);
            Some(FlutterMode {
                natural_frequency: Frequency::from_hertz(frequency_hz?),
                damping_ratio: damping_ratio?,
            })
        });
        let modes = modes.and_then(|modes| two_damped(point, modes));
        Some(Point {
            airspeed: EquivalentAirspeed::from_knots(eas_kt?),
            density_ratio: density_ratio?,
            modes: modes?,
        })
    });
    if let Some(points) = &points {
        note_density_spread(&mut reader, points);
    }
    reader.finish(|| points)
}

/// A damping ratio of zero or more; a negative one is told for what it is.
fn read_damping(mode: &mut Reader) -> Option<f64> {
    let ratio = mode.required_number("damping_ratio", -1.0..1.0)?;
    if ratio < 0.0 {
        let path = mode.path_of("damping_ratio");
        mode.fault(
            "damping_ratio",
            FaultCode::OutOfRange,
            format!(
                "{path} is {ratio}: this mode was growing, which is past the onset. There is nothing left to extrapolate; go \
                 no faster."
            ),
        );
    }
    Some(ratio)
}

fn two_damped(point: &mut Reader, modes: Vec<FlutterMode>) -> Option<[FlutterMode; 2]> {
    let count = modes.len();
    let Ok(two) = <[FlutterMode; 2]>::try_from(modes) else {
        if count > 2 {
            point.fault(
                "modes",
                FaultCode::TooMany,
                format!(
                    "{} has {count} items; exactly two modes are taken.",
                    point.path_of("modes")
                ),
            );
        }
        return None;
    };
    if two.iter().all(|mode| mode.damping_ratio == 0.0) {
        point.fault(
            "modes",
            FaultCode::Inconsistent,
            format!(
                "Both modes of {} are without damping, so the margin is not defined.",
                point.path_of("modes")
            ),
        );
        return None;
    }
    Some(two)
}

fn note_density_spread(reader: &mut Reader, points: &[Point]) {
    let ratios = points.iter().map(|point| point.density_ratio);
    let (lowest, highest) = ratios
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), one| (low.min(one), high.max(one)));
    if highest > lowest * (1.0 + LARGEST_DENSITY_SPREAD) {
        reader.fault(
            "points",
            FaultCode::Inconsistent,
            format!(
                "The density ratios run from {lowest} to {highest}; at most 10 % apart are taken as one trend. Give the points \
                 of each altitude by themselves."
            ),
        );
    }
}
