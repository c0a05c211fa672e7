//! Which points are shown again after a change.
//!
//! Every point whose result lapsed waits to be shown again. The smallest set that looks at all of it again leaves out what
//! another one of them covers: it looks at the same parameters and limits, of an aircraft as sensitive to what changed,
//! under conditions that are as demanding or more. To leave one out takes the safety officer and a reason: the program only
//! proposes.

use crate::codes::PointCode;
use crate::holds::edge::is_at_most;
use crate::nouns::{Axis, Direction, Point};
use crate::state::State;

/// A point that would not have to be run again if the safety officer let its result stand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Covered {
    /// Which.
    pub point: PointCode,
    /// The point that covers it.
    pub by: PointCode,
}

/// Points that are shown again.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Repeat {
    /// The smallest set, in the ladder's order.
    pub points: Vec<PointCode>,
    /// What they cover, in the ladder's order. Until the safety officer lets their results stand these wait too.
    pub covered: Vec<Covered>,
}

/// Which way an axis is more demanding; none where both ways are, so that only the same counts.
const fn demanding(axis: Axis) -> Option<Direction> {
    match axis {
        Axis::ChargeState => Some(Direction::Down),
        Axis::CentreOfGravity | Axis::AirTemperature | Axis::LoadFactor => None,
        Axis::Speed
        | Axis::PressureAltitude
        | Axis::Mass
        | Axis::Power
        | Axis::TimeAtPower
        | Axis::PackTemperature
        | Axis::Crosswind
        | Axis::PropellerSpeed
        | Axis::BankAngle => Some(Direction::Up),
    }
}

/// Whether a point looks at all that another one does, under conditions that demand as much.
fn covers(one: &Point, other: &Point) -> bool {
    let conditions = other.conditions.iter().all(|(axis, asked)| {
        let Some(had) = one.conditions.get(axis).and_then(|it| it.target().in_unit(asked.unit))
        else {
            return false;
        };
        match demanding(*axis) {
            Some(direction) => is_at_most(direction.demand(asked.target), direction.demand(had)),
            None => is_at_most(had, asked.target) && is_at_most(asked.target, had),
        }
    });
    let criteria = other.criteria.iter().all(|asked| {
        let mut looked_at = one.criteria.iter();
        looked_at.any(|it| it.parameter == asked.parameter && it.statistic == asked.statistic)
    });
    one.phase == other.phase
        && conditions
        && criteria
        && other.limits.iter().all(|limit| one.limits.contains(limit))
        && other.sensitive_to.iter().all(|item| one.sensitive_to.contains(item))
        && (!other.conditions.is_empty() || one.conditions.is_empty())
}

/// Which of some points are shown again.
pub fn repeat(state: &State, points: &[PointCode]) -> Repeat {
    let lapsed: Vec<&Point> =
        points.iter().filter_map(|code| state.rung(code)).map(|rung| &*rung.point).collect();
    let mut found = Repeat::default();
    for (place, point) in lapsed.iter().enumerate() {
        let covering = lapsed.iter().enumerate().filter(|(other, _)| *other != place);
        // Of two that cover each other the later one is run.
        let mut covering = covering
            .filter(|(other, it)| covers(it, point) && (*other > place || !covers(point, it)));
        // What covers the one that covers it covers it too, so the last one is run itself.
        match covering.next_back() {
            Some((_, by)) => {
                let (point, by) = (point.code.clone(), by.code.clone());
                found.covered.push(Covered { point, by });
            }
            None => found.points.push(point.code.clone()),
        }
    }
    // What covers is itself run, or covered by what is run: name the one that is run.
    let covered = found.covered.clone();
    for one in &mut found.covered {
        for _ in 0..covered.len() {
            match covered.iter().find(|it| it.point == one.by) {
                Some(next) => one.by = next.by.clone(),
                None => break,
            }
        }
    }
    found
}
