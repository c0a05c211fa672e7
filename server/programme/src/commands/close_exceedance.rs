//! Closes an explained exceedance; the safety officer, and nobody who explained it.

use serde::Deserialize;

use super::given::{not_now, one};
use super::signed::{as_seen, signable};
use super::{Command, Stamp, digests, known};
use crate::codes::ExceedanceNumber;
use crate::entry::Draft;
use crate::people::Act;
use crate::record::{Digest, ExceedanceClosed};
use crate::refusal::Refusal;
use crate::state::State;

/// What the safety officer gives to close an exceedance.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ExceedanceClosing {
    /// Of the exceedance with its explanation, as the safety officer saw it.
    pub digest: Digest,
}

/// Asks for an exceedance to be closed.
#[derive(Debug, Clone)]
pub struct CloseExceedance {
    /// Which.
    pub exceedance: ExceedanceNumber,
    /// What was given.
    pub terms: ExceedanceClosing,
}

impl Command for CloseExceedance {
    fn act(&self) -> Act {
        Act::CloseExceedances
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let exceedance = known::open_exceedance(state, self.exceedance)?;
        if exceedance.explained.is_none() {
            return Err(not_now(
                "exceedance-not-explained",
                format!("nobody has explained exceedance {}", self.exceedance),
                "An engineer explains it.",
            ));
        }
        let digest = signable(digests::exceedance(exceedance))?;
        as_seen(&digest, &self.terms.digest, "the exceedance or its explanation")?;
        if exceedance.explainers.contains(&stamp.by) {
            return Err(not_now(
                "one-person-two-parts",
                format!("you have explained exceedance {} and so cannot close it", self.exceedance),
                "Another safety officer closes it.",
            ));
        }
        Ok(one(ExceedanceClosed { exceedance: self.exceedance, digest }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{no_permission, not_now, unknown};
    use crate::nouns::Role;
    use crate::story::{Story, any_digest};

    fn closing(story: &Story) -> CloseExceedance {
        let exceedance = ExceedanceNumber(1);
        let known = story.state.exceedance(exceedance).unwrap();
        let digest = digests::exceedance(known).unwrap();
        CloseExceedance { exceedance, terms: ExceedanceClosing { digest } }
    }

    fn exceeded() -> Story {
        let mut story = Story::team();
        let run = story.run_for(&["A"], 10);
        story.exceedance(run, "L-winding");
        story
    }

    #[test]
    fn the_safety_officer_closes_what_an_engineer_has_explained() {
        let mut story = exceeded();
        let command = closing(&story);
        assert_eq!(not_now(story.when("safety", &command)), "exceedance-not-explained");
        story.explained(1);
        let command = closing(&story);
        story.when("safety", &command).unwrap();
        assert!(story.rules("A").is_empty());
        assert_eq!(not_now(story.when("safety", &command)), "exceedance-closed");
    }

    #[test]
    fn an_explanation_that_changed_since_it_was_read_is_not_signed() {
        let mut story = exceeded();
        story.explained(1);
        let mut command = closing(&story);
        command.terms.digest = any_digest();
        assert_eq!(not_now(story.when("safety", &command)), "card-changed");
        command.exceedance = ExceedanceNumber(2);
        assert_eq!(unknown(story.when("safety", &command)), "exceedance");
    }

    #[test]
    fn whoever_explained_it_does_not_close_it_even_when_another_explained_it_after_them() {
        let mut story = exceeded();
        story.has_roles("engineer", &[Role::Engineer, Role::Safety]).explained(1);
        story.has_roles("lead", &[Role::Engineer]);
        let again = crate::record::ExceedanceExplained {
            exceedance: ExceedanceNumber(1),
            explanation: "As said.".to_owned(),
            action: "As said.".to_owned(),
        };
        story.record("lead", again);
        let command = closing(&story);
        assert_eq!(not_now(story.when("engineer", &command)), "one-person-two-parts");
    }

    #[test]
    fn only_the_safety_officer_closes_exceedances() {
        let mut story = exceeded();
        story.explained(1);
        let command = closing(&story);
        no_permission(&mut story, &command, &["lead", "pilot", "engineer", "crew", "viewer"]);
    }
}
