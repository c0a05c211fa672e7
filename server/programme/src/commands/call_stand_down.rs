//! Calls a stand-down of the whole programme; anyone who takes part.

use serde::Deserialize;

use super::given::{Given, one};
use super::{Command, Stamp};
use crate::entry::Draft;
use crate::people::Act;
use crate::record::StandDownCalled;
use crate::refusal::Refusal;
use crate::state::State;

/// What a person gives to call a stand-down.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StandDownTerms {
    /// Why.
    pub reason: String,
}

/// Asks for a stand-down. Whoever calls one while another is in force is not refused: each reason is lifted.
#[derive(Debug, Clone)]
pub struct CallStandDown {
    /// What was given.
    pub terms: StandDownTerms,
}

impl Command for CallStandDown {
    fn act(&self) -> Act {
        Act::CallStandDown
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let reason = self.terms.reason.clone();
        Given::new(state, stamp).text("reason", &reason).settled()?;
        Ok(one(StandDownCalled { reason }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission};
    use crate::story::Story;

    fn call(reason: &str) -> CallStandDown {
        CallStandDown { terms: StandDownTerms { reason: reason.to_owned() } }
    }

    #[test]
    fn anyone_who_takes_part_stops_everything() {
        for person in ["crew", "pilot", "safety", "engineer", "lead"] {
            let mut story = Story::team();
            story.when(person, &call("Smoke in the hangar.")).unwrap();
            assert_eq!(story.rules("A"), ["stand-down"]);
        }
    }

    #[test]
    fn a_stand_down_says_why_and_is_not_called_by_an_inspector() {
        let mut story = Story::team();
        assert_eq!(faults(story.when("crew", &call(""))), ["reason"]);
        no_permission(&mut story, &call("Smoke."), &["viewer"]);
    }
}
