//! Approves the plan of a point; somebody other than its author.

use serde::Deserialize;

use super::held::unless_held;
use super::signed::{as_seen, signable};
use super::{Command, Stamp, digests, given, known, step};
use crate::codes::PointCode;
use crate::entry::Draft;
use crate::holds;
use crate::people::Act;
use crate::record::{Digest, Part, PartSigned};
use crate::refusal::Refusal;
use crate::state::State;

/// What a person gives to approve a plan.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ApprovalTerms {
    /// Of the card without configuration, as the person saw it.
    pub digest: Digest,
}

/// Asks for a plan to be approved.
#[derive(Debug, Clone)]
pub struct ApprovePlan {
    /// Of which point.
    pub point: PointCode,
    /// What was given.
    pub terms: ApprovalTerms,
}

impl Command for ApprovePlan {
    fn act(&self) -> Act {
        Act::ApprovePlans
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let rung = known::standing_rung(state, &self.point)?;
        let part = Part::PlanApproval {};
        let digest = signable(digests::plan(state, rung))?;
        as_seen(&digest, &self.terms.digest, "the plan")?;
        unless_held(step::against(state, rung, part, &stamp.by).into_iter().collect())?;
        if let Some(approval) = &rung.approval
            && approval.by == stamp.by
            && state.plan_signature_stands(rung, approval)
            // A result that was not met is looked at by approving the same plan again.
            && !holds::results_await_approval(state, rung)
        {
            return Err(given::not_now(
                "already-signed",
                format!(
                    "you have approved the plan of {} already, and nothing changed",
                    self.point
                ),
                "Nothing needs to be done.",
            ));
        }
        Ok(given::one(PartSigned { point: self.point.clone(), part, window: None, digest }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{held, no_permission, not_now};
    use crate::story::{Story, code, point};

    fn approval(story: &Story) -> ApprovePlan {
        let digest = digests::plan(&story.state, story.rung("A")).unwrap();
        ApprovePlan { point: code("A"), terms: ApprovalTerms { digest } }
    }

    /// The plan of `A` was changed by the lead and waits for its approval.
    fn changed() -> Story {
        let mut story = Story::team();
        let mut plan = point("A");
        plan.title = "Changed".to_owned();
        story.plan(plan);
        story
    }

    #[test]
    fn an_engineer_approves_what_the_lead_has_planned() {
        let mut story = changed();
        assert_eq!(story.rules("A"), ["plan-changed-since-approval"]);
        let command = approval(&story);
        story.when("engineer", &command).unwrap();
        assert!(story.rules("A").is_empty());
    }

    #[test]
    fn the_author_does_not_approve_the_plan() {
        let mut story = changed();
        let command = approval(&story);
        let holds = held(story.when("lead", &command));
        assert_eq!(holds[0].rule, "one-person-two-parts");
        assert!(holds[0].why.contains("the plan as its author"), "{}", holds[0].why);
    }

    #[test]
    fn a_plan_that_changed_since_it_was_read_is_not_approved() {
        let mut story = changed();
        let command = approval(&story);
        story.plan(point("A"));
        assert_eq!(not_now(story.when("engineer", &command)), "card-changed");
    }

    #[test]
    fn a_plan_is_not_approved_twice_by_the_same_person_and_not_when_it_was_dropped() {
        let mut story = Story::team();
        let command = approval(&story);
        assert_eq!(not_now(story.when("engineer", &command)), "already-signed");
        story.drop_point("A");
        assert_eq!(not_now(story.when("engineer", &command)), "point-dropped");
    }

    #[test]
    fn the_same_person_approves_the_same_plan_again_after_a_result_that_was_not_met() {
        let mut story = Story::team();
        story.show("A", 61.0);
        assert_eq!(story.rules("A"), ["result-not-met"]);
        let command = approval(&story);
        story.when("engineer", &command).unwrap();
        assert!(story.rules("A").is_empty());
        assert_eq!(not_now(story.when("engineer", &command)), "already-signed");
    }

    #[test]
    fn neither_pilot_nor_safety_officer_approves_plans() {
        let mut story = changed();
        let command = approval(&story);
        no_permission(&mut story, &command, &["pilot", "safety", "crew", "viewer"]);
    }
}
