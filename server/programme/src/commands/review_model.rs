//! Reviews a model that missed: an engineer looks at the model, and then the safety officer, another person, at what the
//! engineer found. Only both together let its predictions be used again.

use serde::Deserialize;

use super::given::{Given, not_now, one, unknown};
use super::{Command, Stamp};
use crate::entry::Draft;
use crate::nouns::Role;
use crate::people::Act;
use crate::record::{ModelReviewed, Predicted};
use crate::refusal::Refusal;
use crate::state::State;

/// What a person gives to review a model.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReviewTerms {
    /// The model of what.
    pub what: Predicted,
    /// What was found, and what was done.
    pub findings: String,
}

/// Asks for a review to be recorded.
#[derive(Debug, Clone)]
pub struct ReviewModel {
    /// What was given.
    pub terms: ReviewTerms,
}

impl Command for ReviewModel {
    fn act(&self) -> Act {
        Act::ReviewModels
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let ReviewTerms { what, findings } = self.terms.clone();
        let made = state.predictions.made.iter().flat_map(|made| &made.predictions);
        if !made.into_iter().any(|kept| kept.what == what) {
            return Err(unknown("prediction", what));
        }
        Given::new(state, stamp).text("findings", &findings).settled()?;
        let by_another = state.predictions.open_review(&what).filter(|it| it.by != stamp.by);
        if !state.roles(&stamp.by).contains(&Role::Engineer) && by_another.is_none() {
            return Err(not_now(
                "no-review-by-an-engineer",
                format!(
                    "no engineer has looked at the model of the {what} since it was reviewed last"
                ),
                "An engineer reviews the model first; then the safety officer looks at what was found.",
            ));
        }
        Ok(one(ModelReviewed { what, findings }))
    }
}
