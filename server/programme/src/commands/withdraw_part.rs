//! Withdraws a signature, or a refusal to sign; whoever gave it, and nobody else.

use serde::Deserialize;

use super::given::{Given, not_now, one};
use super::refuse_part::act_of;
use super::{Command, Stamp, known};
use crate::codes::{PersonHandle, PointCode};
use crate::entry::Draft;
use crate::people::Act;
use crate::record::{Part, SignatureWithdrawn};
use crate::refusal::Refusal;
use crate::state::{Rung, State};

/// What a person gives to withdraw their signature.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WithdrawalTerms {
    /// Why.
    pub reason: String,
}

/// Asks for a signature or a refusal to be withdrawn.
#[derive(Debug, Clone)]
pub struct WithdrawPart {
    /// Of which point.
    pub point: PointCode,
    /// Which part.
    pub part: Part,
    /// What was given.
    pub terms: WithdrawalTerms,
}

impl Command for WithdrawPart {
    fn act(&self) -> Act {
        act_of(self.part)
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        Given::new(state, stamp).text("reason", &self.terms.reason).settled()?;
        let rung = known::rung(state, &self.point)?;
        let refused = rung.refusals.iter().any(|r| r.part == self.part && r.by == stamp.by);
        if !refused && signer(state, rung, self.part) != Some(&stamp.by) {
            return Err(not_now(
                "nothing-to-withdraw",
                format!(
                    "no {} of {} bears your signature, and you have not refused it",
                    self.part.in_words(),
                    self.point
                ),
                "Whoever signed or refused withdraws it.",
            ));
        }
        let reason = self.terms.reason.clone();
        Ok(one(SignatureWithdrawn { point: self.point.clone(), part: self.part, reason }))
    }
}

/// Whose signature a part bears now.
fn signer<'a>(state: &'a State, rung: &'a Rung, part: Part) -> Option<&'a PersonHandle> {
    let result = |run| state.result(run, &rung.point.code).map(|(_, result)| result);
    match part {
        Part::PlanApproval {} => rung.approval.as_ref(),
        Part::Release {} => rung.release.as_ref().map(|release| &release.signature),
        Part::Acknowledgement {} => rung.acknowledgement.as_ref(),
        Part::EngineeringAcceptance { run } => result(run)?.engineering.as_ref(),
        Part::SafetyAcceptance { run } => result(run)?.safety.as_ref(),
    }
    .map(|signature| &signature.by)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now};
    use crate::holds::Stage;
    use crate::nouns::Role;
    use crate::story::{Story, code, person};

    fn withdrawal(part: Part) -> WithdrawPart {
        let reason = "A doubt.".to_owned();
        WithdrawPart { point: code("A"), part, terms: WithdrawalTerms { reason } }
    }

    #[test]
    fn a_withdrawn_release_holds_the_run() {
        let mut story = Story::team();
        story.release("A").acknowledge("A");
        story.when("safety", &withdrawal(Part::Release {})).unwrap();
        assert!(story.rules_against("A", Stage::Run).contains(&"release-missing"));
    }

    #[test]
    fn every_part_can_be_withdrawn_and_then_counts_no_more() {
        let mut story = Story::team();
        story.release("A").acknowledge("A");
        let run = story.show_and_accept("A");
        for (by, part) in [
            ("safety", Part::SafetyAcceptance { run }),
            ("engineer", Part::EngineeringAcceptance { run }),
            ("pilot", Part::Acknowledgement {}),
            ("safety", Part::Release {}),
            ("engineer", Part::PlanApproval {}),
        ] {
            story.when(by, &withdrawal(part)).unwrap();
            assert_eq!(not_now(story.when(by, &withdrawal(part))), "nothing-to-withdraw");
        }
        assert_eq!(story.state.accepted_result(&code("A")), None);
        assert!(story.rules("A").contains(&"plan-not-approved"));
    }

    #[test]
    fn a_refusal_is_withdrawn_by_whoever_gave_it_and_by_nobody_else() {
        let mut story = Story::team();
        let mut another = person("deputy", Role::Safety);
        another.name = "Deputy".to_owned();
        story.record("lead", crate::record::PersonListed { person: another });
        story.refuse("safety", "A", Part::Release {});
        let command = withdrawal(Part::Release {});
        assert_eq!(not_now(story.when("deputy", &command)), "nothing-to-withdraw");
        story.when("safety", &command).unwrap();
        assert!(story.rung("A").refusals.is_empty());
    }

    #[test]
    fn a_withdrawal_needs_a_reason_and_the_role_of_the_part() {
        let mut story = Story::team();
        story.release("A");
        let mut command = withdrawal(Part::Release {});
        no_permission(&mut story, &command, &["lead", "pilot", "engineer", "crew", "viewer"]);
        command.terms.reason = String::new();
        assert_eq!(faults(story.when("safety", &command)), ["reason"]);
    }
}
