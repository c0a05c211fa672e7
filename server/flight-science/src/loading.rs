//! Mass and centre of gravity from the stations, held against the loading envelope.

use quantities::{Length, Mass};
use serde::Serialize;
use serde_json::Value;

use crate::catalogue::{FaultCode, Field, Refused, Topic, answer};
use crate::input::{ANY, Reader, above};

/// So far beyond an edge, in millimetres or kilograms, is the rounding of sums and not a loading.
const ROUNDING: f64 = 1.0e-6;

/// More corners than this are no loading envelope but a mistake.
const MOST_CORNERS: usize = 200;

/// A mass at a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Station {
    /// Mass, not negative.
    pub mass: Mass,
    /// Distance aft of the datum; negative is ahead of it.
    pub arm: Length,
}

/// The mean aerodynamic chord.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanChord {
    /// Leading edge, aft of the datum.
    pub leading_edge: Length,
    /// Length, above zero.
    pub length: Length,
}

impl MeanChord {
    /// A place aft of the datum, as per cent of the chord behind its leading edge.
    pub fn percent_at(self, place: Length) -> f64 {
        let behind_mm = place.millimetres() - self.leading_edge.millimetres();
        behind_mm / self.length.millimetres() * 100.0
    }
}

/// Mass and centre of gravity of the whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Balance {
    /// Total mass.
    pub mass: Mass,
    /// Centre of gravity, aft of the datum.
    pub cg: Length,
}

/// Why stations have no centre of gravity.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum BalanceError {
    /// A mass or arm is missing, or a mass is negative.
    #[error("station {index} has a mass or an arm that is negative or not a finite number")]
    NotAStation {
        /// Place of the station, from 0.
        index: usize,
    },
    /// The masses add up to nothing.
    #[error("the masses add up to nothing, so there is no centre of gravity")]
    NoMass,
}

/// Total mass and centre of gravity.
///
/// Valid for stations with masses that are not negative and add up to more than zero.
///
/// # Errors
///
/// [`BalanceError`] for a mass that is negative or a figure that is missing, or when there is no mass at all.
///
/// # Source
///
/// The centre of gravity is the sum of mass times arm over the sum of masses: common practice, no source.
/// Checked by `published/loading.toml`.
pub fn balance(stations: &[Station]) -> Result<Balance, BalanceError> {
    for (index, station) in stations.iter().enumerate() {
        let (mass_kg, arm_m) = (station.mass.kilograms(), station.arm.metres());
        if !(mass_kg >= 0.0 && mass_kg.is_finite() && arm_m.is_finite()) {
            return Err(BalanceError::NotAStation { index });
        }
    }
    let mass_kg: f64 = stations.iter().map(|station| station.mass.kilograms()).sum();
    // Written so that an overflow to infinity or NaN is refused too.
    if !(mass_kg > 0.0 && mass_kg.is_finite()) {
        return Err(BalanceError::NoMass);
    }
    let moment_kg_m: f64 =
        stations.iter().map(|station| station.mass.kilograms() * station.arm.metres()).sum();
    Ok(Balance {
        mass: Mass::from_kilograms(mass_kg),
        cg: Length::from_metres(moment_kg_m / mass_kg),
    })
}

/// A corner of the loading envelope.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Corner {
    /// Centre of gravity, aft of the datum in millimetres.
    pub cg_mm: f64,
    /// Mass in kilograms.
    pub mass_kg: f64,
}

/// The loading envelope: a simple polygon of centre of gravity and mass.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadingEnvelope {
    corners: Vec<Corner>,
}

/// Why corners make no loading envelope.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum EnvelopeError {
    /// A figure is missing.
    #[error("corner {index} has a figure that is not a finite number")]
    NotFinite {
        /// Place of the corner, from 0.
        index: usize,
    },
    /// Fewer than three corners enclose nothing.
    #[error("{count} corners enclose nothing; at least 3 are wanted")]
    TooFewCorners {
        /// How many different corners there are.
        count: usize,
    },
    /// So many corners are a mistake.
    #[error("{count} corners are more than the {MOST_CORNERS} that an envelope may have")]
    TooManyCorners {
        /// How many different corners there are.
        count: usize,
    },
    /// All corners lie on one line, or two follow each other in one place.
    #[error("the corners enclose no area, or two of them that follow each other are the same")]
    NoArea,
    /// Two edges cross or touch.
    #[error("the edge from corner {first} and the edge from corner {second} cross or touch")]
    Crossing {
        /// Corner from which the first edge starts, from 0.
        first: usize,
        /// Corner from which the second edge starts, from 0.
        second: usize,
    },
}

