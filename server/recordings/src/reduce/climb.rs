//! Rates of climb from pressure altitude at several speeds, and what follows from them.

use flight_science::catalogue::Field;
use flight_science::input::{Reader, above_up_to};
use serde_json::{Value, json};

use super::recorded::{Present, Recorded};
use super::stretches::{Held, Rows, Wanted, line, rates, steady};
use super::{CannotReduce, Figure, Interval, Prepared, Reason, Reduction, Role, Stretch};

const SECONDS_PER_MINUTE: f64 = 60.0;

/// With fewer climbs no curve is determined.
const FEWEST_CLIMBS: usize = 3;

/// Rates of climb are read over so many seconds when stretches are looked for.
pub(super) const RATE_OVER_S: f64 = 10.0;

/// The reduction `climb`.
pub(super) static REDUCTION: Reduction = Reduction {
    name: "climb",
    version: 1,
    topic: "climb",
    title: "Climb rates from pressure altitude",
    gives: "Finds steady climbs in the interval and gives rate, gradient and speed of best climb from them. Fly three or more \
            speeds through one band of altitude, on both sides of the best.",
    steps: &[
        "A climb is a stretch in which calibrated airspeed and rate of climb (over 10 s about each moment) stay within their \
         tolerances of the stretch's medians, that lasts at least shortest_climb_s and climbs at least least_rate_fpm.",
        "Its rate is the slope of the least-squares straight line through its pressure altitudes; airspeed, altitude and \
         temperature are means.",
        "Rates are corrected for temperature and mass by the topic.",
    ],
    needs: &[
        Role::required("cas", "kt", "Calibrated airspeed."),
        Role::required("palt", "ft", "Pressure altitude."),
        Role::required("oat", "degC", "Outside air temperature."),
    ],
    given: &[
        Field::required(
            "mass_kg",
            "kg",
            "Mass of the aircraft; a battery does not become lighter.",
        ),
        Field::required("reference_mass_kg", "kg", "Mass that the rates are corrected to."),
        Field::optional(
            "polar",
            "object",
            "Drag polar as the topic climb takes it: cd0, k, wing_area_m2.",
        ),
        Field::optional(
            "shortest_climb_s",
            "s",
            "A climb lasts at least so long, 10 to 600; 30 when absent.",
        ),
        Field::optional(
            "speed_tolerance_kt",
            "kt",
            "Airspeed may be so far off, up to 20; 3 when absent.",
        ),
        Field::optional(
            "rate_tolerance_fpm",
            "ft/min",
            "Rate of climb may be so far off, up to 1,000; 150 when absent.",
        ),
        Field::optional(
            "least_rate_fpm",
            "ft/min",
            "What climbs less is no climb; 100 when absent.",
        ),
    ],
    figures: &[
        Figure {
            pointer: "/best_rate/climb_rate_fpm",
            unit: "ft/min",
            meaning: "best rate of climb",
        },
        Figure { pointer: "/best_rate/cas_kt", unit: "kt", meaning: "speed of best rate" },
        Figure {
            pointer: "/best_angle/gradient_percent",
            unit: "%",
            meaning: "gradient of the steepest climb",
        },
    ],
    most_missing: 0.05,
    prepare,
};

struct Given {
    mass_kg: f64,
    reference_mass_kg: f64,
    polar: Option<Value>,
    shortest_climb_s: f64,
    speed_tolerance_kt: f64,
    rate_tolerance_fpm: f64,
    least_rate_fpm: f64,
}

