//! Predictions whose pessimistic end passes what they must not: the temperature of a component its limit less the margin, a
//! damping the least that the policy allows. Exactly there it has not passed.
//!
//! Where nobody has observed the weather lately the temperature is that of the warmest day that the point allows, so that a
//! new observation may clear it.

use chrono::{DateTime, Utc};

use super::{Explained, Reason, Rule, Subject};
use crate::prediction::{AmbientBasis, Prediction, predictions};
use crate::record::Predicted;
use crate::state::{Rung, State};

static PASSES: Rule = Rule::against_release(
    "predicted-beyond-limit",
    "The pessimistic end of no predicted temperature passes its limit less the margin, and of no predicted damping the least.",
);

pub(super) static RULES: &[&Rule] = &[&PASSES];

/// A prediction whose pessimistic end passes its bound.
#[derive(Debug, Clone, PartialEq)]
pub struct PredictedLimit {
    /// The prediction.
    pub prediction: Box<Prediction>,
}

pub(super) fn collect(rung: &Rung, state: &State, now: DateTime<Utc>, found: &mut Vec<Reason>) {
    for prediction in predictions(state, &rung.point, now).made {
        let concerns = match prediction.what {
            Predicted::Temperature { .. } | Predicted::Damping { .. } => true,
            Predicted::Energy {} | Predicted::LandingEnergy {} => false,
        };
        if concerns && prediction.passes_bound() {
            let prediction = Box::new(prediction);
            found.push(Reason::PredictedLimit(PredictedLimit { prediction }));
        }
    }
}

impl Explained for PredictedLimit {
    fn rule(&self) -> &'static Rule {
        &PASSES
    }

    fn subject(&self, _: &Rung) -> Subject {
        match &self.prediction.what {
            Predicted::Temperature { limit } => Subject::new("limit", limit),
            Predicted::Damping { channel } => Subject::new("channel", channel),
            Predicted::Energy {} | Predicted::LandingEnergy {} => {
                Subject::new("programme", "energy")
            }
        }
    }

    fn why(&self, _: &Rung, _: &State) -> String {
        let Prediction { what, value, unit, bound, .. } = &*self.prediction;
        let bound = bound.map_or(f64::NAN, |bound| bound.figure);
        let rests = self.prediction.rests_on();
        let told = match &self.prediction.temperature {
            Some(detail) => {
                let ambient = match detail.ambient.basis {
                    AmbientBasis::Observed => "as observed",
                    AmbientBasis::PointMaximum => {
                        "the most that the point allows, for nobody has observed it lately"
                    }
                    AmbientBasis::HotDay => "the hot day's, for nobody has observed it lately",
                };
                format!(
                    "After {:.0} s at {} kW in air of {:.1} °C ({ambient}) the {what} is predicted at {:.1} {unit} ({:.1} to {:.1}); \
                     with the margin it may come to {bound:.1} {unit} of its limit {:.1} {unit}.",
                    detail.duration_s,
                    detail.power_kw,
                    detail.ambient.celsius,
                    value.estimate,
                    value.low,
                    value.high,
                    detail.limit_c
                )
            }
            None => format!(
                "The {what} is predicted at {:.2} {unit} ({:.2} to {:.2}), and may come down to {bound:.2} {unit}.",
                value.estimate, value.low, value.high
            ),
        };
        format!("{told} {rests}")
    }

    fn clears(&self, rung: &Rung, _: &State) -> String {
        let code = &rung.point.code;
        match &self.prediction.what {
            Predicted::Temperature { .. } => format!(
                "Less power or a shorter time is planned for {code}, a step in between is recorded and reduced, or the air is \
                 observed to be cooler."
            ),
            Predicted::Damping { .. } | Predicted::Energy {} | Predicted::LandingEnergy {} => {
                format!(
                    "A lower speed is planned for {code}, or a step in between is flown, recorded and reduced."
                )
            }
        }
    }

    fn source(&self, _: &Rung, state: &State) -> String {
        policy_source(state)
    }
}

/// Where the rules of predictions come from.
pub(super) fn policy_source(state: &State) -> String {
    crate::prediction::rules(state).map_or_else(
        || "the programme's policy".to_owned(),
        |rules| format!("the programme's policy: {}", rules.source),
    )
}