/// How a loading lies in the envelope.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placing {
    /// Whether it is inside; exactly on an edge is inside.
    pub inside: bool,
    /// Along the axis of the centre of gravity, at this mass, to the nearest edge, in millimetres; never negative. None
    /// when the envelope has no edge at this mass.
    pub nearest_edge_mm: Option<f64>,
    /// When inside: the centre of gravity could move ahead to here at this mass, in millimetres aft of the datum.
    pub forward_limit_mm: Option<f64>,
    /// When inside: the centre of gravity could move aft to here at this mass, in millimetres aft of the datum.
    pub aft_limit_mm: Option<f64>,
    /// When inside: the mass could fall to here at this centre of gravity, in kilograms.
    pub lightest_kg: Option<f64>,
    /// When inside: the mass could rise to here at this centre of gravity, in kilograms.
    pub heaviest_kg: Option<f64>,
}

impl LoadingEnvelope {
    /// An envelope from its corners in order; the last may repeat the first.
    ///
    /// # Errors
    ///
    /// [`EnvelopeError`] unless the corners make a simple polygon that encloses an area.
    pub fn from_corners(mut corners: Vec<Corner>) -> Result<Self, EnvelopeError> {
        for (index, corner) in corners.iter().enumerate() {
            if !(corner.cg_mm.is_finite() && corner.mass_kg.is_finite()) {
                return Err(EnvelopeError::NotFinite { index });
            }
        }
        if corners.len() > 1 && corners.first() == corners.last() {
            corners.pop();
        }
        let count = corners.len();
        if count < 3 {
            return Err(EnvelopeError::TooFewCorners { count });
        }
        if count > MOST_CORNERS {
            return Err(EnvelopeError::TooManyCorners { count });
        }
        let envelope = Self { corners };
        let repeated = envelope.edges().any(|(from, to)| from == to);
        if repeated || envelope.twice_area() == 0.0 {
            return Err(EnvelopeError::NoArea);
        }
        let edges: Vec<(Corner, Corner)> = envelope.edges().collect();
        for first in 0..count {
            for second in first + 1..count {
                let neighbours = second == first + 1 || (first == 0 && second == count - 1);
                let crossing = if neighbours {
                    folds_back(edges[first], edges[second])
                } else {
                    touches(edges[first], edges[second])
                };
                if crossing {
                    return Err(EnvelopeError::Crossing { first, second });
                }
            }
        }
        Ok(envelope)
    }

