//! The design boundary: what the aircraft may never be asked for, as far as its description and the limits state it.

use flight_science::loading::{Balance, Station, balance};
use flight_science::structural_envelope::{Point as Corner, StructuralEnvelope};
use quantities::{EquivalentAirspeed, Length, LoadFactor, Mass};

use super::pairs::Pair;
use crate::holds::edge::{is_at_least, is_at_most};
use crate::measure::{Kind, Measure, Unit};
use crate::nouns::{Aircraft, Axis, LimitKind, place_mm};
use crate::state::State;

/// Between two corners of a structural envelope the boundary of several masses is looked at so many times.
const SPEEDS_PER_KNOT: f64 = 2.0;

/// A light aircraft is nowhere near it: how far a boundary of altitude goes where no never-exceed speed ends it.
const BEYOND_ANY_SPEED_KT: f64 = 1000.0;

/// What a pair of axes is bounded by, in the pair's units.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Boundary {
    /// The least that the first axis may be.
    pub x_least: Option<f64>,
    /// The greatest that the first axis may be.
    pub x_greatest: Option<f64>,
    /// The greatest that the second axis may be, straight from corner to corner, by the first axis ascending.
    pub upper: Vec<[f64; 2]>,
    /// The least that the second axis may be, likewise.
    pub lower: Vec<[f64; 2]>,
    /// A closed polygon, where the boundary is one.
    pub polygon: Vec<[f64; 2]>,
    /// Where the boundary comes from, and what of it is not known, in sentences.
    pub notes: Vec<String>,
}

/// The least and the greatest that a description of the aircraft allows on an axis, in the axis's own unit.
pub fn of_axis(state: &State, axis: Axis) -> (Option<Measure>, Option<Measure>) {
    let aircraft = state.aircraft.as_ref();
    match axis {
        Axis::Speed => (None, aircraft.and_then(|it| it.never_exceed_speed)),
        Axis::Mass => (None, aircraft.and_then(|it| it.maximum_mass)),
        Axis::PressureAltitude => (None, aircraft.and_then(|it| it.maximum_altitude)),
        Axis::ChargeState => {
            (Some(Measure::new(0.0, Unit::Percent)), Some(Measure::new(100.0, Unit::Percent)))
        }
        Axis::LoadFactor => {
            let structure = structures(state).into_iter().next();
            let g = |factor: LoadFactor| Measure::new(factor.ratio(), Unit::G);
            (
                structure.as_ref().map(|it| g(it.negative)),
                structure.as_ref().map(|it| g(it.positive)),
            )
        }
        Axis::CentreOfGravity => {
            let corners = aircraft.and_then(|it| it.loading_limits.as_ref()).map(|it| &it.corners);
            let places = corners.into_iter().flatten().map(|corner| corner.centre_of_gravity);
            let by = |one: &Measure, other: &Measure| {
                one.in_kinds_unit().total_cmp(&other.in_kinds_unit())
            };
            (places.clone().min_by(by), places.max_by(by))
        }
        Axis::Power
        | Axis::TimeAtPower
        | Axis::PackTemperature
        | Axis::Crosswind
        | Axis::PropellerSpeed
        | Axis::BankAngle
        | Axis::AirTemperature => (None, None),
    }
}

/// Whether a figure on an axis lies beyond the design boundary; exactly on it is inside.
pub fn is_beyond(state: &State, axis: Axis, figure: Measure) -> bool {
    let (least, greatest) = of_axis(state, axis);
    let figure = figure.in_kinds_unit();
    least.is_some_and(|least| !is_at_least(figure, least.in_kinds_unit()))
        || greatest.is_some_and(|greatest| !is_at_most(figure, greatest.in_kinds_unit()))
}

