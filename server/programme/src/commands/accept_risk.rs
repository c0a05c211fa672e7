//! Accepts the residual risk of a hazard; somebody in a role that the matrix names for its level, and who did not
//! judge it.

use serde::Deserialize;

use super::given::{not_now, one, unknown};
use super::held::{hold, unless_held};
use super::signed::{as_seen, signable};
use super::{Command, Stamp, digests};
use crate::codes::HazardCode;
use crate::entry::Draft;
use crate::holds::Hold;
use crate::nouns::{RiskLevel, RiskMatrix, Role};
use crate::people::Act;
use crate::record::{Digest, RiskAccepted};
use crate::refusal::Refusal;
use crate::state::{HazardState, State};

/// What a person gives to accept residual risk.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RiskTerms {
    /// Of the hazard with the level that the matrix gives it, as the person saw them.
    pub digest: Digest,
}

/// Asks for the residual risk of a hazard to be accepted.
#[derive(Debug, Clone)]
pub struct AcceptRisk {
    /// Of which hazard.
    pub hazard: HazardCode,
    /// What was given.
    pub terms: RiskTerms,
}

impl Command for AcceptRisk {
    fn act(&self) -> Act {
        Act::AcceptRisk
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let code = &self.hazard;
        let known = state.hazards.get(code).ok_or_else(|| unknown("hazard", code))?;
        let (level, matrix) = level(known, state)?;
        let digest = signable(digests::risk(&known.hazard, level))?;
        as_seen(&digest, &self.terms.digest, "the hazard or its level of risk")?;
        let Some(roles) = matrix.may_accept(level) else {
            return Err(not_now(
                "acceptance-not-needed",
                format!("hazard {code} is left at {level} risk, which needs no acceptance"),
                "Nothing needs to be done.",
            ));
        };
        unless_held(against(known, level, roles, state, stamp))?;
        let accepted = known.accepted.as_ref();
        if accepted.is_some_and(|it| it.by == stamp.by && it.digest == digest) {
            return Err(not_now(
                "already-signed",
                format!("you have accepted the residual risk of {code} already"),
                "Nothing needs to be done.",
            ));
        }
        Ok(one(RiskAccepted { hazard: code.clone(), level, digest }))
    }
}

/// The level that the matrix gives the residual risk.
fn level<'a>(
    known: &HazardState,
    state: &'a State,
) -> Result<(RiskLevel, &'a RiskMatrix), Refusal> {
    let code = &known.hazard.code;
    let matrix = state.policy.as_ref().map(|policy| &policy.risk);
    match (known.hazard.after, matrix) {
        (Some(after), Some(matrix)) => Ok((matrix.level(after), matrix)),
        (None, _) => Err(not_now(
            "residual-risk-not-judged",
            format!("the risk that is left of hazard {code} was not judged"),
            format!("Severity and probability of {code} after mitigations are recorded."),
        )),
        (Some(_), None) => Err(not_now(
            "risk-matrix-missing",
            format!("without a risk matrix the level of hazard {code} is unknown"),
            "The test lead sets the programme's policy with its matrix.",
        )),
    }
}

