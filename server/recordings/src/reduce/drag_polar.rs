//! The drag polar from steady level flight and steady glides.

use flight_science::airspeed::Airspeeds;
use flight_science::atmosphere::Air;
use flight_science::catalogue::{FaultCode, Field};
use flight_science::climb::tapeline_rate;
use flight_science::input::{Reader, above_up_to};
use quantities::units::STANDARD_GRAVITY_M_PER_S2;
use quantities::{CalibratedAirspeed, ClimbRate, PressureAltitude, Temperature};
use serde_json::json;

use super::climb::steady_paths;
use super::recorded::Recorded;
use super::stretches::{Wanted, line};
use super::{CannotReduce, Figure, Interval, Prepared, Reason, Reduction, Role, Stretch};

const SECONDS_PER_MINUTE: f64 = 60.0;
const WATTS_PER_KILOWATT: f64 = 1000.0;

/// With fewer points no polar is determined.
const FEWEST_POINTS: usize = 3;

/// On a steeper path lift is no longer nearly the weight: at a sine of 0.2 it is 2 % less. Our own choice.
const STEEPEST_SINE: f64 = 0.2;

/// The reduction `drag-polar`.
pub(super) static REDUCTION: Reduction = Reduction {
    name: "drag-polar",
    version: 1,
    topic: "drag-polar",
    title: "Drag polar from level flight and glides",
    gives: "Finds stretches of steady flight, level or descending, and gives zero-lift drag, induced drag factor, best glide and \
            least power from them. Without a power channel the stretches have to be glides with the motor off, and the drag of \
            the standing or turning propeller is in the polar.",
    steps: &[
        "A point is a stretch in which calibrated airspeed and rate of climb (over 10 s about each moment) stay within their \
         tolerances of the stretch's medians, that lasts at least shortest_point_s, on a path of at most 11.5° up or down.",
        "Power that overcomes drag = shaft power · propeller_efficiency − m g dh/dt − m V dV/dt, with dh/dt in true height from \
         the slope of pressure altitude, and dV/dt from the slope of calibrated airspeed and of the density.",
        "True airspeed and density follow from the means of calibrated airspeed, pressure altitude and temperature.",
    ],
    needs: &[
        Role::required("cas", "kt", "Calibrated airspeed."),
        Role::required("palt", "ft", "Pressure altitude."),
        Role::required("oat", "degC", "Outside air temperature."),
        Role::optional(
            "shaft_power",
            "kW",
            "Shaft power; without it the motor has to be off. Needs propeller_efficiency.",
        ),
    ],
    given: &[
        Field::required("mass_kg", "kg", "Mass of the aircraft."),
        Field::required("wing_area_m2", "m2", "Reference wing area."),
        Field::required("span_m", "m", "Wing span."),
        Field::optional(
            "propeller_efficiency",
            "ratio",
            "Thrust power over shaft power, up to 1; required with shaft_power.",
        ),
        Field::optional(
            "reference_mass_kg",
            "kg",
            "Mass that the speeds are given for; mass_kg when absent.",
        ),
        Field::optional(
            "shortest_point_s",
            "s",
            "A point lasts at least so long, 10 to 600; 20 when absent.",
        ),
        Field::optional(
            "speed_tolerance_kt",
            "kt",
            "Airspeed may be so far off, up to 20; 2 when absent.",
        ),
        Field::optional(
            "rate_tolerance_fpm",
            "ft/min",
            "Rate of climb may be so far off, up to 1,000; 100 when absent.",
        ),
    ],
    figures: &[
        Figure { pointer: "/best_glide/ratio", unit: "1", meaning: "best ratio of glide" },
        Figure {
            pointer: "/best_glide/eas_kt",
            unit: "kt",
            meaning: "equivalent airspeed of the best glide",
        },
        Figure { pointer: "/cd0", unit: "1", meaning: "drag coefficient at zero lift" },
    ],
    most_missing: 0.05,
    prepare,
};

struct Given {
    mass_kg: f64,
    wing_area_m2: f64,
    span_m: f64,
    propeller_efficiency: Option<f64>,
    reference_mass_kg: Option<f64>,
    shortest_point_s: f64,
    speed_tolerance_kt: f64,
    rate_tolerance_fpm: f64,
}

fn read(recorded: &Recorded<'_>) -> Result<Given, CannotReduce> {
    let mut reader = Reader::object(recorded.given);
    let mass = reader.required_number("mass_kg", above_up_to(0.0, 100_000.0));
    let area = reader.required_number("wing_area_m2", above_up_to(0.0, 1000.0));
    let span = reader.required_number("span_m", above_up_to(0.0, 100.0));
    let efficiency = reader.optional_number("propeller_efficiency", above_up_to(0.0, 1.0));
    let powered = recorded.if_played("shaft_power").is_some();
    if powered && !reader.has("propeller_efficiency") {
        reader.fault(
            "propeller_efficiency",
            FaultCode::Missing,
            "propeller_efficiency is missing; with a channel for shaft_power it has to be given.",
        );
    }
    if !powered && reader.has("propeller_efficiency") {
        reader.fault(
            "propeller_efficiency",
            FaultCode::Inconsistent,
            "propeller_efficiency is given, but no channel is named for shaft_power. Name one, or leave it out for glides.",
        );
    }
    let reference = reader.optional_number("reference_mass_kg", 1.0..=100_000.0);
    let shortest = reader.optional_number("shortest_point_s", 10.0..=600.0);
    let speed = reader.optional_number("speed_tolerance_kt", above_up_to(0.0, 20.0));
    let rate = reader.optional_number("rate_tolerance_fpm", above_up_to(0.0, 1_000.0));
    Ok(reader.finish(|| {
        Some(Given {
            mass_kg: mass?,
            wing_area_m2: area?,
            span_m: span?,
            propeller_efficiency: efficiency?,
            reference_mass_kg: reference?,
            shortest_point_s: shortest?.unwrap_or(20.0),
            speed_tolerance_kt: speed?.unwrap_or(2.0),
            rate_tolerance_fpm: rate?.unwrap_or(100.0),
        })
    })?)
}