/// Mass and centre of gravity (in per cent of the chord) of the loading that the aircraft is described with.
pub fn described_loading(aircraft: &Aircraft) -> Option<(Option<f64>, Mass)> {
    let stations: Vec<Station> = aircraft
        .loading
        .iter()
        .map(|station| Station {
            mass: Mass::from_kilograms(station.mass.in_kinds_unit()),
            arm: Length::from_metres(station.arm.in_kinds_unit()),
        })
        .collect();
    let balance = balance(&stations).ok()?;
    let chord = aircraft.loading_limits.as_ref().and_then(|limits| limits.chord());
    Some((chord.map(|chord| chord.percent_at(balance.cg)), balance.mass))
}

/// The masses for which load factors are looked at: the lightest and the heaviest flown; before any was flown the mass
/// that the aircraft is described with.
fn masses(state: &State) -> Vec<Mass> {
    use crate::nouns::Direction::{Down, Up};
    let flown = [Down, Up].map(|direction| state.envelope.furthest(Axis::Mass, direction, &[]));
    let mut masses: Vec<Mass> = flown
        .iter()
        .flatten()
        .map(|shown| Mass::from_kilograms(shown.reached.in_kinds_unit()))
        .collect();
    if masses.is_empty()
        && let Some(aircraft) = &state.aircraft
    {
        let described = described_loading(aircraft).map(|(_, mass)| mass);
        let maximum = aircraft.maximum_mass.map(|it| Mass::from_kilograms(it.in_kinds_unit()));
        masses.extend(described.or(maximum));
    }
    masses.dedup();
    masses
}

/// The structural envelopes at the masses flown; none where the aircraft does not state what they follow from.
pub fn structures(state: &State) -> Vec<StructuralEnvelope> {
    let Some(structure) = state.aircraft.as_ref().and_then(|it| it.structure.as_ref()) else {
        return Vec::new();
    };
    let masses = masses(state);
    let found: Vec<_> = masses.iter().filter_map(|mass| structure.envelope(*mass)).collect();
    // One mass that the basis does not cover leaves the boundary unknown.
    if found.len() == masses.len() { found } else { Vec::new() }
}

/// Whether a speed (calibrated, taken for equivalent) and a load factor lie inside the structural envelopes; absent where
/// there are none.
pub fn load_factor_is_inside(state: &State, speed_kt: f64, load_factor: f64) -> Option<bool> {
    let structures = structures(state);
    let corner = Corner {
        speed: EquivalentAirspeed::from_knots(speed_kt),
        load_factor: LoadFactor::from_ratio(load_factor),
    };
    (!structures.is_empty()).then(|| structures.iter().all(|it| it.boundary.contains(corner)))
}

/// Whether a loading lies inside the loading limits; absent where there are none.
pub fn loading_is_inside(state: &State, percent_of_chord: f64, mass_kg: f64) -> Option<bool> {
    let limits = state.aircraft.as_ref()?.loading_limits.as_ref()?;
    let (chord, envelope) = (limits.chord()?, limits.envelope()?);
    let loading = Balance {
        mass: Mass::from_kilograms(mass_kg),
        cg: Length::from_millimetres(place_mm(chord, percent_of_chord)),
    };
    Some(envelope.place(loading).inside)
}

fn never_exceed_kt(state: &State) -> Option<f64> {
    state.aircraft.as_ref()?.never_exceed_speed.map(Measure::in_kinds_unit)
}

