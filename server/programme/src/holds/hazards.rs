//! Every hazard of the point has mitigations, its residual risk was judged, and somebody whose role the matrix demands
//! has accepted it.

use chrono::{DateTime, Utc};

use super::words::either;
use super::{Explained, Reason, Rule, Subject};
use crate::codes::HazardCode;
use crate::nouns::{RiskLevel, Role};
use crate::state::{HazardState, Rung, State};

static UNKNOWN: Rule =
    Rule::against_release("hazard-unknown", "Every hazard that the plan names is recorded.");
static UNMITIGATED: Rule =
    Rule::against_release("hazard-without-mitigation", "Something is done against every hazard.");
static NOT_JUDGED: Rule = Rule::against_release(
    "residual-risk-not-judged",
    "The risk that is left after mitigations is judged for every hazard.",
);
static NO_MATRIX: Rule = Rule::against_release(
    "risk-matrix-missing",
    "The programme has a matrix that turns severity and probability into a level.",
);
static UNACCEPTABLE: Rule = Rule::against_release(
    "residual-risk-not-acceptable",
    "No hazard is left at a level that the matrix lets nobody accept.",
);
static NOT_ACCEPTED: Rule = Rule::against_release(
    "residual-risk-not-accepted",
    "Residual risk is accepted at its level, by a role that the matrix demands for it.",
);

pub(super) static RULES: &[&Rule] =
    &[&UNKNOWN, &UNMITIGATED, &NOT_JUDGED, &NO_MATRIX, &UNACCEPTABLE, &NOT_ACCEPTED];

/// A hazard that is not dealt with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hazard {
    /// Which.
    pub hazard: HazardCode,
    /// What is lacking.
    pub lacks: Lacks,
}

/// What a hazard lacks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lacks {
    /// It is not recorded at all.
    Record,
    /// Nothing is done against it.
    Mitigation,
    /// Nobody has judged what is left.
    Judgement,
    /// There is no matrix to find its level by.
    Matrix,
    /// Nobody may accept its level.
    AnyoneWhoMay(RiskLevel),
    /// Nobody who may has accepted it at its level.
    Acceptance(RiskLevel),
}

pub(super) fn collect(rung: &Rung, state: &State, _: DateTime<Utc>, found: &mut Vec<Reason>) {
    for code in &rung.point.hazards {
        let mut against =
            |lacks| found.push(Reason::Hazard(Hazard { hazard: code.clone(), lacks }));
        let Some(hazard) = state.hazards.get(code) else {
            against(Lacks::Record);
            continue;
        };
        lacks(hazard, state).into_iter().for_each(&mut against);
    }
}

/// Everything that a hazard lacks before a point may go ahead with it.
pub fn lacks(hazard: &HazardState, state: &State) -> Vec<Lacks> {
    let mitigation = hazard.hazard.mitigations.is_empty().then_some(Lacks::Mitigation);
    mitigation.into_iter().chain(of_residual_risk(hazard, state)).collect()
}

fn of_residual_risk(hazard: &HazardState, state: &State) -> Option<Lacks> {
    let Some(after) = hazard.hazard.after else { return Some(Lacks::Judgement) };
    let Some(matrix) = state.policy.as_ref().map(|policy| &policy.risk) else {
        return Some(Lacks::Matrix);
    };
    let level = matrix.level(after);
    let roles = matrix.may_accept(level)?;
    if roles.is_empty() {
        return Some(Lacks::AnyoneWhoMay(level));
    }
    let accepted = hazard.accepted.as_ref().is_some_and(|accepted| {
        accepted.level == level && accepted.roles.iter().any(|role| roles.contains(role))
    });
    (!accepted).then_some(Lacks::Acceptance(level))
}

/// The roles that may accept a level of risk, by the programme's matrix.
pub fn roles_for(level: RiskLevel, state: &State) -> Vec<Role> {
    let matrix = state.policy.as_ref().map(|policy| &policy.risk);
    matrix.and_then(|matrix| matrix.may_accept(level)).unwrap_or_default().to_vec()
}

