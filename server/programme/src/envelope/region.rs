//! Regions: what is shown inside the design boundary, with what shows it.

use super::design::Boundary;
use super::hull::{clip, hull};
use super::pairs::{Evidence, Quarter};

/// A region of two axes, in the units of its pair.
#[derive(Debug, Clone, PartialEq)]
pub struct Region {
    /// Its corners in order. One or two corners are a place or a line: loadings that enclose nothing.
    pub polygon: Vec<[f64; 2]>,
    /// The results that make its edge; without any one of them it would be smaller.
    pub bounds: Vec<Evidence>,
    /// The convex hull before it is cut off at the design boundary; of loadings only.
    pub(super) hull: Vec<[f64; 2]>,
}

impl Boundary {
    /// The greatest that the second axis may be at a place of the first; absent beyond where that is told. Where it falls
    /// at once the place itself still belongs to the higher side.
    pub fn greatest_at(&self, x: f64) -> Option<f64> {
        let pieces = self.upper.windows(2).filter(|piece| piece[0][0] <= x && x <= piece[1][0]);
        pieces.map(|piece| on_line(piece[0], piece[1], x)).max_by(f64::total_cmp)
    }
}

/// The second figure of a line at a first one.
fn on_line(from: [f64; 2], to: [f64; 2], x: f64) -> f64 {
    if to[0] == from[0] || from[1] == to[1] {
        return from[1].min(to[1]);
    }
    from[1] + (x - from[0]) / (to[0] - from[0]) * (to[1] - from[1])
}

/// The results that no other result dominates, the one that reached most across first. Of equal ones the first counts.
pub(super) fn frontier(evidence: &[Evidence], quarter: Quarter) -> Vec<Evidence> {
    let mut sorted = evidence.to_vec();
    sorted.sort_by(|one, other| {
        let (one_at, other_at) = (quarter.demand(one.at), quarter.demand(other.at));
        other_at[0]
            .total_cmp(&one_at[0])
            .then(other_at[1].total_cmp(&one_at[1]))
            .then(one.by.cmp(&other.by))
    });
    let mut most = f64::NEG_INFINITY;
    sorted.retain(|it| {
        let height = quarter.demand(it.at)[1];
        let further = height > most;
        most = most.max(height);
        further
    });
    sorted
}

/// The design boundary above a quarter, as demands, by the first demand ascending: pieces that are straight.
fn ceiling(boundary: &Boundary, quarter: Quarter) -> Vec<[[f64; 2]; 2]> {
    use crate::nouns::Direction::{Down, Up};
    let edge = match quarter.y {
        Up => &boundary.upper,
        Down => &boundary.lower,
    };
    let mut corners: Vec<[f64; 2]> = edge.iter().map(|corner| quarter.demand(*corner)).collect();
    if quarter.x == Down {
        corners.reverse();
    }
    corners.windows(2).map(|piece| [piece[0], piece[1]]).collect()
}

/// What results show by dominance, cut off at the design boundary; absent where nothing is left of it.
pub(super) fn dominated(
    evidence: &[Evidence],
    quarter: Quarter,
    boundary: &Boundary,
) -> Option<Region> {
    let bounds = frontier(evidence, quarter);
    let [x_from, y_from] = quarter.demand([quarter.x_from, quarter.y_from]);
    let demands: Vec<[f64; 2]> = bounds.iter().rev().map(|it| quarter.demand(it.at)).collect();
    // Nothing is below where demands begin, but where results are.
    let x_from = demands.iter().map(|at| at[0]).fold(x_from, f64::min);
    let y_from = demands.iter().map(|at| at[1]).fold(y_from, f64::min);
    let ends = [boundary.x_least, boundary.x_greatest];
    let x_end = match quarter.x {
        crate::nouns::Direction::Up => ends[1],
        crate::nouns::Direction::Down => ends[0].map(|least| -least),
    }
    .unwrap_or(f64::INFINITY);
    let ceiling = ceiling(boundary, quarter);
    let mut tops: Vec<[f64; 2]> = Vec::new();
    let mut from = x_from;
    for [until, height] in demands {
        let until = until.min(x_end);
        if until < from {
            continue;
        }
        below(&ceiling, (from, until), height, &mut tops);
        from = until;
    }
    let (first, last) = (*tops.first()?, *tops.last()?);
    let mut polygon = vec![[first[0], y_from]];
    polygon.extend(tops.iter().map(|top| [top[0], top[1].max(y_from)]));
    polygon.push([last[0], y_from]);
    polygon.dedup();
    if polygon.first() == polygon.last() && polygon.len() > 1 {
        polygon.pop();
    }
    let polygon = polygon.into_iter().map(|corner| quarter.demand(corner)).collect();
    Some(Region { polygon, bounds, hull: Vec::new() })
}

/// The top of a rectangle from one place to another, where a ceiling lies lower the ceiling.
fn below(
    ceiling: &[[[f64; 2]; 2]],
    (from, until): (f64, f64),
    height: f64,
    tops: &mut Vec<[f64; 2]>,
) {
    if ceiling.is_empty() {
        tops.extend([[from, height], [until, height]]);
        return;
    }
    for [start, end] in ceiling {
        let (left, right) = (start[0].max(from), end[0].min(until));
        // A step straight up or down has no width.
        if left > right || (start[0] == end[0]) {
            continue;
        }
        let (at_left, at_right) = (on_line(*start, *end, left), on_line(*start, *end, right));
        tops.push([left, height.min(at_left)]);
        if (at_left - height) * (at_right - height) < 0.0 {
            let share = (height - at_left) / (at_right - at_left);
            tops.push([left + share * (right - left), height]);
        }
        tops.push([right, height.min(at_right)]);
    }
}

/// What loadings enclose, cut off at the design boundary; absent where there are none.
pub(super) fn enclosed(evidence: &[Evidence], boundary: &Boundary) -> Option<Region> {
    let places: Vec<[f64; 2]> = evidence.iter().map(|it| it.at).collect();
    let hull = hull(&places);
    let bounds: Vec<Evidence> = hull
        .iter()
        .filter_map(|corner| evidence.iter().find(|it| it.at == *corner).copied())
        .collect();
    if bounds.is_empty() {
        return None;
    }
    let polygon = if hull.len() < 3 {
        hull.clone()
    } else if boundary.polygon.len() >= 3 {
        clip(&boundary.polygon, &hull)
    } else if let [corner, ..] = boundary.upper.as_slice() {
        let most = corner[1];
        let below = [[-1.0e9, -1.0e9], [1.0e9, -1.0e9], [1.0e9, most], [-1.0e9, most]];
        clip(&hull, &below)
    } else {
        hull.clone()
    };
    Some(Region { polygon, bounds, hull })
}
