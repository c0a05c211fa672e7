//! Models that missed: twice outside its interval since it was reviewed last, a model's predictions are not to be trusted
//! until an engineer has looked at it and the safety officer at what the engineer found.

use chrono::{DateTime, Utc};

use super::predicted_limit::policy_source;
use super::words::listed;
use super::{Explained, Reason, Rule, Subject};
use crate::prediction::{Miss, missed, predictions, rules};
use crate::state::{Rung, State};

static REVIEW: Rule = Rule::against_release(
    "prediction-model-needs-review",
    "No model on which a prediction for the point rests has missed twice since it was reviewed.",
);

pub(super) static RULES: &[&Rule] = &[&REVIEW];

/// A model that missed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ModelNeedsReview {
    /// What it missed.
    pub miss: Miss,
}

pub(super) fn collect(rung: &Rung, state: &State, now: DateTime<Utc>, found: &mut Vec<Reason>) {
    if rules(state).is_none() || state.predictions.made.is_empty() {
        return;
    }
    let missed = missed(state);
    if missed.is_empty() {
        return;
    }
    let predictions = predictions(state, &rung.point, now);
    let made = predictions.made.iter().map(|it| &it.what);
    let concerned: Vec<_> = made.chain(predictions.unavailable.iter().map(|it| &it.what)).collect();
    let misses = missed.into_iter().filter(|miss| concerned.contains(&&miss.what));
    found.extend(misses.map(|miss| Reason::ModelNeedsReview(ModelNeedsReview { miss })));
}

impl Explained for ModelNeedsReview {
    fn rule(&self) -> &'static Rule {
        &REVIEW
    }

    fn subject(&self, _: &Rung) -> Subject {
        Subject::new("prediction", &self.miss.what)
    }

    fn why(&self, _: &Rung, state: &State) -> String {
        let Miss { what, at } = &self.miss;
        let runs = at.iter().map(|(run, point)| format!("run {run} ({point})"));
        let review = state.predictions.open_review(what).map_or_else(String::new, |review| {
            format!(
                " {} has looked at the model; the safety officer has not looked at that yet.",
                review.by
            )
        });
        format!(
            "The predicted {what} missed what was measured {} times since it was reviewed last: {}.{review}",
            at.len(),
            listed(runs)
        )
    }

    fn clears(&self, _: &Rung, _: &State) -> String {
        format!(
            "An engineer reviews the model of the {} and records what was found; the safety officer, another person, reviews that.",
            self.miss.what
        )
    }

    fn source(&self, _: &Rung, state: &State) -> String {
        policy_source(state)
    }
}
