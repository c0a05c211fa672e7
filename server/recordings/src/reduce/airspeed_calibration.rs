//! Position correction of the airspeed system from legs found in the track.

use flight_science::catalogue::Field;
use flight_science::input::{Reader, above_up_to};
use serde_json::json;

use super::recorded::{Present, Recorded};
use super::stretches::{Held, Rows, Wanted, steady};
use super::{CannotReduce, Figure, Interval, Prepared, Reason, Reduction, Role, Stretch};

/// With fewer legs airspeed and wind stay open.
const FEWEST_LEGS: usize = 3;

/// The reduction `airspeed-calibration`.
pub(super) static REDUCTION: Reduction = Reduction {
    name: "airspeed-calibration",
    version: 1,
    topic: "gps-airspeed",
    title: "Airspeed calibration from the track",
    gives: "Finds straight legs at one ground speed in the track and gives true airspeed, wind and the position correction of the \
            airspeed system from them. Fly three or more legs on tracks spread over the compass at one indicated airspeed and \
            altitude, in wind that does not change.",
    steps: &[
        "A leg is a stretch in which track and ground speed stay within their tolerances of the stretch's medians, with 2 s cut \
         at either end, that lasts at least shortest_leg_s.",
        "Of two successive legs whose tracks differ by less than least_turn_deg the longer one counts.",
        "Track and ground speed of a leg are those of its mean ground velocity.",
        "Indicated airspeed, pressure altitude and outside air temperature are the means over all legs' readings. Legs whose \
         means are more than two tolerances apart are refused.",
    ],
    needs: &[
        Role::required("ground_speed", "kt", "Ground speed."),
        Role::required("track", "deg", "Track over ground, clockwise from true north."),
        Role::required("ias", "kt", "Indicated airspeed."),
        Role::required("palt", "ft", "Pressure altitude."),
        Role::optional(
            "oat",
            "degC",
            "Outside air temperature; without it the standard temperature is taken.",
        ),
    ],
    given: &[
        Field::optional(
            "shortest_leg_s",
            "s",
            "A leg lasts at least so long, 5 to 600; 20 when absent.",
        ),
        Field::optional(
            "track_tolerance_deg",
            "deg",
            "Track may be so far off, up to 20; 4 when absent.",
        ),
        Field::optional(
            "speed_tolerance_kt",
            "kt",
            "Ground and indicated airspeed may be so far off, up to 20; 3 when absent.",
        ),
        Field::optional(
            "altitude_tolerance_ft",
            "ft",
            "Pressure altitude of the legs may be so far off, up to 1,000; 100 when absent.",
        ),
        Field::optional(
            "least_turn_deg",
            "deg",
            "Legs differ by at least so much in track, up to 120; 20 when absent.",
        ),
        Field::optional(
            "instrument_correction_kt",
            "kt",
            "Added to the indicated airspeed for the instrument's own error; 0 when absent.",
        ),
    ],
    figures: &[
        Figure {
            pointer: "/position_correction_kt",
            unit: "kt",
            meaning: "calibrated less indicated airspeed",
        },
        Figure { pointer: "/cas_kt", unit: "kt", meaning: "calibrated airspeed" },
        Figure { pointer: "/tas_kt", unit: "kt", meaning: "true airspeed" },
    ],
    most_missing: 0.05,
    prepare,
};

struct Given {
    shortest_leg_s: f64,
    track_tolerance_deg: f64,
    speed_tolerance_kt: f64,
    altitude_tolerance_ft: f64,
    least_turn_deg: f64,
    instrument_correction_kt: f64,
}