fn against(
    known: &HazardState,
    level: RiskLevel,
    roles: &[Role],
    state: &State,
    stamp: &Stamp,
) -> Vec<Hold> {
    let (code, by) = (&known.hazard.code, &stamp.by);
    let of_matrix =
        || state.policy.as_ref().map_or_else(String::new, |policy| policy.risk.source.clone());
    let mut holds = Vec::new();
    if known.hazard.mitigations.is_empty() {
        holds.push(hold(
            "hazard-without-mitigation",
            ("hazard", code),
            format!("Hazard {code} ({}) has no mitigation.", known.hazard.title),
            format!("What is done against {code} is recorded with it."),
            "Rungbook rule: unknown is not safe",
        ));
    }
    if roles.is_empty() {
        holds.push(hold(
            "residual-risk-not-acceptable",
            ("hazard", code),
            format!("Hazard {code} is left at {level} risk, which nobody may accept."),
            format!("Further mitigations bring {code} below {level} risk."),
            format!("the risk matrix: {}", of_matrix()),
        ));
    } else if !state.roles(by).iter().any(|role| roles.contains(role)) {
        let words: Vec<_> = roles.iter().map(|role| role.in_words()).collect();
        let words = words.join(" or ");
        holds.push(hold(
            "risk-for-another-role",
            ("person", by),
            format!("Risk left at {level} is accepted by the {words}, and {by} is none."),
            format!("The {words} reads the hazard and accepts its residual risk, or does not."),
            format!("the risk matrix: {}", of_matrix()),
        ));
    }
    if known.recorded_by == *by {
        holds.push(hold(
            "one-person-two-parts",
            ("person", by),
            format!("{by} has recorded hazard {code} as it is and so cannot accept its risk."),
            "Somebody else who may accepts it.",
            "Rungbook rule: nobody signs two parts of one step",
        ));
    }
    holds
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{no_permission, not_now, rules, unknown};
    use crate::nouns::{AssessedRisk, Hazard, Point, Probability, Severity};
    use crate::record::{HazardRecorded, PolicySet};
    use crate::story::{Story, any_digest, code, hazard, point, policy};

    /// A hazard `H` that the engineer has recorded, left at a severity and probability.
    fn left_at(severity: Severity, probability: Probability) -> (Story, AcceptRisk) {
        let after = Some(AssessedRisk { severity, probability });
        recorded("engineer", Hazard { after, ..hazard("H") })
    }

    fn recorded(by: &str, hazard: Hazard) -> (Story, AcceptRisk) {
        let mut story = Story::team();
        let level = hazard.after.map_or(RiskLevel::High, |after| policy().risk.level(after));
        let digest = digests::risk(&hazard, level).unwrap();
        story.record(by, HazardRecorded { hazard });
        (story, AcceptRisk { hazard: code("H"), terms: RiskTerms { digest } })
    }

    fn medium() -> (Story, AcceptRisk) {
        left_at(Severity::Critical, Probability::Improbable)
    }

    #[test]
    fn medium_risk_is_accepted_by_safety_officer_or_lead_and_the_point_goes_ahead() {
        for person in ["safety", "lead"] {
            let (mut story, command) = medium();
            story.plan(Point { hazards: vec![code("H")], ..point("B") }).approve("B");
            assert_eq!(story.rules("B"), ["residual-risk-not-accepted"]);
            story.when(person, &command).unwrap();
            assert!(story.rules("B").is_empty());
            assert_eq!(not_now(story.when(person, &command)), "already-signed");
        }
    }

    #[test]
    fn serious_risk_is_not_accepted_by_the_lead_and_high_risk_by_nobody() {
        let (mut story, command) = left_at(Severity::Critical, Probability::Occasional);
        assert_eq!(rules(story.when("lead", &command)), ["risk-for-another-role"]);
        story.when("safety", &command).unwrap();
        let (mut story, command) = left_at(Severity::Critical, Probability::Probable);
        assert_eq!(rules(story.when("safety", &command)), ["residual-risk-not-acceptable"]);
    }

    #[test]
    fn whoever_recorded_the_hazard_does_not_accept_its_risk() {
        let after =
            AssessedRisk { severity: Severity::Critical, probability: Probability::Improbable };
        let (mut story, command) = recorded("safety", Hazard { after: Some(after), ..hazard("H") });
        assert_eq!(rules(story.when("safety", &command)), ["one-person-two-parts"]);
        story.when("lead", &command).unwrap();
    }

    #[test]
    fn everything_that_stands_against_an_acceptance_is_told_at_once() {
        let before =
            AssessedRisk { severity: Severity::Catastrophic, probability: Probability::Remote };
        let bare = Hazard { before, after: Some(before), mitigations: Vec::new(), ..hazard("H") };
        let (mut story, command) = recorded("lead", bare);
        assert_eq!(
            rules(story.when("lead", &command)),
            ["hazard-without-mitigation", "risk-for-another-role", "one-person-two-parts"]
        );
    }

    #[test]
    fn a_hazard_that_was_judged_anew_since_it_was_read_is_not_accepted() {
        let (mut story, mut command) = medium();
        command.terms.digest = any_digest();
        assert_eq!(not_now(story.when("safety", &command)), "card-changed");
        command.hazard = code("H-none");
        assert_eq!(unknown(story.when("safety", &command)), "hazard");
    }

    #[test]
    fn a_matrix_that_changed_since_asks_for_the_acceptance_at_the_new_level() {
        let (mut story, command) = medium();
        let mut stricter = policy();
        stricter.risk.rows[1][4] = RiskLevel::Serious;
        story.record("lead", PolicySet { policy: stricter });
        assert_eq!(not_now(story.when("safety", &command)), "card-changed");
    }

    #[test]
    fn a_risk_of_unknown_level_or_one_that_needs_no_acceptance_is_not_accepted() {
        let (mut story, command) = recorded("engineer", Hazard { after: None, ..hazard("H") });
        assert_eq!(not_now(story.when("safety", &command)), "residual-risk-not-judged");
        let (mut story, command) = left_at(Severity::Negligible, Probability::Remote);
        assert_eq!(not_now(story.when("safety", &command)), "acceptance-not-needed");
        let (mut story, command) = medium();
        story.state.policy = None;
        assert_eq!(not_now(story.when("safety", &command)), "risk-matrix-missing");
    }

    #[test]
    fn neither_engineer_nor_pilot_accepts_risk() {
        let (mut story, command) = medium();
        no_permission(&mut story, &command, &["pilot", "engineer", "crew", "viewer"]);
    }
}