    fn edges(&self) -> impl Iterator<Item = (Corner, Corner)> + '_ {
        let next = self.corners.iter().cycle().skip(1);
        self.corners.iter().copied().zip(next.copied())
    }

    fn twice_area(&self) -> f64 {
        // From the first corner, so that a far datum does not cost digits.
        let origin = self.corners[0];
        self.edges().map(|(from, to)| turn(origin, from, to)).sum::<f64>()
    }

    /// Where a loading lies.
    ///
    /// The distance is measured along the axis of the centre of gravity at the loading's mass, because millimetres and
    /// kilograms have no distance in common.
    ///
    /// # Source
    ///
    /// Even-odd rule for a point in a polygon: common practice, no source.
    /// Checked by `published/loading.toml`.
    pub fn place(&self, balance: Balance) -> Placing {
        let point = Corner { cg_mm: balance.cg.millimetres(), mass_kg: balance.mass.kilograms() };
        let along_cg = self.crossings(point, Axis::CentreOfGravity);
        let along_mass = self.crossings(point, Axis::Mass);
        let on_an_edge = |crossings: &[f64], at: f64| {
            crossings.iter().any(|place| (place - at).abs() <= ROUNDING)
        };
        let inside = self.contains(point)
            || on_an_edge(&along_cg, point.cg_mm)
            || on_an_edge(&along_mass, point.mass_kg);
        let nearest_edge_mm =
            along_cg.iter().map(|cg_mm| (cg_mm - point.cg_mm).abs()).min_by(f64::total_cmp);
        let limits = |crossings: &[f64], at: f64| {
            let below = crossings.iter().copied().filter(|place| *place <= at + ROUNDING);
            let above = crossings.iter().copied().filter(|place| *place >= at - ROUNDING);
            (below.max_by(f64::total_cmp), above.min_by(f64::total_cmp))
        };
        let (forward_limit_mm, aft_limit_mm) = limits(&along_cg, point.cg_mm);
        let (lightest_kg, heaviest_kg) = limits(&along_mass, point.mass_kg);
        let when_inside = |limit: Option<f64>| limit.filter(|_| inside);
        Placing {
            inside,
            nearest_edge_mm,
            forward_limit_mm: when_inside(forward_limit_mm),
            aft_limit_mm: when_inside(aft_limit_mm),
            lightest_kg: when_inside(lightest_kg),
            heaviest_kg: when_inside(heaviest_kg),
        }
    }

    fn contains(&self, point: Corner) -> bool {
        if self.edges().any(|edge| on_edge(point, edge)) {
            return true;
        }
        // A ray towards greater centres of gravity meets an odd number of edges.
        let met = self
            .edges()
            .filter(|(from, to)| (from.mass_kg > point.mass_kg) != (to.mass_kg > point.mass_kg))
            .filter(|(from, to)| {
                let share = (point.mass_kg - from.mass_kg) / (to.mass_kg - from.mass_kg);
                from.cg_mm + share * (to.cg_mm - from.cg_mm) > point.cg_mm
            })
            .count();
        met % 2 == 1
    }

    /// Where the line through the point along one axis meets the edges, as places on that axis.
    fn crossings(&self, point: Corner, axis: Axis) -> Vec<f64> {
        let mut places = Vec::new();
        for (from, to) in self.edges() {
            let (along_from, across_from) = axis.split(from);
            let (along_to, across_to) = axis.split(to);
            let (along, across) = axis.split(point);
            if across < across_from.min(across_to) || across > across_from.max(across_to) {
                continue;
            }
            if across_from == across_to {
                // The edge lies on the line: its ends, and the point itself if it is on the edge.
                places.extend([along_from, along_to]);
                if (along_from.min(along_to)..=along_from.max(along_to)).contains(&along) {
                    places.push(along);
                }
                continue;
            }
            let share = (across - across_from) / (across_to - across_from);
            places.push(along_from + share * (along_to - along_from));
        }
        places
    }
}

#[derive(Clone, Copy)]
enum Axis {
    CentreOfGravity,
    Mass,
}

impl Axis {
    /// A corner's coordinate along this axis, and the one across it.
    fn split(self, corner: Corner) -> (f64, f64) {
        match self {
            Self::CentreOfGravity => (corner.cg_mm, corner.mass_kg),
            Self::Mass => (corner.mass_kg, corner.cg_mm),
        }
    }
}

/// Twice the area of the triangle; positive when it turns from the axis of the centre of gravity to that of mass.
fn turn(a: Corner, b: Corner, c: Corner) -> f64 {
    (b.cg_mm - a.cg_mm) * (c.mass_kg - a.mass_kg) - (c.cg_mm - a.cg_mm) * (b.mass_kg - a.mass_kg)
}

fn on_edge(point: Corner, (from, to): (Corner, Corner)) -> bool {
    turn(from, to, point) == 0.0
        && (from.cg_mm.min(to.cg_mm)..=from.cg_mm.max(to.cg_mm)).contains(&point.cg_mm)
        && (from.mass_kg.min(to.mass_kg)..=from.mass_kg.max(to.mass_kg)).contains(&point.mass_kg)
}