/// The design boundary of a pair of axes.
pub fn of_pair(state: &State, pair: Pair) -> Boundary {
    match pair {
        Pair::SpeedAltitude => {
            let x_greatest = never_exceed_kt(state);
            let speed = x_greatest.map_or_else(
                || "No never-exceed speed is stated for the aircraft.".to_owned(),
                |speed| {
                    format!(
                        "Never-exceed speed {} of the aircraft.",
                        Measure::new(speed, Unit::Knot)
                    )
                },
            );
            let greatest = state.aircraft.as_ref().and_then(|it| it.maximum_altitude);
            let altitude = greatest.map_or_else(
                || "No greatest altitude is stated for the aircraft.".to_owned(),
                |altitude| format!("Greatest altitude {altitude} of the aircraft."),
            );
            let greatest = greatest.and_then(|it| it.in_unit(pair.upwards().1));
            let end = x_greatest.unwrap_or(BEYOND_ANY_SPEED_KT);
            Boundary {
                x_greatest,
                upper: greatest.map(|it| [[0.0, it], [end, it]]).into_iter().flatten().collect(),
                notes: vec![speed, altitude],
                ..Boundary::default()
            }
        }
        Pair::SpeedLoadFactor => structural(state),
        Pair::MassCentreOfGravity => loading(state),
        Pair::PowerTime => power(state),
        Pair::ChargePower => {
            let note = "Charge state from 0 to 100 %.".to_owned();
            let mut boundary = power_at_rest(state);
            boundary.x_least = Some(0.0);
            boundary.x_greatest = Some(100.0);
            boundary.notes.insert(0, note);
            boundary
        }
    }
}

fn structural(state: &State) -> Boundary {
    let structures = structures(state);
    let x_greatest = never_exceed_kt(state);
    let Some(first) = structures.first() else {
        let note = "The aircraft does not state what its limit load factors follow from, or the basis does not cover it: \
                    they are not known here."
            .to_owned();
        return Boundary { x_greatest, notes: vec![note], ..Boundary::default() };
    };
    let dive = first.at_dive.speed.knots();
    let end = x_greatest.map_or(dive, |speed| speed.min(dive));
    let mut speeds: Vec<f64> = structures
        .iter()
        .flat_map(StructuralEnvelope::polygon)
        .map(|corner| corner.speed.knots())
        .filter(|speed| *speed < end)
        .collect();
    // Lines of different masses cross between their corners.
    let steps = (end * SPEEDS_PER_KNOT).clamp(0.0, 4000.0) as u32;
    speeds.extend((0..steps).map(|step| f64::from(step) / SPEEDS_PER_KNOT));
    speeds.push(end);
    speeds.sort_by(f64::total_cmp);
    speeds.dedup();
    let limits = |speed: f64| {
        let at = structures.iter().filter_map(|structure| {
            structure.boundary.limits_at(EquivalentAirspeed::from_knots(speed))
        });
        at.fold((f64::NEG_INFINITY, f64::INFINITY), |(least, greatest), (low, high)| {
            (least.max(low.ratio()), greatest.min(high.ratio()))
        })
    };
    let upper: Vec<[f64; 2]> = speeds.iter().map(|speed| [*speed, limits(*speed).1]).collect();
    let lower: Vec<[f64; 2]> = speeds.iter().map(|speed| [*speed, limits(*speed).0]).collect();
    let mut polygon = upper.clone();
    polygon.extend(lower.iter().rev());
    let masses: Vec<String> = masses(state)
        .iter()
        .map(|mass| Measure::new(mass.kilograms(), Unit::Kilogram).to_string())
        .collect();
    let source = state.aircraft.as_ref().and_then(|it| it.structure.as_ref());
    let mut notes = vec![
        format!("Limit load factors at {}, by {}.", masses.join(" and at "), source.map_or("", |it| &it.source)),
        "Calibrated airspeed is taken for equivalent airspeed, which is never the greater of the two.".to_owned(),
    ];
    if x_greatest.is_some_and(|speed| speed < dive) {
        notes.push("Cut off at the never-exceed speed.".to_owned());
    }
    Boundary { x_least: Some(0.0), x_greatest: Some(end), upper, lower, polygon, notes }
}

