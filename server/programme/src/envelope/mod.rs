//! The shown envelope: what accepted results have demonstrated, with what shows it, inside the design boundary.
//!
//! It is made of what was really reached, never of what was planned, and of accepted results that stand. One notion of
//! what was shown serves the holds of the build-up, the next steps and every picture.

mod axes;
mod coupled;
mod design;
mod hull;
mod pairs;
mod region;
mod steps;
#[cfg(test)]
mod tests;

use std::sync::Arc;

pub use axes::{AxesShown, Shown};
pub use coupled::{CoupledStep, coupled_steps};
pub use design::{Boundary, described_loading, is_beyond, of_axis as design_of_axis, structures};
pub use pairs::{Evidence, Pair, PairShown, UnknownPair, is_beyond as pair_is_beyond};
pub use region::Region;
pub use steps::{Step, steps, way_to};

use crate::card::Fitted;
use crate::measure::Measure;
use crate::nouns::{Axis, Direction};
use crate::record::Digest;
use crate::state::{Lapse, ResultId, Standing, State};

/// What was shown on one axis.
#[derive(Debug, Clone, PartialEq)]
pub struct AxisShown {
    /// Which axis.
    pub axis: Axis,
    /// The least that was reached.
    pub least: Shown,
    /// The greatest that was reached.
    pub greatest: Shown,
    /// The least that the aircraft's design allows, as far as stated.
    pub design_least: Option<Measure>,
    /// The greatest that the aircraft's design allows, as far as stated.
    pub design_greatest: Option<Measure>,
}

/// What was shown.
#[derive(Debug, Clone, PartialEq)]
pub struct Envelope {
    /// The results that show it, in the order recorded.
    pub results: Vec<ResultId>,
    /// Each axis on which anything was shown.
    pub axes: Vec<AxisShown>,
    /// Each pair of axes, also those of which nothing was shown.
    pub pairs: Vec<PairShown>,
}

/// A configuration in which accepted results were made.
#[derive(Debug, Clone, PartialEq)]
pub struct FlownConfiguration {
    /// Of what was fitted.
    pub digest: Digest,
    /// What was fitted.
    pub fitted: Arc<Fitted>,
    /// Whether that is fitted now.
    pub is_present: bool,
    /// The accepted results that were made in it, in the order recorded.
    pub results: Vec<ResultId>,
}

/// The results that stand for what is fitted now, in whatever configuration they were made: an item to which their points
/// are not sensitive may have changed since.
pub fn standing_results(state: &State) -> Vec<ResultId> {
    let results = state.results.iter().enumerate();
    results.filter(|(_, it)| it.is_accepted()).map(|(place, _)| ResultId(place)).collect()
}

/// Whether a result was accepted and nothing but a change of the configuration since speaks against it.
fn stood(state: &State, id: ResultId) -> bool {
    let result = &state.results[id.0];
    match &result.standing {
        Standing::Accepted => true,
        // The configuration is named first, so that what else made it lapse is looked for.
        Standing::Lapsed(Lapse::ItemChanged { .. }) => state.stands_but_for_items(result),
        Standing::Lapsed(
            Lapse::Quarantined { .. }
            | Lapse::PlanChanged
            | Lapse::LimitChanged
            | Lapse::RecordingSetAside { .. },
        )
        | Standing::Open
        | Standing::NotMet
        | Standing::Replaced => false,
    }
}

/// Every configuration in which accepted results were made, in the order of the first of them.
pub fn configurations(state: &State) -> Vec<FlownConfiguration> {
    let present = state.configuration.fitted();
    let mut found: Vec<FlownConfiguration> = Vec::new();
    for id in (0..state.results.len()).map(ResultId) {
        if !stood(state, id) {
            continue;
        }
        let fitted = &state.results[id.0].fitted;
        let known = found
            .iter_mut()
            .rev()
            .find(|it| Arc::ptr_eq(&it.fitted, fitted) || it.fitted == *fitted);
        if let Some(known) = known {
            known.results.push(id);
            continue;
        }
        // Texts always have a JSON form.
        let Ok(digest) = Digest::of(&**fitted) else { continue };
        found.push(FlownConfiguration {
            digest,
            fitted: Arc::clone(fitted),
            is_present: *fitted == present,
            results: vec![id],
        });
    }
    found
}

impl Envelope {
    /// What is shown for what is fitted now.
    pub fn present(state: &State) -> Self {
        Self::of(state, standing_results(state))
    }

    /// What some results show.
    pub fn of(state: &State, results: Vec<ResultId>) -> Self {
        let mut shown = AxesShown::default();
        for id in &results {
            shown.widen(*id, &state.results[id.0]);
        }
        let axes = shown.axes().filter_map(|axis| {
            let (design_least, design_greatest) = design::of_axis(state, axis);
            Some(AxisShown {
                axis,
                least: shown.furthest(axis, Direction::Down, &[])?,
                greatest: shown.furthest(axis, Direction::Up, &[])?,
                design_least,
                design_greatest,
            })
        });
        let axes = axes.collect();
        let pairs =
            Pair::ALL.into_iter().map(|pair| PairShown::of(state, pair, &results)).collect();
        Self { results, axes, pairs }
    }

    /// What was shown of a pair.
    pub fn pair(&self, pair: Pair) -> Option<&PairShown> {
        self.pairs.iter().find(|shown| shown.pair == pair)
    }
}
