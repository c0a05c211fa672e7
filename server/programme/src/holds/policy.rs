//! A programme that has decided nothing for itself has no risk matrix, no steps and no age of weather to go by.

use chrono::{DateTime, Utc};

use super::{Explained, Reason, Rule, Subject};
use crate::state::{Rung, State};

static NOT_SET: Rule = Rule::against_release(
    "policy-not-set",
    "The programme has set its policy: risk matrix, build-up steps, age of weather, length of releases.",
);

pub(super) static RULES: &[&Rule] = &[&NOT_SET];

/// No policy was set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Policy;

pub(super) fn collect(_: &Rung, state: &State, _: DateTime<Utc>, found: &mut Vec<Reason>) {
    if state.policy.is_none() {
        found.push(Reason::Policy(Policy));
    }
}

impl Explained for Policy {
    fn rule(&self) -> &'static Rule {
        &NOT_SET
    }

    fn subject(&self, _: &Rung) -> Subject {
        Subject::new("programme", "policy")
    }

    fn why(&self, _: &Rung, _: &State) -> String {
        "The programme has no policy, so its risk matrix, its build-up steps and how long weather is good for are \
         unknown."
            .to_owned()
    }

    fn clears(&self, _: &Rung, _: &State) -> String {
        "The safety officer sets the programme's policy.".to_owned()
    }

    fn source(&self, _: &Rung, _: &State) -> String {
        "Rungbook rule: unknown is not safe".to_owned()
    }
}
