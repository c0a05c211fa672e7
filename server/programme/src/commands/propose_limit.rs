//! Proposes a new or changed limit; an engineer. It holds once a safety officer who is another person has agreed.

use serde::Deserialize;

use super::given::{Given, at_revision, changes, not_now, one};
use super::signed::signable;
use super::{Command, Stamp, digests};
use crate::codes::{LimitCode, ProposalNumber};
use crate::document;
use crate::entry::Draft;
use crate::nouns::Limit;
use crate::people::Act;
use crate::record::LimitChangeProposed;
use crate::refusal::{Fault, Refusal};
use crate::state::{Amendable, Proposal, ProposalFate, State};

/// What an engineer gives to propose a limit.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProposalTerms {
    /// The limit as it is to be.
    pub limit: Limit,
    /// Why.
    pub reason: String,
}

/// Asks for a proposal to be recorded.
#[derive(Debug, Clone)]
pub struct ProposeLimit {
    /// What was given.
    pub terms: ProposalTerms,
    /// The revision of the limit in force that the person saw; 0: there was none.
    pub expected: Option<u64>,
}

impl Command for ProposeLimit {
    fn act(&self) -> Act {
        Act::ProposeLimit
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let Self { terms: ProposalTerms { limit, reason }, expected } = self;
        let code = &limit.code;
        at_revision(state, &Amendable::Limit(code.clone()), *expected)?;
        Given::new(state, stamp)
            .text("reason", reason)
            .faults(limit.faults("limit"))
            .faults(against_programme(limit, state))
            .settled()?;
        let in_force = state.limits.by_code.get(code).map(|known| &*known.limit);
        changes(in_force != Some(limit), format_args!("limit {code}"))?;
        if let Some(waiting) = open_proposal_of(state, code) {
            return Err(not_now(
                "proposal-open",
                format!(
                    "proposal {} for limit {code} waits for the safety officer",
                    waiting.number
                ),
                "The safety officer agrees to it or declines it, or its proposer withdraws it; then propose anew.",
            ));
        }
        let made = u32::try_from(state.limits.proposals.len()).unwrap_or(u32::MAX);
        let proposal = ProposalNumber(made.saturating_add(1));
        let digest = signable(digests::proposal(proposal, limit, reason, in_force))?;
        let (limit, reason) = (limit.clone(), reason.clone());
        Ok(one(LimitChangeProposed { proposal, limit, reason, digest }))
    }
}

/// What is wrong with a limit when it is looked at against the programme, at its place in what was given.
pub(super) fn against_programme(limit: &Limit, state: &State) -> Vec<Fault> {
    let faults = document::check_proposed(limit, state).into_iter();
    faults
        .map(|fault| Fault::at(fault.field.replacen("limits[0]", "limit", 1), fault.why))
        .collect()
}

fn open_proposal_of<'a>(state: &'a State, limit: &LimitCode) -> Option<&'a Proposal> {
    let mut proposals = state.limits.proposals.iter();
    proposals.find(|it| it.limit.code == *limit && it.fate == ProposalFate::Open)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, stale};
    use crate::measure::Unit;
    use crate::nouns::LimitKind;
    use crate::story::{Story, code, limit};

    fn proposal(name: &str, highest: f64) -> ProposeLimit {
        let kind = LimitKind::Maximum { caution: None, limit: highest };
        let limit = Limit { kind, ..limit(name) };
        ProposeLimit {
            terms: ProposalTerms { limit, reason: "Learnt.".to_owned() },
            expected: None,
        }
    }

    #[test]
    fn an_engineer_proposes_new_and_changed_limits_and_nothing_holds_otherwise_yet() {
        let mut story = Story::team();
        story.when("engineer", &proposal("L-winding", 75.0)).unwrap();
        story.when("engineer", &proposal("L-second", 90.0)).unwrap();
        let numbers: Vec<_> = story.state.limits.proposals.iter().map(|it| it.number.0).collect();
        assert_eq!(numbers, [1, 2]);
        assert_eq!(*story.state.limits.by_code["L-winding"].limit, limit("L-winding"));
        assert!(!story.state.limits.by_code.contains_key("L-second"));
        assert!(story.rules("A").is_empty());
    }

    #[test]
    fn only_engineers_propose_limits() {
        let mut story = Story::team();
        let others = ["lead", "pilot", "safety", "crew", "viewer"];
        no_permission(&mut story, &proposal("L-winding", 75.0), &others);
    }

    #[test]
    fn a_proposal_that_changes_nothing_or_comes_beside_an_open_one_is_refused() {
        let mut story = Story::team();
        let mut same = proposal("L-winding", 75.0);
        same.terms.limit = limit("L-winding");
        assert_eq!(not_now(story.when("engineer", &same)), "nothing-changes");
        story.when("engineer", &proposal("L-winding", 75.0)).unwrap();
        assert_eq!(not_now(story.when("engineer", &proposal("L-winding", 70.0))), "proposal-open");
    }

    #[test]
    fn every_fault_of_a_proposed_limit_is_told_with_its_place() {
        let mut story = Story::team();
        let mut command = proposal("L-second", f64::NAN);
        command.terms.reason = String::new();
        command.terms.limit.unit = Unit::Knot;
        assert_eq!(
            faults(story.when("engineer", &command)),
            ["reason", "limit.is.limit", "limit.unit"]
        );
        let mut command = proposal("L-second", 80.0);
        command.terms.limit.channel = code("nothing");
        assert_eq!(faults(story.when("engineer", &command)), ["limit.channel"]);
    }

    #[test]
    fn a_limit_that_somebody_changed_since_it_was_read_is_read_again_first() {
        let mut story = Story::team();
        let present = story.state.revision(&Amendable::Limit(code("L-winding")));
        let command = ProposeLimit { expected: Some(0), ..proposal("L-winding", 75.0) };
        assert_eq!(stale(story.when("engineer", &command)), (present, 0));
        let command = ProposeLimit { expected: Some(present), ..command };
        story.when("engineer", &command).unwrap();
    }
}
