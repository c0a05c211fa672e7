//! Declines a proposed limit; the safety officer, with the reason.

use serde::Deserialize;

use super::given::{Given, one};
use super::{Command, Stamp, known};
use crate::codes::ProposalNumber;
use crate::entry::Draft;
use crate::people::Act;
use crate::record::LimitChangeDeclined;
use crate::refusal::Refusal;
use crate::state::State;

/// What a person gives to decline a proposal, or to withdraw their own.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DecliningTerms {
    /// Why.
    pub reason: String,
}

/// Asks for a proposal to be declined.
#[derive(Debug, Clone)]
pub struct DeclineLimit {
    /// Which proposal.
    pub proposal: ProposalNumber,
    /// What was given.
    pub terms: DecliningTerms,
}

impl Command for DeclineLimit {
    fn act(&self) -> Act {
        Act::AgreeLimit
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let Self { proposal, terms: DecliningTerms { reason } } = self;
        known::open_proposal(state, *proposal)?;
        Given::new(state, stamp).text("reason", reason).settled()?;
        Ok(one(LimitChangeDeclined { proposal: *proposal, reason: reason.clone() }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, unknown};
    use crate::commands::{ProposalTerms, ProposeLimit};
    use crate::state::ProposalFate;
    use crate::story::{Story, limit};

    fn proposed() -> Story {
        let mut story = Story::team();
        let terms = ProposalTerms { limit: limit("L-second"), reason: "Learnt.".to_owned() };
        story.when("engineer", &ProposeLimit { terms, expected: None }).unwrap();
        story
    }

    fn declining(number: u32) -> DeclineLimit {
        let terms = DecliningTerms { reason: "It protects nothing.".to_owned() };
        DeclineLimit { proposal: ProposalNumber(number), terms }
    }

    #[test]
    fn the_safety_officer_declines_a_proposal_with_the_reason() {
        let mut story = proposed();
        let mut command = declining(1);
        command.terms.reason = String::new();
        assert_eq!(faults(story.when("safety", &command)), ["reason"]);
        story.when("safety", &declining(1)).unwrap();
        let fate = &story.state.limits.proposals[0].fate;
        let ProposalFate::Declined { by, reason, .. } = fate else {
            unreachable!("it was declined")
        };
        assert_eq!((by.as_str(), reason.as_str()), ("safety", "It protects nothing."));
        assert!(!story.state.limits.by_code.contains_key("L-second"));
    }

    #[test]
    fn a_proposal_that_was_settled_or_never_made_is_not_declined() {
        let mut story = proposed();
        story.when("safety", &declining(1)).unwrap();
        assert_eq!(not_now(story.when("safety", &declining(1))), "proposal-settled");
        assert_eq!(unknown(story.when("safety", &declining(2))), "proposal");
    }

    #[test]
    fn only_the_safety_officer_declines() {
        let mut story = proposed();
        let others = ["lead", "pilot", "engineer", "crew", "viewer"];
        no_permission(&mut story, &declining(1), &others);
    }
}
