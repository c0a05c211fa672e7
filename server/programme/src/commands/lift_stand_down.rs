//! Lifts a stand-down; the safety officer, and nobody in their place.

use serde::Deserialize;

use super::given::{Given, not_now, one};
use super::{Command, Stamp};
use crate::entry::Draft;
use crate::people::Act;
use crate::record::StandDownLifted;
use crate::refusal::Refusal;
use crate::state::State;

/// What the safety officer gives to lift the stand-down.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LiftingTerms {
    /// Why it can be lifted.
    pub reasons: String,
    /// The records of all calls in force, as the safety officer read them; a call that they have not read is not
    /// lifted with the others.
    pub calls: Vec<u64>,
}

/// Asks for the stand-down to be lifted.
#[derive(Debug, Clone)]
pub struct LiftStandDown {
    /// What was given.
    pub terms: LiftingTerms,
}

impl Command for LiftStandDown {
    fn act(&self) -> Act {
        Act::LiftStandDown
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let LiftingTerms { reasons, calls } = &self.terms;
        Given::new(state, stamp).text("reasons", reasons).settled()?;
        let in_force: Vec<_> = state
            .stand_downs
            .iter()
            .filter(|called| called.lifted.is_none())
            .map(|called| called.seq)
            .collect();
        if in_force.is_empty() {
            return Err(not_now(
                "no-stand-down",
                "no stand-down is in force",
                "Nothing needs to be done.",
            ));
        }
        let unread: Vec<_> =
            in_force.iter().filter(|seq| !calls.contains(seq)).map(ToString::to_string).collect();
        if !unread.is_empty() {
            return Err(not_now(
                "stand-down-called-since",
                format!(
                    "a stand-down is in force that you have not named: record {}",
                    unread.join(", ")
                ),
                "Read why it was called, and name it with the others.",
            ));
        }
        Ok(one(StandDownLifted { reasons: reasons.clone() }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now};
    use crate::story::Story;

    fn lifting(story: &Story) -> LiftStandDown {
        let calls = story.state.stand_downs.iter().map(|called| called.seq).collect();
        LiftStandDown { terms: LiftingTerms { reasons: "It was the kettle.".to_owned(), calls } }
    }

    #[test]
    fn the_safety_officer_lifts_a_stand_down_with_reasons() {
        let mut story = Story::team();
        story.stand_down();
        let mut command = lifting(&story);
        command.terms.reasons = String::new();
        assert_eq!(faults(story.when("safety", &command)), ["reasons"]);
        let command = lifting(&story);
        story.when("safety", &command).unwrap();
        assert!(story.state.stand_down().is_none());
        assert_eq!(not_now(story.when("safety", &command)), "no-stand-down");
    }

    #[test]
    fn a_call_that_the_safety_officer_has_not_read_is_not_lifted_with_the_others() {
        let mut story = Story::team();
        story.stand_down();
        let command = lifting(&story);
        story.stand_down();
        assert_eq!(not_now(story.when("safety", &command)), "stand-down-called-since");
        let command = lifting(&story);
        story.when("safety", &command).unwrap();
        assert!(story.rules("A").is_empty());
    }

    #[test]
    fn nobody_but_the_safety_officer_lifts() {
        let mut story = Story::team();
        story.stand_down();
        let command = lifting(&story);
        no_permission(&mut story, &command, &["lead", "pilot", "engineer", "crew", "viewer"]);
    }
}