fn read(recorded: &Recorded<'_>) -> Result<Given, CannotReduce> {
    let mut reader = Reader::object(recorded.given);
    let mass = reader.required_number("mass_kg", above_up_to(0.0, 100_000.0));
    let reference = reader.required_number("reference_mass_kg", above_up_to(0.0, 100_000.0));
    let polar = reader.optional_object("polar", |polar| {
        let cd0 = polar.required_number("cd0", above_up_to(0.0, 1.0));
        let k = polar.required_number("k", above_up_to(0.0, 1.0));
        let wing_area_m2 = polar.required_number("wing_area_m2", above_up_to(0.0, 1000.0));
        Some(json!({ "cd0": cd0?, "k": k?, "wing_area_m2": wing_area_m2? }))
    });
    let shortest = reader.optional_number("shortest_climb_s", 10.0..=600.0);
    let speed = reader.optional_number("speed_tolerance_kt", above_up_to(0.0, 20.0));
    let rate = reader.optional_number("rate_tolerance_fpm", above_up_to(0.0, 1_000.0));
    let least = reader.optional_number("least_rate_fpm", 0.0..=10_000.0);
    Ok(reader.finish(|| {
        Some(Given {
            mass_kg: mass?,
            reference_mass_kg: reference?,
            polar: polar?,
            shortest_climb_s: shortest?.unwrap_or(30.0),
            speed_tolerance_kt: speed?.unwrap_or(3.0),
            rate_tolerance_fpm: rate?.unwrap_or(150.0),
            least_rate_fpm: least?.unwrap_or(100.0),
        })
    })?)
}

fn prepare(recorded: &Recorded<'_>) -> Result<Prepared, CannotReduce> {
    let given = read(recorded)?;
    let (cas, palt, oat) = (recorded.of("cas")?, recorded.of("palt")?, recorded.of("oat")?);
    let wanted = Wanted {
        shortest_s: given.shortest_climb_s,
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
        let Some(line) = line(recorded, palt, over) else { continue };
        let rate_fpm = line.per_s * SECONDS_PER_MINUTE;
        if rate_fpm < given.least_rate_fpm {
            continue;
        }
        let means = [cas, palt, oat].map(|present| recorded.mean(present, over));
        let [Some(cas_kt), Some(altitude_ft), Some(oat_c)] = means else { continue };
        points.push(json!({
            "cas_kt": cas_kt,
            "climb_rate_fpm": rate_fpm,
            "mass_kg": given.mass_kg,
            "pressure_altitude_ft": altitude_ft,
            "oat_c": oat_c,
        }));
        let mut stretch = Stretch::with(
            over,
            [
                ("cas_kt", cas_kt),
                ("climb_rate_fpm", rate_fpm),
                ("pressure_altitude_ft", altitude_ft),
                ("oat_c", oat_c),
            ],
        );
        stretch.figures.extend(line.residual_sd.map(|sd| ("altitude_scatter_ft", sd)));
        stretches.push(stretch);
    }
    if points.len() < FEWEST_CLIMBS {
        return Err(Reason::TooFewStretches {
            found: points.len(),
            wanted: FEWEST_CLIMBS,
            what: "steady climbs",
            how: format!(
                "A climb holds airspeed within ±{} kt and rate within ±{} ft/min for at least {} s, climbs at least {} ft/min, \
                 and has its outside air temperature recorded.",
                given.speed_tolerance_kt,
                given.rate_tolerance_fpm,
                given.shortest_climb_s,
                given.least_rate_fpm
            ),
        }
        .into());
    }
    let mut input = json!({ "points": points, "reference_mass_kg": given.reference_mass_kg });
    if let (Some(polar), Some(fields)) = (given.polar, input.as_object_mut()) {
        fields.insert("polar".to_owned(), polar);
    }
    Ok(Prepared { input, stretches })
}

/// Stretches in which airspeed and rate of climb are held, up, down or level.
pub(super) fn steady_paths(
    palt: &Present,
    cas: &Present,
    wanted: Wanted,
    speed_tolerance_kt: f64,
    rate_tolerance_ft_per_s: f64,
) -> Vec<Interval> {
    let Rows { times, columns: [speeds] } = Rows::of(palt, [cas]);
    let altitudes: Vec<f64> = times.iter().filter_map(|time| palt.at(*time)).collect();
    let rates = rates(&times, &altitudes, RATE_OVER_S, wanted.gap_s);
    steady(
        &times,
        &[
            Held { values: &speeds, tolerance: speed_tolerance_kt },
            Held { values: &rates, tolerance: rate_tolerance_ft_per_s },
        ],
        wanted,
    )
}