impl Explained for Hazard {
    fn rule(&self) -> &'static Rule {
        match self.lacks {
            Lacks::Record => &UNKNOWN,
            Lacks::Mitigation => &UNMITIGATED,
            Lacks::Judgement => &NOT_JUDGED,
            Lacks::Matrix => &NO_MATRIX,
            Lacks::AnyoneWhoMay(_) => &UNACCEPTABLE,
            Lacks::Acceptance(_) => &NOT_ACCEPTED,
        }
    }

    fn subject(&self, _: &Rung) -> Subject {
        Subject::new("hazard", &self.hazard)
    }

    fn why(&self, rung: &Rung, state: &State) -> String {
        let code = &self.hazard;
        let hazard = state.hazards.get(code);
        let named = hazard.map_or_else(
            || format!("Hazard {code}"),
            |hazard| format!("Hazard {code} ({})", hazard.hazard.title),
        );
        match self.lacks {
            Lacks::Record => format!(
                "The plan of {} names the hazard {code}, which is not recorded.",
                rung.point.code
            ),
            Lacks::Mitigation => format!("{named} has no mitigation."),
            Lacks::Judgement => format!("{named}: the risk that is left was not judged."),
            Lacks::Matrix => {
                format!("{named}: without a risk matrix its level is unknown.")
            }
            Lacks::AnyoneWhoMay(level) => {
                format!("{named} is left at {level} risk, which nobody may accept.")
            }
            Lacks::Acceptance(level) => {
                let accepted = hazard.and_then(|hazard| hazard.accepted.as_ref());
                accepted.map_or_else(
                    || format!("{named} is left at {level} risk, which nobody has accepted."),
                    |accepted| {
                        format!(
                            "{named} is left at {level} risk; {} accepted it at {} risk, which does not do for it.",
                            accepted.by, accepted.level
                        )
                    },
                )
            }
        }
    }

    fn clears(&self, _: &Rung, state: &State) -> String {
        let code = &self.hazard;
        match self.lacks {
            Lacks::Record => format!("The hazard {code} is recorded and judged."),
            Lacks::Mitigation => format!("What is done against {code} is recorded with it."),
            Lacks::Judgement => {
                format!("Severity and probability of {code} after mitigations are recorded.")
            }
            Lacks::Matrix => {
                "The test lead sets the programme's policy with its matrix.".to_owned()
            }
            Lacks::AnyoneWhoMay(level) => {
                format!("Further mitigations bring {code} below {level} risk.")
            }
            Lacks::Acceptance(level) => {
                let roles = roles_for(level, state);
                let roles = either(roles.iter().map(|role| format!("a {}", role.in_words())));
                format!("The residual risk of {code} is accepted at {level} by {roles}.")
            }
        }
    }

    fn source(&self, rung: &Rung, state: &State) -> String {
        match self.lacks {
            Lacks::Record => format!("the plan of {}", rung.point.code),
            Lacks::Mitigation | Lacks::Judgement | Lacks::Matrix => {
                "Rungbook rule: unknown is not safe".to_owned()
            }
            Lacks::AnyoneWhoMay(_) | Lacks::Acceptance(_) => {
                let matrix = state.policy.as_ref().map(|policy| policy.risk.source.as_str());
                format!("the risk matrix: {}", matrix.unwrap_or_default())
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::nouns::{AssessedRisk, Hazard, Point, Probability, RiskLevel, Role, Severity};
    use crate::record::{HazardRecorded, PersonListed, PolicySet};
    use crate::story::{Story, code, hazard, person, point, policy};

    fn with(hazard: Hazard) -> Story {
        let mut story = Story::team();
        story.plan(Point { hazards: vec![hazard.code.clone()], ..point("B") });
        story.record("engineer", HazardRecorded { hazard });
        story.approve("B");
        story
    }

    fn left_at(severity: Severity, probability: Probability) -> Hazard {
        Hazard { after: Some(AssessedRisk { severity, probability }), ..hazard("H") }
    }

    #[test]
    fn a_hazard_without_mitigation_or_judgement_holds_for_both() {
        let story = with(Hazard { mitigations: Vec::new(), after: None, ..hazard("H") });
        assert_eq!(story.rules("B"), ["hazard-without-mitigation", "residual-risk-not-judged"]);
    }

    #[test]
    fn a_hazard_that_is_not_recorded_holds() {
        let mut story = Story::team();
        story.plan(Point { hazards: vec![code("H-none")], ..point("B") }).approve("B");
        assert_eq!(story.rules("B"), ["hazard-unknown"]);
    }

    #[test]
    fn each_level_is_accepted_by_whom_the_matrix_demands() {
        // The story's matrix: high by nobody, serious by safety, medium by safety or lead, low and below by no one in
        // particular.
        use RiskLevel::{High, Medium, Serious};
        let cases = [
            (
                Severity::Critical,
                Probability::Probable,
                High,
                "safety",
                "residual-risk-not-acceptable",
            ),
            (
                Severity::Critical,
                Probability::Occasional,
                Serious,
                "lead",
                "residual-risk-not-accepted",
            ),
            (Severity::Critical, Probability::Occasional, Serious, "safety", ""),
            (
                Severity::Critical,
                Probability::Remote,
                Medium,
                "engineer",
                "residual-risk-not-accepted",
            ),
            (Severity::Critical, Probability::Remote, Medium, "lead", ""),
            // Accepted at a lower level than it has.
            (
                Severity::Critical,
                Probability::Occasional,
                Medium,
                "safety",
                "residual-risk-not-accepted",
            ),
        ];
        for (severity, probability, level, by, rule) in cases {
            let mut story = with(left_at(severity, probability));
            assert_eq!(story.rules("B").len(), 1, "nobody accepted {level} yet");
            story.accept_risk(by, "H", level);
            let rules = story.rules("B");
            assert_eq!(rules.first().copied().unwrap_or(""), rule, "{level} by {by}");
        }
        assert!(with(left_at(Severity::Negligible, Probability::Occasional)).rules("B").is_empty());
    }

    #[test]
    fn a_change_of_the_hazard_voids_what_was_accepted() {
        let mut story = with(left_at(Severity::Critical, Probability::Remote));
        story.accept_risk("safety", "H", RiskLevel::Medium);
        assert!(story.rules("B").is_empty());
        let mut other = left_at(Severity::Critical, Probability::Remote);
        other.effect = "Larger fire.".to_owned();
        story.record("engineer", HazardRecorded { hazard: other });
        story.approve("B");
        assert_eq!(story.rules("B"), ["residual-risk-not-accepted"]);
    }

    #[test]
    fn what_was_accepted_stands_when_the_person_leaves_and_falls_when_the_matrix_asks_for_another_role()
     {
        let mut story = with(left_at(Severity::Critical, Probability::Remote));
        story.accept_risk("lead", "H", RiskLevel::Medium);
        let mut gone = person("lead", Role::Lead);
        gone.roles.clear();
        story.record("safety", PersonListed { person: gone });
        assert!(story.rules("B").is_empty());
        let mut stricter = policy();
        stricter.risk.accepted_by[2].roles = vec![Role::Safety];
        story.record("lead", PolicySet { policy: stricter });
        assert!(story.rules("B").contains(&"residual-risk-not-accepted"));
    }

    #[test]
    fn without_a_policy_the_level_is_unknown() {
        let mut story = Story::empty();
        story.record("engineer", HazardRecorded { hazard: hazard("H-hot") });
        story.plan(point("A"));
        assert!(story.rules("A").contains(&"risk-matrix-missing"));
        assert!(story.rules("A").contains(&"policy-not-set"));
    }

    #[test]
    fn a_level_that_the_matrix_forgot_is_no_better_than_the_lesser_ones_that_it_names() {
        let mut story = with(left_at(Severity::Critical, Probability::Occasional));
        assert_eq!(story.rules("B"), ["residual-risk-not-accepted"], "serious");
        let mut forgetful = policy();
        forgetful.risk.accepted_by.retain(|demand| demand.level == RiskLevel::Medium);
        story.record("lead", PolicySet { policy: forgetful });
        assert_eq!(story.rules("B"), ["residual-risk-not-acceptable"]);
    }
}