fn read(recorded: &Recorded<'_>) -> Result<Given, CannotReduce> {
    let mut reader = Reader::object(recorded.given);
    let shortest = reader.optional_number("shortest_leg_s", 5.0..=600.0);
    let track = reader.optional_number("track_tolerance_deg", above_up_to(0.0, 20.0));
    let speed = reader.optional_number("speed_tolerance_kt", above_up_to(0.0, 20.0));
    let altitude = reader.optional_number("altitude_tolerance_ft", above_up_to(0.0, 1_000.0));
    let turn = reader.optional_number("least_turn_deg", above_up_to(0.0, 120.0));
    let correction = reader.optional_number("instrument_correction_kt", -50.0..=50.0);
    Ok(reader.finish(|| {
        Some(Given {
            shortest_leg_s: shortest?.unwrap_or(20.0),
            track_tolerance_deg: track?.unwrap_or(4.0),
            speed_tolerance_kt: speed?.unwrap_or(3.0),
            altitude_tolerance_ft: altitude?.unwrap_or(100.0),
            least_turn_deg: turn?.unwrap_or(20.0),
            instrument_correction_kt: correction?.unwrap_or(0.0),
        })
    })?)
}

/// One leg with its means.
struct Leg {
    over: Interval,
    ground_speed_kt: f64,
    track_deg: f64,
}

fn prepare(recorded: &Recorded<'_>) -> Result<Prepared, CannotReduce> {
    let given = read(recorded)?;
    let legs = legs(recorded, &given)?;
    if legs.len() < FEWEST_LEGS {
        return Err(Reason::TooFewStretches {
            found: legs.len(),
            wanted: FEWEST_LEGS,
            what: "straight legs",
            how: format!(
                "A leg holds track within ±{}° and ground speed within ±{} kt for at least {} s, and turns at least {}° from \
                 the one before.",
                given.track_tolerance_deg,
                given.speed_tolerance_kt,
                given.shortest_leg_s,
                given.least_turn_deg
            ),
        }
        .into());
    }
    let indicated = over_legs(recorded, "ias", &legs)?;
    let altitude = over_legs(recorded, "palt", &legs)?;
    let temperature = match recorded.if_played("oat") {
        Some(_) => Some(over_legs(recorded, "oat", &legs)?),
        None => None,
    };
    not_apart(
        "Indicated airspeed",
        &indicated,
        given.speed_tolerance_kt,
        "kt",
        "Fly all legs at one indicated airspeed, or choose an interval of one speed.",
    )?;
    not_apart(
        "Pressure altitude",
        &altitude,
        given.altitude_tolerance_ft,
        "ft",
        "Fly all legs at one altitude, or choose an interval of one altitude.",
    )?;
    let mut input = json!({
        "legs": legs.iter().map(|leg| json!({
            "ground_speed_kt": leg.ground_speed_kt,
            "track_deg": leg.track_deg,
        })).collect::<Vec<_>>(),
        "ias_kt": indicated.mean + given.instrument_correction_kt,
        "pressure_altitude_ft": altitude.mean,
    });
    if let (Some(temperature), Some(fields)) = (temperature, input.as_object_mut()) {
        fields.insert("oat_c".to_owned(), json!(temperature.mean));
    }
    let stretches = legs
        .iter()
        .zip(indicated.of_legs.iter().zip(&altitude.of_legs))
        .map(|(leg, (ias_kt, altitude_ft))| {
            Stretch::with(
                leg.over,
                [
                    ("ground_speed_kt", leg.ground_speed_kt),
                    ("track_deg", leg.track_deg),
                    ("ias_kt", *ias_kt),
                    ("pressure_altitude_ft", *altitude_ft),
                ],
            )
        })
        .collect();
    Ok(Prepared { input, stretches })
}