fn loading(state: &State) -> Boundary {
    let aircraft = state.aircraft.as_ref();
    let greatest = aircraft.and_then(|it| it.maximum_mass);
    let limits = aircraft.and_then(|it| it.loading_limits.as_ref());
    let Some(limits) = limits.filter(|limits| limits.envelope().is_some()) else {
        let mut notes = vec!["The aircraft states no loading limits.".to_owned()];
        notes.extend(greatest.map(|mass| format!("Maximum mass {mass} of the aircraft.")));
        let upper = greatest.map(|mass| {
            [[f64::NEG_INFINITY, mass.in_kinds_unit()], [f64::INFINITY, mass.in_kinds_unit()]]
        });
        return Boundary {
            upper: upper.into_iter().flatten().collect(),
            notes,
            ..Boundary::default()
        };
    };
    let polygon = limits
        .corners
        .iter()
        .map(|corner| [corner.centre_of_gravity.in_kinds_unit(), corner.mass.in_kinds_unit()]);
    Boundary {
        polygon: polygon.collect(),
        notes: vec![format!("Loading limits of the aircraft, by {}.", limits.source)],
        ..Boundary::default()
    }
}

/// Limits of power, each as what may be had for a time in seconds: the greatest, then for how long.
fn power_ratings(state: &State) -> Vec<(String, Vec<(f64, f64)>)> {
    let mut found = Vec::new();
    for limit in state.limits.by_code.values().map(|known| &*known.limit) {
        if limit.unit.kind() != Kind::Power {
            continue;
        }
        let kilowatt = |figure: f64| Measure::new(figure, limit.unit).in_kinds_unit();
        let ratings = match &limit.kind {
            LimitKind::Maximum { limit, .. } => vec![(kilowatt(*limit), f64::INFINITY)],
            LimitKind::Range { high, .. } => vec![(kilowatt(*high), f64::INFINITY)],
            LimitKind::Rating { continuous, timed } => {
                let timed =
                    timed.iter().rev().map(|rating| (kilowatt(rating.value), rating.seconds));
                timed.chain([(kilowatt(*continuous), f64::INFINITY)]).collect()
            }
            LimitKind::Minimum { .. }
            | LimitKind::Rate { .. }
            | LimitKind::Spread { .. }
            | LimitKind::TimeAbove { .. } => continue,
        };
        found.push((limit.code.to_string(), ratings));
    }
    found
}

/// Seconds after which a rating without an end is drawn no further.
const LONGEST_S: f64 = 1.0e7;

fn power(state: &State) -> Boundary {
    let limits = power_ratings(state);
    if limits.is_empty() {
        let notes = vec!["No limit of power is set.".to_owned()];
        return Boundary { x_least: Some(0.0), notes, ..Boundary::default() };
    }
    let mut times: Vec<f64> = limits
        .iter()
        .flat_map(|(_, ratings)| ratings.iter().map(|(_, seconds)| seconds.min(LONGEST_S)))
        .collect();
    times.sort_by(f64::total_cmp);
    times.dedup();
    // What may be had for a time: of each limit the greatest rating that lasts so long, and of all limits the least.
    let allowed = |seconds: f64| {
        let of_limits = limits.iter().map(|(_, ratings)| {
            let lasting = ratings.iter().filter(|(_, lasts)| *lasts >= seconds);
            lasting.map(|(power, _)| *power).fold(f64::NEG_INFINITY, f64::max)
        });
        of_limits.fold(f64::INFINITY, f64::min)
    };
    let mut upper = Vec::new();
    let mut from = 0.0;
    for until in times {
        upper.extend([[from, allowed(until)], [until, allowed(until)]]);
        from = until;
    }
    let notes = limits.iter().map(|(code, _)| format!("Limit {code}.")).collect();
    Boundary { x_least: Some(0.0), upper, notes, ..Boundary::default() }
}

/// The greatest power that any limit allows for any time.
fn power_at_rest(state: &State) -> Boundary {
    let power = power(state);
    let greatest = power.upper.first().map(|corner| corner[1]);
    Boundary {
        upper: greatest.map(|it| [[0.0, it], [100.0, it]]).into_iter().flatten().collect(),
        notes: power.notes,
        ..Boundary::default()
    }
}
