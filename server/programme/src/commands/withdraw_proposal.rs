//! Withdraws a proposed limit; the engineer who proposed it, and nobody else.

use super::decline_limit::DecliningTerms;
use super::given::{Given, not_now, one};
use super::{Command, Stamp, known};
use crate::codes::ProposalNumber;
use crate::entry::Draft;
use crate::people::Act;
use crate::record::LimitChangeDeclined;
use crate::refusal::Refusal;
use crate::state::State;

/// Asks for a proposal to be withdrawn.
#[derive(Debug, Clone)]
pub struct WithdrawProposal {
    /// Which proposal.
    pub proposal: ProposalNumber,
    /// What was given.
    pub terms: DecliningTerms,
}

impl Command for WithdrawProposal {
    fn act(&self) -> Act {
        Act::ProposeLimit
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let Self { proposal, terms: DecliningTerms { reason } } = self;
        let known = known::open_proposal(state, *proposal)?;
        Given::new(state, stamp).text("reason", reason).settled()?;
        if known.by != stamp.by {
            return Err(not_now(
                "proposal-of-another",
                format!("proposal {proposal} was made by {}", known.by),
                format!("{} withdraws it, or the safety officer declines it.", known.by),
            ));
        }
        Ok(one(LimitChangeDeclined { proposal: *proposal, reason: reason.clone() }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, unknown};
    use crate::commands::{ProposalTerms, ProposeLimit};
    use crate::nouns::Role;
    use crate::story::{Story, limit};

    fn proposes(story: &mut Story) {
        let terms = ProposalTerms { limit: limit("L-second"), reason: "Learnt.".to_owned() };
        story.when("engineer", &ProposeLimit { terms, expected: None }).unwrap();
    }

    fn withdrawal(number: u32) -> WithdrawProposal {
        let terms = DecliningTerms { reason: "The sensor was wrong.".to_owned() };
        WithdrawProposal { proposal: ProposalNumber(number), terms }
    }

    #[test]
    fn the_proposer_withdraws_a_proposal_and_may_then_make_another() {
        let mut story = Story::team();
        proposes(&mut story);
        let mut command = withdrawal(1);
        command.terms.reason = " ".to_owned();
        assert_eq!(faults(story.when("engineer", &command)), ["reason"]);
        story.when("engineer", &withdrawal(1)).unwrap();
        assert_eq!(not_now(story.when("engineer", &withdrawal(1))), "proposal-settled");
        proposes(&mut story);
        assert_eq!(story.state.limits.proposals.len(), 2);
        assert_eq!(unknown(story.when("engineer", &withdrawal(3))), "proposal");
    }

    #[test]
    fn nobody_withdraws_the_proposal_of_another() {
        let mut story = Story::team();
        proposes(&mut story);
        story.has_roles("lead", &[Role::Lead, Role::Engineer]);
        assert_eq!(not_now(story.when("lead", &withdrawal(1))), "proposal-of-another");
        no_permission(&mut story, &withdrawal(1), &["pilot", "safety", "crew", "viewer"]);
    }
}