/// Whether two edges without a common corner meet.
fn touches(first: (Corner, Corner), second: (Corner, Corner)) -> bool {
    let sides = [
        turn(first.0, first.1, second.0),
        turn(first.0, first.1, second.1),
        turn(second.0, second.1, first.0),
        turn(second.0, second.1, first.1),
    ];
    let apart = |a: f64, b: f64| (a > 0.0 && b < 0.0) || (a < 0.0 && b > 0.0);
    (apart(sides[0], sides[1]) && apart(sides[2], sides[3]))
        || on_edge(second.0, first)
        || on_edge(second.1, first)
        || on_edge(first.0, second)
        || on_edge(first.1, second)
}

/// Whether of two edges with a common corner one runs back over the other.
fn folds_back(first: (Corner, Corner), second: (Corner, Corner)) -> bool {
    if first.1 == second.0 {
        on_edge(second.1, first) || on_edge(first.0, second)
    } else {
        on_edge(second.0, first) || on_edge(first.1, second)
    }
}

/// The topic `loading`.
pub static TOPIC: Topic = Topic {
    name: "loading",
    version: 1,
    title: "Mass and centre of gravity",
    gives: "Total mass and centre of gravity from the stations, as per cent of the mean aerodynamic chord where that is given, and \
            where the loading lies in the loading envelope where that is given.",
    valid_range: "One station or more, masses not negative and above zero in total. The envelope is a simple polygon of 3 to 200 \
                  corners; exactly on an edge is inside. The nearest edge is measured along the axis of the centre of \
                  gravity at the loading's mass, and is never negative: inside says on which side.",
    inputs: &[
        Field::required("stations", "list", "What the aircraft is made of and carries."),
        Field::required("stations[].name", "text", "What it is."),
        Field::required("stations[].mass_kg", "kg", "Its mass."),
        Field::required(
            "stations[].arm_mm",
            "mm",
            "Its distance aft of the datum; negative is ahead of it.",
        ),
        Field::optional("mac", "object", "The mean aerodynamic chord."),
        Field::optional("mac.leading_edge_mm", "mm", "Its leading edge, aft of the datum."),
        Field::optional("mac.length_mm", "mm", "Its length."),
        Field::optional(
            "envelope",
            "mm and kg",
            "Corners of the loading envelope in order, each [cg_mm, mass_kg]; the last may repeat the first.",
        ),
    ],
    outputs: &[
        Field::required("mass_kg", "kg", "Total mass."),
        Field::required("cg_mm", "mm", "Centre of gravity aft of the datum."),
        Field::required(
            "cg_percent_mac",
            "%",
            "Centre of gravity behind the leading edge of the mean chord; null without mac.",
        ),
        Field::required(
            "inside",
            "true or false",
            "Whether the loading is inside the envelope, edges included; null without one.",
        ),
        Field::required(
            "nearest_edge_mm",
            "mm",
            "To the nearest edge along the axis of the centre of gravity, at this mass; null without an envelope, or when it has no edge at this mass.",
        ),
        Field::required(
            "forward_limit_mm",
            "mm",
            "Foremost centre of gravity at this mass; null unless inside.",
        ),
        Field::required(
            "aft_limit_mm",
            "mm",
            "Aftmost centre of gravity at this mass; null unless inside.",
        ),
        Field::required(
            "lightest_kg",
            "kg",
            "Least mass at this centre of gravity; null unless inside.",
        ),
        Field::required(
            "heaviest_kg",
            "kg",
            "Greatest mass at this centre of gravity; null unless inside.",
        ),
    ],
    equations: &[
        "Total mass is the sum of the masses.",
        "The centre of gravity is the sum of mass times arm, over the total mass.",
        "Per cent of the mean chord is the centre of gravity less the leading edge, over the length, times 100.",
        "A loading is inside when a ray from it meets an odd number of edges, or when it lies on one.",
    ],
    sources: &[
        "common practice, no source: moments about the datum; even-odd rule for a point in a polygon",
    ],
    published: &[("loading.toml", include_str!("../published/loading.toml"))],
    example: r#"{ "stations": [ { "name": "empty", "mass_kg": 498, "arm_mm": 342 }, { "name": "pilot", "mass_kg": 86, "arm_mm": 610 }, { "name": "pack", "mass_kg": 96, "arm_mm": -180 } ], "mac": { "leading_edge_mm": 60, "length_mm": 1310 }, "envelope": [ [ 220, 480 ], [ 440, 480 ], [ 440, 750 ], [ 280, 750 ] ] }"#,
    compute,
};

