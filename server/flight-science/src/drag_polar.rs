//! The drag polar from level flight at several speeds, and the speeds that follow from it.

mod polar;
#[cfg(test)]
mod tests;

pub(crate) use polar::weight_n;
pub use polar::{Coefficients, DragPolar, FittedPolar, LevelFlightPoint, PolarError, fit_polar};

use quantities::{Area, Density, EquivalentAirspeed, Length, Mass, Power, TrueAirspeed};
use serde::Serialize;
use serde_json::Value;

use crate::catalogue::{FaultCode, Field, Refused, Topic, answer};
use crate::input::{Reader, above_up_to};
use crate::least_squares::{FitError, percent_beyond};

/// No wing without high-lift devices flies at more; a point beyond has a mistaken figure in it.
const LARGEST_LIFT_COEFFICIENT: f64 = 3.0;

/// The topic `drag-polar`.
pub static TOPIC: Topic = Topic {
    name: "drag-polar",
    version: 1,
    title: "Drag polar from level flight",
    gives: "Zero-lift drag and induced drag factor with their standard errors, Oswald's factor, the best glide ratio with \
            its speed and the speed of least power, from the thrust power needed in level flight at three or more speeds.",
    valid_range: "Steady level flight at load factor one in one configuration, below about Mach 0.5, at lift coefficients \
                  where the drag is parabolic: not near the stall. Speeds outside the tested ones are told as extrapolated.",
    inputs: &[
        Field::required("wing_area_m2", "m2", "reference wing area"),
        Field::required("span_m", "m", "wing span"),
        Field::required("points", "list", "3 or more points of steady level flight"),
        Field::required("points[].tas_kt", "kt", "true airspeed, up to 330"),
        Field::required("points[].density_kg_m3", "kg/m3", "density of the air"),
        Field::required("points[].mass_kg", "kg", "mass of the aircraft at the point"),
        Field::required(
            "points[].thrust_power_kw",
            "kW",
            "thrust times true airspeed: shaft power times propeller efficiency",
        ),
        Field::optional(
            "reference_mass_kg",
            "kg",
            "mass that the speeds are given for; without it the mean of the points",
        ),
    ],
    outputs: &[
        Field::required("cd0", "ratio", "drag coefficient at zero lift"),
        Field::required("cd0_se", "ratio", "its standard error"),
        Field::required("k", "ratio", "factor of the square of the lift coefficient"),
        Field::required("k_se", "ratio", "its standard error"),
        Field::required("oswald", "ratio", "Oswald's efficiency factor"),
        Field::required(
            "r_squared",
            "ratio",
            "share of the scatter of the drag coefficients that the line explains",
        ),
        Field::required(
            "residual_sd_cd",
            "ratio",
            "standard deviation of the drag coefficients about the line",
        ),
        Field::required("reference_mass_kg", "kg", "mass that the speeds are given for"),
        Field::required(
            "best_glide.eas_kt",
            "kt",
            "equivalent airspeed of the best glide ratio at that mass",
        ),
        Field::required("best_glide.ratio", "ratio", "the best ratio of lift to drag"),
        Field::required("best_glide.ratio_se", "ratio", "its standard error"),
        Field::required(
            "best_glide.extrapolated_by_percent",
            "%",
            "how far this speed is outside those tested; 0 inside",
        ),
        Field::required(
            "min_power.eas_kt",
            "kt",
            "equivalent airspeed of least power in level flight at that mass",
        ),
        Field::required(
            "min_power.thrust_power_kw",
            "kW",
            "the least thrust power, in air of sea-level density",
        ),
        Field::required(
            "min_power.extrapolated_by_percent",
            "%",
            "how far this speed is outside those tested; 0 inside",
        ),
        Field::required(
            "points",
            "list",
            "for each point cl, cd, and speed viw_kt and power piw_kw reduced to the reference mass at sea level",
        ),
    ],
    equations: &[
        "C_L = m g / (½ ρ V² S); C_D = thrust power / (½ ρ V³ S)",
        "least-squares straight line C_D = C_D0 + k C_L²",
        "e = S / (π b² k)",
        "best glide ratio 1 / (2 √(C_D0 k)) at C_L² = C_D0 / k; least power at C_L² = 3 C_D0 / k",
        "VIW = V √σ / √(m / m_ref); PIW = P √σ / (m / m_ref)^1.5",
    ],
    sources: &[
        "R. D. Kimberlin, Flight Testing of Fixed-Wing Aircraft, chapter 9 (excerpt seen), for VIW; the exponent of PIW is from memory and follows from P = D V",
        "Parabolic polar and the speeds from it: common practice, checked by a worked problem",
    ],
    published: &[("drag_polar.toml", include_str!("../published/drag_polar.toml"))],
    example: r#"{
        "wing_area_m2": 12.2, "span_m": 10.4, "reference_mass_kg": 600,
        "points": [
            { "tas_kt": 62, "density_kg_m3": 1.155, "mass_kg": 588, "thrust_power_kw": 14.4 },
            { "tas_kt": 75, "density_kg_m3": 1.069, "mass_kg": 584, "thrust_power_kw": 18.2 },
            { "tas_kt": 90, "density_kg_m3": 1.069, "mass_kg": 581, "thrust_power_kw": 26.3 },
            { "tas_kt": 105, "density_kg_m3": 1.130, "mass_kg": 579, "thrust_power_kw": 41.0 }
        ]
    }"#,
    compute,
};

struct Input {
    wing_area: Area,
    span: Length,
    points: Vec<LevelFlightPoint>,
    reference_mass: Option<Mass>,
}

