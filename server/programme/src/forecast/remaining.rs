//! What is left of the ladder, and how often runs were repeated so far.

use std::collections::{BTreeMap, BTreeSet};

use crate::codes::PointCode;
use crate::nouns::Phase;
use crate::progress::repeats_by_phase;
use crate::state::State;

/// A point that has still to be shown.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// Its code.
    pub code: PointCode,
    /// Its phase.
    pub phase: Phase,
    /// The remaining points that come before it.
    pub after: Vec<PointCode>,
    /// Energy of a run of it, in kilowatt-hours.
    pub energy_kwh: f64,
}

/// What a forecast takes from the programme.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Remaining {
    /// The points that have still to be shown.
    pub steps: Vec<Step>,
    /// Every point of the programme.
    pub known: BTreeSet<PointCode>,
    /// By phase: results that showed what they were for, and those that did not.
    pub runs: BTreeMap<Phase, (u32, u32)>,
}

/// Reads what a forecast needs: points without a result that stands accepted, and every result's verdict; a result
/// that was recorded anew counts once.
///
/// Dropped points are left out, and so is what waits for them in the network: the plan has to be mended before that point
/// can be run, and no forecast knows when.
pub fn remaining(state: &State) -> Remaining {
    let mut found = Remaining::default();
    let open: BTreeSet<PointCode> = state
        .ladder
        .rungs()
        .iter()
        .filter(|rung| rung.dropped.is_none() && state.accepted_result_of(rung).is_none())
        .map(|rung| rung.point.code.clone())
        .collect();
    for rung in state.ladder.rungs() {
        let point = &rung.point;
        found.known.insert(point.code.clone());
        if !open.contains(&point.code) {
            continue;
        }
        let mut after: Vec<PointCode> =
            point.after_points.iter().filter(|code| open.contains(*code)).cloned().collect();
        after.sort();
        after.dedup();
        found.steps.push(Step {
            code: point.code.clone(),
            phase: point.phase,
            after,
            energy_kwh: point.energy_kwh,
        });
    }
    let repeats = repeats_by_phase(state).into_iter();
    found.runs = repeats.map(|(phase, it)| (phase, (it.shown, it.repeated))).collect();
    found
}