#[derive(Serialize)]
struct Output {
    mass_kg: f64,
    cg_mm: f64,
    cg_percent_mac: Option<f64>,
    inside: Option<bool>,
    nearest_edge_mm: Option<f64>,
    forward_limit_mm: Option<f64>,
    aft_limit_mm: Option<f64>,
    lightest_kg: Option<f64>,
    heaviest_kg: Option<f64>,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    const MOST_KG: f64 = 1.0e6;
    const FARTHEST_MM: f64 = 1.0e6;
    let mut reader = Reader::object(input);
    let stations = reader.array("stations", 1, |station| {
        let name = station.required_text("name");
        let mass_kg = station.required_number("mass_kg", 0.0..=MOST_KG);
        let arm_mm = station.required_number("arm_mm", -FARTHEST_MM..=FARTHEST_MM);
        name?;
        Some(Station {
            mass: Mass::from_kilograms(mass_kg?),
            arm: Length::from_millimetres(arm_mm?),
        })
    });
    let mac = reader.optional_object("mac", |mac| {
        let leading_edge_mm = mac.required_number("leading_edge_mm", ANY);
        let length_mm = mac.required_number("length_mm", above(0.0));
        Some(MeanChord {
            leading_edge: Length::from_millimetres(leading_edge_mm?),
            length: Length::from_millimetres(length_mm?),
        })
    });
    let corners = reader.optional_rows("envelope", 3, [-FARTHEST_MM..=FARTHEST_MM, 0.0..=MOST_KG]);
    let envelope = match corners {
        None => None,
        Some(None) => Some(None),
        Some(Some(corners)) if corners.len() < 3 => None,
        Some(Some(corners)) => read_envelope(&mut reader, &corners).map(Some),
    };
    let (stations, mac, envelope) = reader.finish(|| Some((stations?, mac?, envelope?)))?;
    let balance = balance(&stations).map_err(|error| {
        Refused::because(
            "stations",
            FaultCode::Undetermined,
            format!("No balance was made: {error}."),
        )
    })?;
    let placing = envelope.map(|envelope| envelope.place(balance));
    answer(&Output {
        mass_kg: balance.mass.kilograms(),
        cg_mm: balance.cg.millimetres(),
        cg_percent_mac: mac.map(|mac| mac.percent_at(balance.cg)),
        inside: placing.map(|placing| placing.inside),
        nearest_edge_mm: placing.and_then(|placing| placing.nearest_edge_mm),
        forward_limit_mm: placing.and_then(|placing| placing.forward_limit_mm),
        aft_limit_mm: placing.and_then(|placing| placing.aft_limit_mm),
        lightest_kg: placing.and_then(|placing| placing.lightest_kg),
        heaviest_kg: placing.and_then(|placing| placing.heaviest_kg),
    })
}

fn read_envelope(reader: &mut Reader<'_>, corners: &[[f64; 2]]) -> Option<LoadingEnvelope> {
    let corners = corners.iter().map(|&[cg_mm, mass_kg]| Corner { cg_mm, mass_kg }).collect();
    match LoadingEnvelope::from_corners(corners) {
        Ok(envelope) => Some(envelope),
        Err(error) => {
            let code = match error {
                EnvelopeError::NotFinite { .. } => FaultCode::NotFinite,
                EnvelopeError::TooFewCorners { .. } => FaultCode::TooFew,
                EnvelopeError::TooManyCorners { .. } => FaultCode::TooMany,
                EnvelopeError::NoArea | EnvelopeError::Crossing { .. } => FaultCode::Inconsistent,
            };
            reader.fault("envelope", code, format!("envelope is no simple polygon: {error}."));
            None
        }
    }
}

#[cfg(test)]
mod tests;
