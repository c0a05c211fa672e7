//! Parts that runs heat, as fits of this programme's recordings have them.

use super::Basis;
use super::temperature::fits;
use crate::codes::{ChannelCode, LimitCode};
use crate::measure::Unit;
use crate::state::State;

/// A part that runs heat: what the runs with the parts that are fitted now show of it.
#[derive(Debug, Clone, PartialEq)]
pub struct KnownHeating {
    /// The limit that it must not reach.
    pub limit: LimitCode,
    /// The channel of its temperature.
    pub channel: ChannelCode,
    /// Time in which a difference falls to 1/e, in seconds: the mean of the runs.
    pub time_constant_s: f64,
    /// Rise over the air for each kilowatt in the long run, in kelvins: the mean of the runs.
    pub rise_c_per_kw: f64,
    /// How warm it may become: its limit less the margin of predictions, in degrees Celsius.
    pub most_c: f64,
    /// What that rests on.
    pub basis: Basis,
}

/// Every part whose temperature is predicted and of which a run with what is fitted now has a fit, in the policy's order.
///
/// A fit counts where the items that the part's heating depends on, and those that its point is sensitive to, are what they
/// were in the run; of each run the fit made last.
pub fn known_heating(state: &State) -> Vec<KnownHeating> {
    let rules = state.policy.as_ref().and_then(|policy| policy.predictions.as_ref());
    let Some(rules) = rules else { return Vec::new() };
    let margin = rules.temperature_margin.in_unit(Unit::Kelvin);
    rules
        .components
        .iter()
        .filter_map(|component| {
            let limit = &state.limits.by_code.get(&component.limit)?.limit;
            let most_c = limit.greatest_temperature()? - margin?;
            let fits = fits(state, component, &limit.channel, None);
            let mut basis = Basis::default();
            for (number, _) in &fits {
                basis.add(state, *number);
            }
            let runs = fits.len() as f64;
            (runs > 0.0).then(|| KnownHeating {
                limit: component.limit.clone(),
                channel: limit.channel.clone(),
                time_constant_s: fits.iter().map(|(_, it)| it.time_constant_s).sum::<f64>() / runs,
                rise_c_per_kw: fits.iter().map(|(_, it)| it.rise_c_per_kw).sum::<f64>() / runs,
                most_c,
                basis,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::story::Story;
    use crate::story::predictions::prediction_rules;

    #[test]
    fn a_part_is_known_by_the_runs_with_what_is_fitted_now() {
        let mut story = Story::team();
        assert!(known_heating(&story.state).is_empty(), "nobody has decided what is predicted");
        story.predicting(prediction_rules());
        assert!(known_heating(&story.state).is_empty(), "nothing was recorded yet");
        story.warmed("A", 1.2);
        story.warmed("A", 1.4);
        let known = known_heating(&story.state);
        assert_eq!(known.len(), 1);
        assert!((known[0].time_constant_s - 200.0).abs() < 1e-9, "{known:?}");
        assert!((known[0].rise_c_per_kw - 1.3).abs() < 1e-9, "{known:?}");
        assert_eq!((known[0].basis.reductions.len(), known[0].basis.runs.len()), (2, 2));
        story.fit("motor", "another");
        assert!(known_heating(&story.state).is_empty(), "it was another motor");
    }
}
