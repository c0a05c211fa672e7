//! What accepted results have shown on each axis.

use std::collections::BTreeMap;

use super::{ResultId, ResultState};
use crate::measure::Measure;
use crate::nouns::Axis;

/// The furthest that was shown on one axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shown {
    /// The figure, in the unit it was recorded in.
    pub reached: Measure,
    /// The result that shows it.
    pub by: ResultId,
}

/// The greatest value reached on each axis by accepted results that stand for what is fitted now.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Envelope {
    /// By axis.
    pub greatest: BTreeMap<Axis, Shown>,
}

impl Envelope {
    /// Takes in an accepted result. Accepting another never takes anything away.
    pub(super) fn widen(&mut self, id: ResultId, result: &ResultState) {
        for (axis, reached) in &result.reached {
            let figure = reached.in_kinds_unit();
            let further =
                self.greatest.get(axis).is_none_or(|shown| figure > shown.reached.in_kinds_unit());
            if further && figure.is_finite() && reached.unit.kind() == axis.kind() {
                self.greatest.insert(*axis, Shown { reached: *reached, by: id });
            }
        }
    }
}
