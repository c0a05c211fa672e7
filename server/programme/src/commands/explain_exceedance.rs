//! Explains an exceedance; an engineer. A new explanation replaces the one before until the exceedance is closed.

use serde::Deserialize;

use super::given::{Given, at_revision, one};
use super::{Command, Stamp, known};
use crate::codes::ExceedanceNumber;
use crate::entry::Draft;
use crate::people::Act;
use crate::record::ExceedanceExplained;
use crate::refusal::Refusal;
use crate::state::{Amendable, State};

/// What an engineer gives to explain an exceedance.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ExplanationTerms {
    /// Why it came about.
    pub explanation: String,
    /// What is done about it.
    pub action: String,
}

/// Asks for an exceedance to be explained.
#[derive(Debug, Clone)]
pub struct ExplainExceedance {
    /// Which.
    pub exceedance: ExceedanceNumber,
    /// What was given.
    pub terms: ExplanationTerms,
    /// The revision of the exceedance that the person saw.
    pub expected: Option<u64>,
}

impl Command for ExplainExceedance {
    fn act(&self) -> Act {
        Act::ExplainExceedances
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let ExplanationTerms { explanation, action } = self.terms.clone();
        let exceedance = self.exceedance;
        known::open_exceedance(state, exceedance)?;
        at_revision(state, &Amendable::Exceedance(exceedance), self.expected)?;
        Given::new(state, stamp)
            .text("explanation", &explanation)
            .text("action", &action)
            .settled()?;
        Ok(one(ExceedanceExplained { exceedance, explanation, action }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, stale, unknown};
    use crate::story::Story;

    fn explanation(number: u32) -> ExplainExceedance {
        let terms = ExplanationTerms {
            explanation: "The cowl flap stuck.".to_owned(),
            action: "It was freed and checked.".to_owned(),
        };
        ExplainExceedance { exceedance: ExceedanceNumber(number), terms, expected: None }
    }

    fn exceeded() -> Story {
        let mut story = Story::team();
        let run = story.run_for(&["A"], 10);
        story.exceedance(run, "L-winding");
        story
    }

    #[test]
    fn an_engineer_explains_an_exceedance_until_it_is_closed() {
        let mut story = exceeded();
        assert_eq!(story.rules("A"), ["exceedance-not-explained"]);
        story.when("engineer", &explanation(1)).unwrap();
        assert_eq!(story.rules("A"), ["exceedance-not-closed"]);
        story.when("engineer", &explanation(1)).unwrap();
        story.explained_and_closed(1);
        assert_eq!(not_now(story.when("engineer", &explanation(1))), "exceedance-closed");
    }

    #[test]
    fn an_explanation_says_why_and_what_is_done() {
        let mut story = exceeded();
        let mut command = explanation(1);
        command.terms.explanation = String::new();
        command.terms.action = "\n".to_owned();
        assert_eq!(faults(story.when("engineer", &command)), ["explanation", "action"]);
        assert_eq!(unknown(story.when("engineer", &explanation(2))), "exceedance");
        let mut command = explanation(1);
        command.expected = Some(1);
        let present = story.state.length();
        assert_eq!(stale(story.when("engineer", &command)), (present, 1));
    }

    #[test]
    fn only_engineers_explain() {
        let mut story = exceeded();
        let others = ["lead", "pilot", "safety", "crew", "viewer"];
        no_permission(&mut story, &explanation(1), &others);
    }
}