#[derive(Serialize)]
struct Answer {
    cd0: f64,
    cd0_se: Option<f64>,
    k: f64,
    k_se: Option<f64>,
    oswald: f64,
    r_squared: Option<f64>,
    residual_sd_cd: Option<f64>,
    reference_mass_kg: f64,
    best_glide: BestGlide,
    min_power: MinPower,
    points: Vec<Point>,
}

#[derive(Serialize)]
struct BestGlide {
    eas_kt: f64,
    ratio: f64,
    ratio_se: Option<f64>,
    extrapolated_by_percent: Option<f64>,
}

#[derive(Serialize)]
struct MinPower {
    eas_kt: f64,
    thrust_power_kw: f64,
    extrapolated_by_percent: Option<f64>,
}

#[derive(Serialize)]
struct Point {
    cl: f64,
    cd: f64,
    viw_kt: f64,
    piw_kw: f64,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    let input = read(input)?;
    let FittedPolar { polar, fit } = fit_polar(&input.points, input.wing_area).map_err(refused)?;
    let reference = input.reference_mass.unwrap_or_else(|| mean_mass(&input.points));
    let points: Vec<Point> = input
        .points
        .iter()
        .map(|point| {
            let coefficients = point.coefficients(input.wing_area);
            Point {
                cl: coefficients.lift,
                cd: coefficients.drag,
                viw_kt: point.reduced_speed(reference).knots(),
                piw_kw: point.reduced_power(reference).kilowatts(),
            }
        })
        .collect();
    let tested: Vec<f64> = points.iter().map(|point| point.viw_kt).collect();
    let outside = |speed: EquivalentAirspeed| percent_beyond(speed.knots(), tested.iter().copied());
    let best_glide = polar.best_glide_speed(reference);
    let least_power = polar.least_power_speed(reference);
    let ratio = polar.best_glide_ratio();
    // The ratio goes with (C_D0 k)^(-1/2).
    let by_parameters = [-0.5 * ratio / polar.cd0, -0.5 * ratio / polar.k];
    answer(&Answer {
        cd0: polar.cd0,
        cd0_se: fit.standard_error(0),
        k: polar.k,
        k_se: fit.standard_error(1),
        oswald: polar.oswald_factor(input.span),
        r_squared: fit.r_squared(),
        residual_sd_cd: fit.residual_sd(),
        reference_mass_kg: reference.kilograms(),
        best_glide: BestGlide {
            eas_kt: best_glide.knots(),
            ratio,
            ratio_se: fit.standard_error_of(&by_parameters),
            extrapolated_by_percent: outside(best_glide),
        },
        min_power: MinPower {
            eas_kt: least_power.knots(),
            thrust_power_kw: polar.least_power(reference).kilowatts(),
            extrapolated_by_percent: outside(least_power),
        },
        points,
    })
}

fn mean_mass(points: &[LevelFlightPoint]) -> Mass {
    let sum: f64 = points.iter().map(|point| point.mass.kilograms()).sum();
    Mass::from_kilograms(sum / points.len() as f64)
}

fn read(input: &Value) -> Result<Input, Refused> {
    let mut reader = Reader::object(input);
    let wing_area_m2 = reader.required_number("wing_area_m2", above_up_to(0.0, 1000.0));
    let span_m = reader.required_number("span_m", above_up_to(0.0, 100.0));
    let points = reader.array("points", 3, |point| {
        let tas_kt = point.required_number("tas_kt", above_up_to(0.0, 330.0));
        let density_kg_m3 = point.required_number("density_kg_m3", above_up_to(0.0, 2.0));
        let mass_kg = point.required_number("mass_kg", above_up_to(0.0, 100_000.0));
        let thrust_power_kw = point.required_number("thrust_power_kw", above_up_to(0.0, 100_000.0));
        let level = LevelFlightPoint {
            true_airspeed: TrueAirspeed::from_knots(tas_kt?),
            density: Density::from_kg_per_m3(density_kg_m3?),
            mass: Mass::from_kilograms(mass_kg?),
            thrust_power: Power::from_kilowatts(thrust_power_kw?),
        };
        // A faulty wing area is told by itself.
        let lift = level.coefficients(Area::from_square_metres(wing_area_m2?)).lift;
        if lift > LARGEST_LIFT_COEFFICIENT {
            point.fault(
                "tas_kt",
                FaultCode::OutOfRange,
                format!(
                    "This point would need a lift coefficient of {lift:.2}; at most {LARGEST_LIFT_COEFFICIENT} is taken. \
                     Look for a mistaken speed, density, mass or wing area."
                ),
            );
        }
        Some(level)
    });
    let reference_mass_kg = reader.optional_number("reference_mass_kg", 1.0..=100_000.0);
    reader.finish(|| {
        Some(Input {
            wing_area: Area::from_square_metres(wing_area_m2?),
            span: Length::from_metres(span_m?),
            points: points?,
            reference_mass: reference_mass_kg?.map(Mass::from_kilograms),
        })
    })
}

fn refused(error: PolarError) -> Refused {
    match error {
        PolarError::Fit(FitError::Undetermined { .. }) => Refused::because(
            "points",
            FaultCode::Undetermined,
            "All points have the same lift coefficient, so that zero-lift and induced drag can't be told apart. Fly a range \
             of speeds.",
        ),
        PolarError::Fit(error) => Refused::because(
            "points",
            FaultCode::NoConvergence,
            format!("The polar could not be fitted: {error}."),
        ),
        PolarError::NotADrag { .. } => Refused::because(
            "points",
            FaultCode::Inconsistent,
            format!(
                "These are not points of one parabolic polar: {error}. Look for a mistaken point, unsteady flight, or points \
                 too near the stall."
            ),
        ),
    }
}