fn prepare(recorded: &Recorded<'_>) -> Result<Prepared, CannotReduce> {
    let given = read(recorded)?;
    let (cas, palt) = (recorded.of("cas")?, recorded.of("palt")?);
    let wanted = Wanted {
        shortest_s: given.shortest_point_s,
        settle_s: 0.0,
        gap_s: palt.gap_s.max(cas.gap_s),
    };
    let found = steady_paths(
        palt,
        cas,
        wanted,
        given.speed_tolerance_kt,
        given.rate_tolerance_fpm / SECONDS_PER_MINUTE,
    );
    let (mut points, mut stretches) = (Vec::new(), Vec::new());
    for over in found {
        let Some(point) = point(recorded, &given, over)? else { continue };
        points.push(json!({
            "tas_kt": point.tas_kt,
            "density_kg_m3": point.density_kg_m3,
            "mass_kg": given.mass_kg,
            "thrust_power_kw": point.thrust_power_kw,
        }));
        stretches.push(Stretch::with(
            over,
            [
                ("tas_kt", point.tas_kt),
                ("density_kg_m3", point.density_kg_m3),
                ("thrust_power_kw", point.thrust_power_kw),
                ("climb_rate_fpm", point.climb_rate_fpm),
            ],
        ));
    }
    if points.len() < FEWEST_POINTS {
        return Err(Reason::TooFewStretches {
            found: points.len(),
            wanted: FEWEST_POINTS,
            what: "steady points",
            how: format!(
                "A point holds airspeed within ±{} kt and rate of climb within ±{} ft/min for at least {} s on a path of at \
                 most 11.5°, with every channel recorded.",
                given.speed_tolerance_kt, given.rate_tolerance_fpm, given.shortest_point_s
            ),
        }
        .into());
    }
    Ok(Prepared {
        input: json!({
            "wing_area_m2": given.wing_area_m2,
            "span_m": given.span_m,
            "reference_mass_kg": given.reference_mass_kg.unwrap_or(given.mass_kg),
            "points": points,
        }),
        stretches,
    })
}

struct Point {
    tas_kt: f64,
    density_kg_m3: f64,
    thrust_power_kw: f64,
    climb_rate_fpm: f64,
}

/// What a stretch says of the drag; nothing where its readings are incomplete or its path is too steep.
///
/// # Source
///
/// Work and energy: thrust power less drag power is the growth of height and speed energy,
/// `P_thrust − D V = m g dh/dt + m V dV/dt`.
fn point(
    recorded: &Recorded<'_>,
    given: &Given,
    over: Interval,
) -> Result<Option<Point>, CannotReduce> {
    let (cas, palt, oat) = (recorded.of("cas")?, recorded.of("palt")?, recorded.of("oat")?);
    let means = [cas, palt, oat].map(|present| recorded.mean(present, over));
    let lines = [cas, palt, oat].map(|present| line(recorded, present, over));
    let (
        [Some(cas_kt), Some(palt_ft), Some(oat_c)],
        [Some(cas_line), Some(palt_line), Some(oat_line)],
    ) = (means, lines)
    else {
        return Ok(None);
    };
    let power_kw = match recorded.if_played("shaft_power") {
        None => Some(0.0),
        Some(present) => recorded.mean(present, over),
    };
    let Some(power_kw) = power_kw else { return Ok(None) };
    let outside = |why: &dyn std::fmt::Display| {
        Reason::NotInTheInterval(format!("A stretch of the interval is outside the method: {why}."))
    };
    // True airspeed half a second before and after the middle, which gives its change in a second.
    let speeds = |by_s: f64| -> Result<(Airspeeds, Air), CannotReduce> {
        let air = Air::at(
            PressureAltitude::from_feet(palt_ft + by_s * palt_line.per_s),
            Some(Temperature::from_celsius(oat_c + by_s * oat_line.per_s)),
        )
        .map_err(|error| outside(&error))?;
        let calibrated = CalibratedAirspeed::from_knots(cas_kt + by_s * cas_line.per_s);
        Ok((Airspeeds::from_calibrated(calibrated, air).map_err(|error| outside(&error))?, air))
    };
    let (middle, air) = speeds(0.0)?;
    let speed_m_s = middle.true_airspeed.metres_per_second();
    let gained_m_s2 = speeds(0.5)?.0.true_airspeed.metres_per_second()
        - speeds(-0.5)?.0.true_airspeed.metres_per_second();
    let climb = tapeline_rate(
        ClimbRate::from_feet_per_minute(palt_line.per_s * SECONDS_PER_MINUTE),
        PressureAltitude::from_feet(palt_ft),
        air.temperature,
    )
    .map_err(|error| outside(&error))?;
    if climb.metres_per_second().abs() > STEEPEST_SINE * speed_m_s {
        return Ok(None);
    }
    let thrust_w = power_kw * WATTS_PER_KILOWATT * given.propeller_efficiency.unwrap_or(0.0);
    let into_energy_w = given.mass_kg
        * (STANDARD_GRAVITY_M_PER_S2 * climb.metres_per_second() + speed_m_s * gained_m_s2);
    Ok(Some(Point {
        tas_kt: middle.true_airspeed.knots(),
        density_kg_m3: air.density().kg_per_m3(),
        thrust_power_kw: (thrust_w - into_energy_w) / WATTS_PER_KILOWATT,
        climb_rate_fpm: climb.feet_per_minute(),
    }))
}