fn legs(recorded: &Recorded<'_>, given: &Given) -> Result<Vec<Leg>, CannotReduce> {
    let (track, speed) = (recorded.of("track")?, recorded.of("ground_speed")?);
    // A track between two readings is not on a straight line where it goes through north, so it is read and not worked out.
    let Rows { times, columns: [speeds] } = Rows::of(track, [speed]);
    let tracks: Vec<f64> = times.iter().filter_map(|time| track.at(*time)).collect();
    let unwound = unwound(&tracks);
    let held = [
        Held { values: &unwound, tolerance: given.track_tolerance_deg },
        Held { values: &speeds, tolerance: given.speed_tolerance_kt },
    ];
    let wanted = Wanted {
        shortest_s: given.shortest_leg_s,
        settle_s: 2.0,
        gap_s: track.gap_s.max(speed.gap_s),
    };
    let mut legs: Vec<Leg> = Vec::new();
    for over in steady(&times, &held, wanted) {
        let first = times.partition_point(|time| *time < over.from);
        let end = times.partition_point(|time| *time <= over.to);
        let leg = leg(
            over,
            tracks.get(first..end).unwrap_or_default(),
            speeds.get(first..end).unwrap_or_default(),
        );
        match legs.last_mut() {
            Some(before) if turn_deg(before.track_deg, leg.track_deg) < given.least_turn_deg => {
                if leg.over.seconds() > before.over.seconds() {
                    *before = leg;
                }
            }
            _ => legs.push(leg),
        }
    }
    Ok(legs)
}

/// A leg by its mean ground velocity.
fn leg(over: Interval, tracks_deg: &[f64], speeds_kt: &[f64]) -> Leg {
    let (mut north, mut east) = (0.0, 0.0);
    for (track_deg, speed_kt) in tracks_deg.iter().zip(speeds_kt) {
        let (sin, cos) = track_deg.to_radians().sin_cos();
        north += speed_kt * cos;
        east += speed_kt * sin;
    }
    let count = tracks_deg.len() as f64;
    let track_deg = east.atan2(north).to_degrees().rem_euclid(360.0);
    Leg { over, ground_speed_kt: north.hypot(east) / count, track_deg }
}

/// Angle between two tracks, 0 to 180.
fn turn_deg(one: f64, other: f64) -> f64 {
    let turn = (other - one).rem_euclid(360.0);
    turn.min(360.0 - turn)
}

/// Tracks that go on beyond 360 and below 0, so that no step is longer than half a turn.
fn unwound(tracks_deg: &[f64]) -> Vec<f64> {
    let mut turned = 0.0;
    let mut before: Option<f64> = None;
    tracks_deg
        .iter()
        .map(|track| {
            if let Some(before) = before {
                let step = (track - before).rem_euclid(360.0);
                turned += if step > 180.0 { step - 360.0 } else { step };
            } else {
                turned = *track;
            }
            before = Some(*track);
            turned
        })
        .collect()
}

/// Mean of a part over each leg and over all of them.
struct OverLegs {
    of_legs: Vec<f64>,
    mean: f64,
}

fn over_legs(
    recorded: &Recorded<'_>,
    role: &'static str,
    legs: &[Leg],
) -> Result<OverLegs, CannotReduce> {
    let present: &Present = recorded.of(role)?;
    let mut of_legs = Vec::with_capacity(legs.len());
    for (number, leg) in legs.iter().enumerate() {
        of_legs.push(recorded.mean(present, leg.over).ok_or_else(|| {
            Reason::NotInTheInterval(format!(
                "Too many readings of {role} are missing in leg {}. Give an interval in which it was recorded on every leg.",
                number + 1
            ))
        })?);
    }
    let seconds: f64 = legs.iter().map(|leg| leg.over.seconds()).sum();
    let weighed = of_legs.iter().zip(legs).map(|(mean, leg)| mean * leg.over.seconds());
    Ok(OverLegs { mean: weighed.sum::<f64>() / seconds, of_legs })
}

fn not_apart(
    what: &'static str,
    over: &OverLegs,
    tolerance: f64,
    unit: &'static str,
    how: &'static str,
) -> Result<(), CannotReduce> {
    let greatest = over.of_legs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let least = over.of_legs.iter().copied().fold(f64::INFINITY, f64::min);
    let (spread, most) = (greatest - least, 2.0 * tolerance);
    if spread > most {
        return Err(Reason::StretchesDiffer { what, spread, most, unit, how }.into());
    }
    Ok(())
}
