//! The loading envelope: a polygon of centre of gravity and mass, and where a loading lies in it.

use super::Balance;

/// So far beyond an edge, in millimetres or kilograms, is the rounding of sums and not a loading.
const ROUNDING: f64 = 1.0e-6;

/// More corners than this are no loading envelope but a mistake.
const MOST_CORNERS: usize = 200;

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
