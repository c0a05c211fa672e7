//! The lowest steady airspeed of a stall, carried to the reference mass.

use flight_science::catalogue::Field;
use flight_science::input::{Reader, above_up_to};
use serde_json::json;

use super::recorded::{Present, Recorded};
use super::stretches::line;
use super::{CannotReduce, Figure, Interval, Prepared, Reason, Reduction, Role, Stretch};
use crate::Micros;

/// The deceleration is read over so many seconds before the lowest speed.
const ENTRY_S: f64 = 5.0;

/// The reduction `stall-speed`.
pub(super) static REDUCTION: Reduction = Reduction {
    name: "stall-speed",
    version: 1,
    topic: "stall-speed",
    title: "Stall speed from the lowest airspeed",
    gives: "Finds the lowest calibrated airspeed of an interval with one stall and carries it to the reference mass and a load \
            factor of 1. Choose the interval from before the deceleration until after the recovery.",
    steps: &[
        "The airspeed is averaged over average_s about each moment, so that noise does not make the stall look slower; an \
         average with a gap in it does not count.",
        "The lowest average is the stall. It may not lie at an end of the interval.",
        "The load factor is the mean over the same seconds.",
        "The deceleration is the slope of the straight line through the airspeeds of the 5 s before; faster than \
         fastest_entry_kt_per_s is refused.",
    ],
    needs: &[
        Role::required("cas", "kt", "Calibrated airspeed."),
        Role::optional(
            "load_factor",
            "g",
            "Load factor along the aircraft's vertical axis; without it load_factor is given, or 1.",
        ),
    ],
    given: &[
        Field::required("mass_kg", "kg", "Mass at the stall."),
        Field::required("reference_mass_kg", "kg", "Mass to which the speed is carried."),
        Field::optional(
            "load_factor",
            "ratio",
            "Load factor at the stall, where no channel has it; 1 when absent.",
        ),
        Field::optional(
            "average_s",
            "s",
            "Time over which the airspeed is averaged, 0.2 to 5; 1 when absent.",
        ),
        Field::optional(
            "fastest_entry_kt_per_s",
            "kt/s",
            "The fastest deceleration that still counts as a steady entry, up to 5; 1.5 when absent, which is our own choice.",
        ),
    ],
    figures: &[Figure {
        pointer: "/cas_reference_kt",
        unit: "kt",
        meaning: "calibrated stall speed at the reference mass and load factor 1",
    }],
    most_missing: 0.02,
    prepare,
};

struct Given {
    mass_kg: f64,
    reference_mass_kg: f64,
    load_factor: Option<f64>,
    average_s: f64,
    fastest_entry_kt_per_s: f64,
}

fn read(recorded: &Recorded<'_>) -> Result<Given, CannotReduce> {
    let mut reader = Reader::object(recorded.given);
    let mass = reader.required_number("mass_kg", above_up_to(0.0, 1.0e6));
    let reference = reader.required_number("reference_mass_kg", above_up_to(0.0, 1.0e6));
    let load_factor = reader.optional_number("load_factor", above_up_to(0.0, 20.0));
    if reader.has("load_factor") && recorded.if_played("load_factor").is_some() {
        reader.fault(
            "load_factor",
            flight_science::catalogue::FaultCode::Inconsistent,
            "load_factor is given and a channel is named for it too; they may contradict, so only one is taken.",
        );
    }
    let average = reader.optional_number("average_s", 0.2..=5.0);
    let fastest = reader.optional_number("fastest_entry_kt_per_s", above_up_to(0.0, 5.0));
    Ok(reader.finish(|| {
        Some(Given {
            mass_kg: mass?,
            reference_mass_kg: reference?,
            load_factor: load_factor?,
            average_s: average?.unwrap_or(1.0),
            fastest_entry_kt_per_s: fastest?.unwrap_or(1.5),
        })
    })?)
}

fn prepare(recorded: &Recorded<'_>) -> Result<Prepared, CannotReduce> {
    let given = read(recorded)?;
    let cas = recorded.of("cas")?;
    let (over, cas_kt) = lowest(recorded, cas, given.average_s)?;
    let entry = Interval {
        from: Micros(over.from.0.saturating_sub(Micros::from_seconds(ENTRY_S).0)),
        to: over.from,
    };
    if entry.from < recorded.interval.from {
        return Err(Reason::NotInTheInterval(format!(
            "The lowest airspeed comes less than {ENTRY_S} s after the beginning, so its entry cannot be seen. Begin the \
             interval before the deceleration."
        ))
        .into());
    }
    let slope = recorded.mean(cas, entry).and_then(|_| line(recorded, cas, entry));
    let Some(slope) = slope else {
        return Err(Reason::NotInTheInterval(format!(
            "Too many airspeeds of the {ENTRY_S} s before the lowest one are missing, so its entry cannot be seen."
        ))
        .into());
    };
    let entry_kt_per_s = -slope.per_s;
    if entry_kt_per_s > given.fastest_entry_kt_per_s {
        return Err(Reason::NotInTheInterval(format!(
            "The airspeed fell by {entry_kt_per_s:.1} kt/s before the lowest one; at most {} kt/s counts as a steady entry.",
            given.fastest_entry_kt_per_s
        ))
        .into());
    }
    let load_factor = match recorded.if_played("load_factor") {
        None => given.load_factor.unwrap_or(1.0),
        Some(present) => recorded.mean(present, over).ok_or_else(|| {
            Reason::NotInTheInterval(
                "The load factor is missing at the lowest airspeed.".to_owned(),
            )
        })?,
    };
    Ok(Prepared {
        input: json!({
            "cas_kt": cas_kt,
            "mass_kg": given.mass_kg,
            "reference_mass_kg": given.reference_mass_kg,
            "load_factor": load_factor,
        }),
        stretches: vec![Stretch::with(
            over,
            [
                ("cas_kt", cas_kt),
                ("load_factor", load_factor),
                ("deceleration_kt_per_s", entry_kt_per_s),
            ],
        )],
    })
}

/// The lowest average of the interval and the seconds over which it was taken.
fn lowest(
    recorded: &Recorded<'_>,
    cas: &Present,
    average_s: f64,
) -> Result<(Interval, f64), CannotReduce> {
    let half = Micros::from_seconds(average_s / 2.0).0;
    let whole = recorded.interval;
    let averages: Vec<(Interval, f64)> = cas
        .times
        .iter()
        .map(|time| Interval {
            from: Micros(time.0.saturating_sub(half)),
            to: Micros(time.0.saturating_add(half)),
        })
        .filter(|over| whole.from <= over.from && over.to <= whole.to)
        .filter_map(|over| Some((over, recorded.mean(cas, over)?)))
        .collect();
    let least =
        averages.iter().enumerate().min_by(|(_, (_, one)), (_, (_, other))| one.total_cmp(other));
    match least {
        Some((place, found)) if place > 0 && place + 1 < averages.len() => Ok(*found),
        Some(_) => Err(Reason::NotInTheInterval(
            "The lowest airspeed lies at an end of the interval, so the stall may lie beyond. Choose the interval from before \
             the deceleration until after the recovery."
                .to_owned(),
        )
        .into()),
        None => Err(Reason::NotInTheInterval(
            "No average of the airspeed can be taken in the interval. Choose a longer one.".to_owned(),
        )
        .into()),
    }
}
