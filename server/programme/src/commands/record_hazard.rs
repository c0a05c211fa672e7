//! Records a hazard, or judges it anew. What was accepted and signed for the hazard as it was is void then.

use super::given::{Given, at_revision, changes, one};
use super::{Command, Stamp};
use crate::entry::Draft;
use crate::nouns::Hazard;
use crate::people::Act;
use crate::record::HazardRecorded;
use crate::refusal::Refusal;
use crate::state::{Amendable, State};

/// Asks for a hazard to be recorded.
#[derive(Debug, Clone)]
pub struct RecordHazard {
    /// The hazard as it is judged.
    pub hazard: Hazard,
    /// The revision that the person saw; 0: there was no such hazard.
    pub expected: Option<u64>,
}

impl Command for RecordHazard {
    fn act(&self) -> Act {
        Act::RecordHazards
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let Self { hazard, expected } = self;
        let code = &hazard.code;
        at_revision(state, &Amendable::Hazard(code.clone()), *expected)?;
        Given::new(state, stamp).faults(hazard.faults("")).settled()?;
        let known = state.hazards.get(code);
        changes(known.is_none_or(|known| *known.hazard != *hazard), format_args!("hazard {code}"))?;
        Ok(one(HazardRecorded { hazard: hazard.clone() }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, stale};
    use crate::nouns::{AssessedRisk, Probability, Severity};
    use crate::story::{Story, code, hazard};

    fn record(hazard: Hazard) -> RecordHazard {
        RecordHazard { hazard, expected: None }
    }

    fn judged_anew() -> Hazard {
        let after = AssessedRisk { severity: Severity::Critical, probability: Probability::Remote };
        Hazard { after: Some(after), ..hazard("H-hot") }
    }

    #[test]
    fn engineer_safety_officer_and_lead_record_hazards_and_others_do_not() {
        let mut story = Story::team();
        for (person, name) in [("engineer", "H-1"), ("safety", "H-2"), ("lead", "H-3")] {
            story.when(person, &record(hazard(name))).unwrap();
            assert_eq!(story.state.hazards[name].recorded_by.as_str(), person);
        }
        let others = ["pilot", "crew", "viewer"];
        no_permission(&mut story, &record(hazard("H-4")), &others);
    }

    #[test]
    fn a_hazard_that_is_judged_anew_voids_the_acceptance_of_its_risk_and_the_plans_approval() {
        let mut story = Story::team();
        story.when("engineer", &record(judged_anew())).unwrap();
        let rules = story.rules("A");
        assert_eq!(rules, ["plan-changed-since-approval", "residual-risk-not-accepted"]);
        let again = record(judged_anew());
        assert_eq!(not_now(story.when("engineer", &again)), "nothing-changes");
    }

    #[test]
    fn a_risk_that_nothing_lessens_is_not_judged_lower() {
        let mut story = Story::team();
        let mut wrong = hazard("H-new");
        wrong.mitigations.clear();
        wrong.cause = String::new();
        assert_eq!(faults(story.when("engineer", &record(wrong))), ["cause", "after"]);
    }

    #[test]
    fn a_hazard_that_changed_or_was_accepted_since_it_was_read_is_read_again_first() {
        let mut story = Story::team();
        let present = story.state.revision(&Amendable::Hazard(code("H-hot")));
        let command = RecordHazard { expected: Some(present - 1), ..record(judged_anew()) };
        assert_eq!(stale(story.when("engineer", &command)), (present, present - 1));
        let command = RecordHazard { expected: Some(present), ..command };
        story.when("engineer", &command).unwrap();
    }
}
