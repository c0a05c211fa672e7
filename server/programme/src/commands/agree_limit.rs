//! Agrees to a proposed limit; the safety officer, and nobody who proposed it. From then on the limit holds.
//!
//! A limit can change while a run is open: one record can tighten it in flight.

use serde::Deserialize;

use super::given::{Given, not_now, one};
use super::held::{hold, unless_held};
use super::propose_limit::against_programme;
use super::signed::{as_seen, signable};
use super::{Command, Stamp, digests, known};
use crate::codes::ProposalNumber;
use crate::entry::Draft;
use crate::people::Act;
use crate::record::{Digest, LimitChangeAgreed};
use crate::refusal::Refusal;
use crate::state::State;

/// What the safety officer gives to agree to a limit.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AgreementTerms {
    /// Of the proposal with the limit that it replaces, as the safety officer saw them.
    pub digest: Digest,
}

/// Asks for a proposed limit to hold.
#[derive(Debug, Clone)]
pub struct AgreeLimit {
    /// Which proposal.
    pub proposal: ProposalNumber,
    /// What was given.
    pub terms: AgreementTerms,
}

impl Command for AgreeLimit {
    fn act(&self) -> Act {
        Act::AgreeLimit
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let number = self.proposal;
        let proposal = known::open_proposal(state, number)?;
        let (limit, code) = (&proposal.limit, &proposal.limit.code);
        as_seen(&proposal.digest, &self.terms.digest, "the proposal")?;
        let replaces = state.limits.by_code.get(code).map(|known| &*known.limit);
        let digest = signable(digests::proposal(number, limit, &proposal.reason, replaces))?;
        if digest != proposal.digest {
            return Err(not_now(
                "proposal-outdated",
                format!("limit {code} is not what it was when proposal {number} was made"),
                "Decline the proposal; an engineer proposes anew against the limit as it is now.",
            ));
        }
        if proposal.by == stamp.by {
            unless_held(vec![hold(
                "one-person-two-parts",
                ("person", &stamp.by),
                format!("{} has proposed limit {code} and so cannot agree to it.", stamp.by),
                "A safety officer who is another person agrees to it.",
                "Rungbook rule: changing a limit takes two people",
            )])?;
        }
        // Channels may have been defined anew since the proposal was made.
        Given::new(state, stamp).faults(against_programme(limit, state)).settled()?;
        Ok(one(LimitChangeAgreed { proposal: number, digest }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, held, no_permission, not_now, unknown};
    use crate::commands::{ProposalTerms, ProposeLimit};
    use crate::measure::Unit;
    use crate::nouns::{Channel, Limit, LimitKind, Role};
    use crate::record::{ChannelDefined, LimitSet};
    use crate::story::{Story, any_digest, code, limit};

    fn proposed(name: &str, highest: f64) -> Story {
        let mut story = Story::team();
        proposes(&mut story, name, highest);
        story
    }

    fn proposes(story: &mut Story, name: &str, highest: f64) {
        let kind = LimitKind::Maximum { caution: None, limit: highest };
        let terms =
            ProposalTerms { limit: Limit { kind, ..limit(name) }, reason: "Learnt.".to_owned() };
        story.when("engineer", &ProposeLimit { terms, expected: None }).unwrap();
    }

    fn agreement(story: &Story, number: u32) -> AgreeLimit {
        let proposal = ProposalNumber(number);
        let digest = story.state.limits.proposal(proposal).unwrap().digest.clone();
        AgreeLimit { proposal, terms: AgreementTerms { digest } }
    }

    #[test]
    fn the_safety_officer_agrees_and_from_then_on_the_limit_holds() {
        let mut story = proposed("L-winding", 75.0);
        let command = agreement(&story, 1);
        story.when("safety", &command).unwrap();
        let known = &story.state.limits.by_code["L-winding"];
        assert_eq!(known.limit.kind, LimitKind::Maximum { caution: None, limit: 75.0 });
        assert_eq!(known.set_by.as_str(), "engineer");
        assert_eq!(known.agreed_by.as_ref().unwrap().as_str(), "safety");
        assert_eq!(not_now(story.when("safety", &command)), "proposal-settled");
    }

    #[test]
    fn a_limit_that_was_agreed_to_voids_what_was_signed_under_the_one_before() {
        let mut story = proposed("L-second", 75.0);
        story.release("A");
        let command = agreement(&story, 1);
        story.when("safety", &command).unwrap();
        assert_eq!(story.rules("A"), ["plan-changed-since-approval"]);
    }

    #[test]
    fn the_proposer_does_not_agree_to_their_own_proposal() {
        let mut story = proposed("L-winding", 75.0);
        story.has_roles("engineer", &[Role::Engineer, Role::Safety]);
        let command = agreement(&story, 1);
        let holds = held(story.when("engineer", &command));
        assert_eq!(holds[0].rule, "one-person-two-parts");
    }

    #[test]
    fn what_the_safety_officer_did_not_see_is_not_agreed_to() {
        let mut story = proposed("L-winding", 75.0);
        let mut command = agreement(&story, 1);
        command.terms.digest = any_digest();
        assert_eq!(not_now(story.when("safety", &command)), "card-changed");
        command.proposal = ProposalNumber(2);
        assert_eq!(unknown(story.when("safety", &command)), "proposal");
    }

    #[test]
    fn a_proposal_against_a_limit_that_changed_since_is_made_anew() {
        let mut story = proposed("L-winding", 75.0);
        let kind = LimitKind::Maximum { caution: None, limit: 90.0 };
        story.record("lead", LimitSet { limit: Limit { kind, ..limit("L-winding") } });
        let command = agreement(&story, 1);
        assert_eq!(not_now(story.when("safety", &command)), "proposal-outdated");
    }

    #[test]
    fn a_proposal_whose_channel_is_of_another_kind_by_now_is_not_agreed_to() {
        let mut story = Story::team();
        let speed = story.state.channels["speed"].clone();
        let limit = Limit { channel: code("speed"), unit: Unit::Knot, ..limit("L-speed") };
        let terms = ProposalTerms { limit, reason: "Learnt.".to_owned() };
        story.when("engineer", &ProposeLimit { terms, expected: None }).unwrap();
        let channel = Channel { unit: Unit::Kilowatt, ..speed };
        story.record("engineer", ChannelDefined { channel });
        let command = agreement(&story, 1);
        assert_eq!(faults(story.when("safety", &command)), ["limit.unit"]);
    }

    #[test]
    fn only_the_safety_officer_agrees_to_limits() {
        let mut story = proposed("L-winding", 75.0);
        let command = agreement(&story, 1);
        no_permission(&mut story, &command, &["lead", "pilot", "engineer", "crew", "viewer"]);
    }
}
