//! Refuses to sign a part, with reasons. A refusal is a record too.

use serde::Deserialize;

use super::given::{Given, one};
use super::{Command, Stamp, known};
use crate::codes::PointCode;
use crate::entry::Draft;
use crate::people::Act;
use crate::record::{Part, SigningRefused};
use crate::refusal::Refusal;
use crate::state::State;

/// What a person gives to refuse to sign.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RefusalTerms {
    /// Why not.
    pub reasons: String,
}

/// Asks for a refusal to sign to be recorded.
#[derive(Debug, Clone)]
pub struct RefusePart {
    /// Of which point.
    pub point: PointCode,
    /// What is not signed.
    pub part: Part,
    /// What was given.
    pub terms: RefusalTerms,
}

/// What it takes to sign a part, to refuse it, and to take either back.
pub(super) const fn act_of(part: Part) -> Act {
    match part {
        Part::PlanApproval {} => Act::ApprovePlans,
        Part::Release {} => Act::ReleasePoints,
        Part::Acknowledgement {} => Act::AcknowledgeCards,
        Part::EngineeringAcceptance { .. } => Act::AcceptAsEngineer,
        Part::SafetyAcceptance { .. } => Act::AcceptAsSafety,
    }
}

impl Command for RefusePart {
    fn act(&self) -> Act {
        act_of(self.part)
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        Given::new(state, stamp).text("reasons", &self.terms.reasons).settled()?;
        known::standing_rung(state, &self.point)?;
        if let Some(run) = self.part.run() {
            known::result(state, run, &self.point)?;
        }
        let reasons = self.terms.reasons.clone();
        Ok(one(SigningRefused { point: self.point.clone(), part: self.part, reasons }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::codes::RunNumber;
    use crate::commands::asked::{faults, no_permission, not_now};
    use crate::holds::Stage;
    use crate::story::{Story, code};

    fn refusal(part: Part) -> RefusePart {
        let reasons = "The hangar is full of smoke.".to_owned();
        RefusePart { point: code("A"), part, terms: RefusalTerms { reasons } }
    }

    #[test]
    fn a_refusal_to_release_is_recorded_with_its_reasons_and_holds_the_run() {
        let mut story = Story::team();
        story.when("safety", &refusal(Part::Release {})).unwrap();
        assert!(story.rules_against("A", Stage::Run).contains(&"release-refused"));
        assert_eq!(story.rung("A").refusals[0].reasons, "The hangar is full of smoke.");
    }

    #[test]
    fn whoever_may_sign_a_part_may_refuse_it_and_nobody_else() {
        let mut story = Story::team();
        let run = story.show("A", 50.0);
        for (part, others) in [
            (Part::PlanApproval {}, &["pilot", "safety", "crew", "viewer"][..]),
            (Part::Release {}, &["lead", "pilot", "engineer", "crew", "viewer"]),
            (Part::Acknowledgement {}, &["lead", "safety", "engineer", "crew", "viewer"]),
            (Part::EngineeringAcceptance { run }, &["lead", "pilot", "safety", "crew", "viewer"]),
            (Part::SafetyAcceptance { run }, &["lead", "pilot", "engineer", "crew", "viewer"]),
        ] {
            no_permission(&mut story, &refusal(part), others);
        }
    }

    #[test]
    fn a_refusal_without_reasons_or_of_nothing_is_refused_itself() {
        let mut story = Story::team();
        let mut command = refusal(Part::Release {});
        command.terms.reasons = "  ".to_owned();
        assert_eq!(faults(story.when("safety", &command)), ["reasons"]);
        let command = refusal(Part::SafetyAcceptance { run: RunNumber(1) });
        let unknown = story.when("safety", &command).unwrap_err();
        assert_eq!(unknown, Refusal::Unknown { what: "run", code: "1".to_owned() });
        story.drop_point("A");
        assert_eq!(not_now(story.when("safety", &refusal(Part::Release {}))), "point-dropped");
    }
}
