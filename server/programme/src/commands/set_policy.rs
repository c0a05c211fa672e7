//! Sets what the programme has decided for itself: risk matrix, steps, totals to reach, ages.

use super::given::{Given, at_revision, changes, one};
use super::{Command, Stamp};
use crate::document::{faults_of_heating_order, faults_of_quarantine};
use crate::entry::Draft;
use crate::nouns::Policy;
use crate::people::Act;
use crate::record::PolicySet;
use crate::refusal::Refusal;
use crate::state::{Amendable, State};

/// Asks for the policy to be set.
#[derive(Debug, Clone)]
pub struct SetPolicy {
    /// All of it.
    pub policy: Policy,
    /// The revision that the person saw; 0: there was none.
    pub expected: Option<u64>,
}

impl Command for SetPolicy {
    fn act(&self) -> Act {
        Act::SetPolicy
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let Self { policy, expected } = self;
        at_revision(state, &Amendable::Policy, *expected)?;
        let against_limits = faults_of_heating_order(policy, |code| {
            state.limits.by_code.get(code).map(|known| &*known.limit)
        });
        let against_items = faults_of_quarantine(
            policy,
            |item| state.configuration.knows(item),
            |check| state.checks.by_code.contains_key(check),
        );
        Given::new(state, stamp)
            .faults(policy.faults(""))
            .faults(against_limits)
            .faults(against_items)
            .settled()?;
        changes(state.policy.as_ref() != Some(policy), "the policy")?;
        Ok(one(PolicySet { policy: policy.clone() }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, stale};
    use crate::nouns::{QuarantineRule, RiskLevel};
    use crate::story::{Story, code, policy};

    fn setting(policy: Policy) -> SetPolicy {
        SetPolicy { policy, expected: None }
    }

    #[test]
    fn the_safety_officer_sets_the_policy_and_others_do_not() {
        let mut story = Story::team();
        assert_eq!(not_now(story.when("safety", &setting(policy()))), "nothing-changes");
        let shorter = Policy { longest_release_h: 12, ..policy() };
        story.when("safety", &setting(shorter.clone())).unwrap();
        assert_eq!(story.state.policy, Some(shorter.clone()));
        let others = ["lead", "pilot", "engineer", "crew", "viewer"];
        no_permission(&mut story, &setting(shorter), &others);
    }

    #[test]
    fn a_stricter_matrix_asks_for_acceptance_at_the_new_level() {
        let mut story = Story::team();
        let mut stricter = policy();
        for (row, column) in [(0, 4), (1, 3), (1, 4)] {
            stricter.risk.rows[row][column] = RiskLevel::Serious;
        }
        story.when("safety", &setting(stricter)).unwrap();
        assert_eq!(story.rules("A"), ["residual-risk-not-accepted"]);
    }

    #[test]
    fn a_policy_that_cannot_be_is_told_with_all_its_faults() {
        let mut story = Story::team();
        let mut wrong = policy();
        wrong.weather_good_for_min = 0;
        wrong.build_up[0].step.value = -1.0;
        wrong.risk.rows[3][0] = RiskLevel::High;
        let told = faults(story.when("safety", &setting(wrong)));
        assert_eq!(told[..2], ["weather_good_for_min", "build_up[0].step.value"]);
        assert!(told[2].starts_with("risk.rows"), "{told:?}");
    }

    #[test]
    fn a_rule_of_quarantine_names_items_and_checks_that_there_are_and_says_who_asks_for_it() {
        let mut story = Story::team();
        let rule = QuarantineRule {
            event: code("hard-landing"),
            items: vec![code("pack"), code("pakc")],
            until_checks: vec![code("C-pack")],
            source: String::new(),
        };
        let wrong = Policy { quarantine: vec![rule], ..policy() };
        assert_eq!(
            faults(story.when("safety", &setting(wrong))),
            ["quarantine[0].source", "quarantine[0].items[1]", "quarantine[0].until_checks[0]"]
        );
    }

    #[test]
    fn a_policy_that_somebody_set_since_it_was_read_is_not_overwritten() {
        let mut story = Story::team();
        let present = story.state.revision(&Amendable::Policy);
        let command = SetPolicy { expected: Some(1), ..setting(policy()) };
        assert_eq!(stale(story.when("safety", &command)), (present, 1));
    }
}
