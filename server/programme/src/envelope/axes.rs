//! What accepted results have shown on each axis.

use std::collections::BTreeMap;

use crate::measure::Measure;
use crate::nouns::{Axis, Direction, Phase};
use crate::state::{ResultId, ResultState, State};

/// The furthest that was shown one way along an axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shown {
    /// The figure, in the unit it was recorded in.
    pub reached: Measure,
    /// The result that shows it.
    pub by: ResultId,
}

/// The furthest both ways.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Extremes {
    greatest: Option<Shown>,
    least: Option<Shown>,
}

/// The furthest values reached on each axis by accepted results, by the phase in which they were reached.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct AxesShown {
    by_axis: BTreeMap<Axis, [Extremes; Phase::ALL.len()]>,
}

impl AxesShown {
    /// The furthest that was shown one way along an axis in some phases; in no phase stands for in all of them.
    pub fn furthest(&self, axis: Axis, direction: Direction, phases: &[Phase]) -> Option<Shown> {
        let of_axis = self.by_axis.get(&axis)?;
        Phase::ALL
            .into_iter()
            .filter(|phase| phases.is_empty() || phases.contains(phase))
            .filter_map(|phase| {
                let extremes = &of_axis[State::phase_index(phase)];
                match direction {
                    Direction::Up => extremes.greatest,
                    Direction::Down => extremes.least,
                }
            })
            .reduce(|best, other| {
                let demand = |shown: &Shown| direction.demand(shown.reached.in_kinds_unit());
                // Of two that reached the same the first result shows it.
                let further = demand(&other) > demand(&best)
                    || (demand(&other) == demand(&best) && other.by < best.by);
                if further { other } else { best }
            })
    }

    /// The axes on which anything was shown.
    pub fn axes(&self) -> impl Iterator<Item = Axis> {
        self.by_axis.keys().copied()
    }

    /// Takes in an accepted result. Accepting another never takes anything away.
    pub(crate) fn widen(&mut self, id: ResultId, result: &ResultState) {
        let phase = State::phase_index(result.planned.phase);
        for (axis, reached) in &result.reached {
            let figure = reached.in_kinds_unit();
            if !figure.is_finite() || reached.unit.kind() != axis.kind() {
                continue;
            }
            let shown = Shown { reached: *reached, by: id };
            let extremes = &mut self.by_axis.entry(*axis).or_default()[phase];
            let further = |than: Option<Shown>, direction: Direction| {
                than.is_none_or(|than| {
                    direction.demand(figure) > direction.demand(than.reached.in_kinds_unit())
                })
            };
            if further(extremes.greatest, Direction::Up) {
                extremes.greatest = Some(shown);
            }
            if further(extremes.least, Direction::Down) {
                extremes.least = Some(shown);
            }
        }
    }
}
