//! Accepts a result, as an engineer or as the safety officer; both are needed for it to count.

use serde::Deserialize;

use super::given::{not_now, one};
use super::held::{hold, unless_held};
use super::signed::{as_seen, signable};
use super::{Command, Stamp, digests, known, step};
use crate::codes::{PointCode, RunNumber};
use crate::entry::Draft;
use crate::holds::Hold;
use crate::people::Act;
use crate::record::{Digest, Part, PartSigned};
use crate::refusal::Refusal;
use crate::state::{ResultState, State};
use crate::verdict::Outcome;

/// As what a person accepts a result.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Acceptance {
    /// As an engineer.
    Engineering,
    /// As the safety officer.
    Safety,
}

impl Acceptance {
    /// The part of the step that is signed.
    pub const fn part(self, run: RunNumber) -> Part {
        match self {
            Acceptance::Engineering => Part::EngineeringAcceptance { run },
            Acceptance::Safety => Part::SafetyAcceptance { run },
        }
    }
}

/// What a person gives to accept a result.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AcceptanceTerms {
    /// Of the result with its verdict and exceedances, as the person saw it.
    pub digest: Digest,
}

/// Asks for a result to be accepted.
#[derive(Debug, Clone)]
pub struct AcceptResult {
    /// Of which run.
    pub run: RunNumber,
    /// For which point.
    pub point: PointCode,
    /// As what.
    pub acceptance: Acceptance,
    /// What was given.
    pub terms: AcceptanceTerms,
}

impl Command for AcceptResult {
    fn act(&self) -> Act {
        match self.acceptance {
            Acceptance::Engineering => Act::AcceptAsEngineer,
            Acceptance::Safety => Act::AcceptAsSafety,
        }
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let rung = known::rung(state, &self.point)?;
        let (_, result) = known::result(state, self.run, &self.point)?;
        let digest = signable(digests::acceptance(state, result))?;
        as_seen(&digest, &self.terms.digest, "the result")?;
        let part = self.acceptance.part(self.run);
        let mut holds = against(state, result);
        holds.extend(step::against(state, rung, part, &stamp.by));
        unless_held(holds)?;
        let signature = match self.acceptance {
            Acceptance::Engineering => &result.engineering,
            Acceptance::Safety => &result.safety,
        };
        if signature.as_ref().is_some_and(|s| s.by == stamp.by && s.digest == digest) {
            return Err(not_now(
                "already-signed",
                format!(
                    "you have accepted the result of run {} for {} already",
                    self.run, self.point
                ),
                "Nothing needs to be done.",
            ));
        }
        Ok(one(PartSigned { point: self.point.clone(), part, window: None, digest }))
    }
}

/// Everything that stands against accepting a result, whoever would sign.
pub(super) fn against(state: &State, result: &ResultState) -> Vec<Hold> {
    let (run, point) = (result.run, &result.point);
    let mut holds = Vec::new();
    if state.run(run).is_none_or(|run| run.closed.is_none()) {
        holds.push(hold(
            "run-open",
            ("run", run),
            format!("Run {run} is not closed."),
            "Whoever conducts the run closes it.".to_owned(),
            "Rungbook rule: a result is accepted when its run is over",
        ));
    }
    match result.verdict.outcome {
        Outcome::Met => {}
        Outcome::NotMet => holds.push(hold(
            "result-not-met",
            ("result", format!("{run}/{point}")),
            format!("Run {run} did not show what {point} must show."),
            format!("{point} is run again and met, or its plan is changed and approved."),
            "Rungbook rule: only what was met is accepted",
        )),
        Outcome::Missing => holds.push(hold(
            "result-incomplete",
            ("result", format!("{run}/{point}")),
            format!(
                "Readings of run {run} for {point} are missing, and a missing reading is no pass."
            ),
            "The readings are recorded, or the point is run again.".to_owned(),
            "Rungbook rule: unknown is not safe",
        )),
    }
    if let Some(recording) = state.set_aside_since_filled(result) {
        holds.push(hold(
            "recording-set-aside",
            ("recording", recording),
            format!("Values of run {run} for {point} come from recording {recording}, which was set aside since."),
            "The result is recorded anew from what counts.".to_owned(),
            "Rungbook rule: what was set aside counts for nothing",
        ));
    }
    for exceedance in digests::exceedances_of(state, result).filter(|e| e.closed.is_none()) {
        holds.push(hold(
            "exceedance-open",
            ("exceedance", exceedance.number),
            format!(
                "Exceedance {} of limit {} in run {run} is not closed.",
                exceedance.number, exceedance.limit
            ),
            "An engineer explains it, and a safety officer who is another person closes it."
                .to_owned(),
            "Rungbook rule: a result is accepted when every exceedance is explained and closed",
        ));
    }
    let unnoted = state.unnoted_exceedances().iter().filter(|(unnoted, limit)| {
        *unnoted == run && state.exceedance_concerns(limit, run, &result.planned)
    });
    for (_, limit) in unnoted {
        holds.push(hold(
            "exceedance-not-noted",
            ("limit", limit),
            format!("Run {run} lies beyond limit {limit}, and no exceedance was noted."),
            "Somebody notes the exceedance, an engineer explains it, and a safety officer closes it.".to_owned(),
            "Rungbook rule: a result is accepted when every exceedance is explained and closed",
        ));
    }
    holds
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{held, no_permission, not_now, rules};
    use crate::nouns::{Limit, Phase, Point, Role};
    use crate::record::LimitSet;
    use crate::story::{Story, code, limit, point};

    /// `A` was shown at a winding temperature; the lead recorded the result.
    fn shown(winding: impl Into<Option<f64>>) -> (Story, RunNumber) {
        let mut story = Story::team();
        let run = story.run_for(&["A"], 10);
        story.result_by("lead", run, "A", winding.into());
        (story, run)
    }

    fn acceptance(story: &Story, run: RunNumber, acceptance: Acceptance) -> AcceptResult {
        let point = code("A");
        let (_, result) = story.state.result(run, &point).unwrap();
        let digest = digests::acceptance(&story.state, result).unwrap();
        AcceptResult { run, point, acceptance, terms: AcceptanceTerms { digest } }
    }

    #[test]
    fn a_met_result_counts_once_an_engineer_and_the_safety_officer_have_accepted_it() {
        let (mut story, run) = shown(50.0);
        let as_engineer = acceptance(&story, run, Acceptance::Engineering);
        story.when("engineer", &as_engineer).unwrap();
        assert_eq!(story.state.accepted_result(&code("A")), None);
        assert_eq!(not_now(story.when("engineer", &as_engineer)), "already-signed");
        let as_safety = acceptance(&story, run, Acceptance::Safety);
        story.when("safety", &as_safety).unwrap();
        assert!(story.state.accepted_result(&code("A")).is_some());
    }

    #[test]
    fn a_result_that_was_not_met_or_lacks_a_reading_is_not_accepted() {
        for (winding, rule) in [(Some(60.1), "result-not-met"), (None, "result-incomplete")] {
            let (mut story, run) = shown(winding);
            let command = acceptance(&story, run, Acceptance::Engineering);
            assert_eq!(rules(story.when("engineer", &command)), [rule]);
        }
    }

    #[test]
    fn a_result_from_a_recording_that_was_set_aside_is_not_accepted() {
        let mut story = Story::team();
        let (recording, run) = story.recorded_run("A");
        story.interval(&recording, run, "A");
        let values = vec![crate::story::recorded_value(&recording, 1, 50.0)];
        story.result(run, "A", values, Default::default()).set_aside(&recording);
        let command = acceptance(&story, run, Acceptance::Safety);
        assert_eq!(rules(story.when("safety", &command)), ["recording-set-aside"]);
    }

    #[test]
    fn a_result_is_not_accepted_while_its_run_is_open() {
        let mut story = Story::team();
        let run = story.open_run(&["A"]);
        story.result_by("lead", run, "A", Some(50.0));
        let command = acceptance(&story, run, Acceptance::Safety);
        assert_eq!(rules(story.when("safety", &command)), ["run-open"]);
    }

    #[test]
    fn a_result_is_not_accepted_while_an_exceedance_of_its_run_is_open() {
        let (mut story, run) = shown(50.0);
        story.exceedance(run, "L-winding");
        let command = acceptance(&story, run, Acceptance::Engineering);
        assert_eq!(rules(story.when("engineer", &command)), ["exceedance-open"]);
    }

    #[test]
    fn whoever_recorded_the_result_does_not_accept_it() {
        let mut story = Story::team();
        let run = story.show("A", 50.0);
        let command = acceptance(&story, run, Acceptance::Engineering);
        let holds = held(story.when("engineer", &command));
        assert!(holds[0].why.contains("the result as its recorder"), "{}", holds[0].why);
    }

    #[test]
    fn one_person_does_not_accept_both_as_engineer_and_as_safety_officer() {
        let (mut story, run) = shown(50.0);
        story.has_roles("engineer", &[Role::Engineer, Role::Safety]);
        let as_engineer = acceptance(&story, run, Acceptance::Engineering);
        story.when("engineer", &as_engineer).unwrap();
        story.withdraws("engineer", "A", Part::EngineeringAcceptance { run });
        let as_safety = acceptance(&story, run, Acceptance::Safety);
        assert_eq!(rules(story.when("engineer", &as_safety)), ["one-person-two-parts"]);
    }

    #[test]
    fn an_exceedance_noted_between_two_acceptances_asks_for_the_first_again() {
        let (mut story, run) = shown(50.0);
        let as_engineer = acceptance(&story, run, Acceptance::Engineering);
        story.when("engineer", &as_engineer).unwrap();
        let before = acceptance(&story, run, Acceptance::Safety);
        story.exceedance(run, "L-winding").explained_and_closed(1);
        assert_eq!(not_now(story.when("safety", &before)), "card-changed");
        let as_safety = acceptance(&story, run, Acceptance::Safety);
        story.when("safety", &as_safety).unwrap();
        assert_eq!(story.state.accepted_result(&code("A")), None);
        let again = acceptance(&story, run, Acceptance::Engineering);
        story.when("engineer", &again).unwrap();
        assert!(story.state.accepted_result(&code("A")).is_some());
    }

    #[test]
    fn each_acceptance_has_its_role() {
        let (mut story, run) = shown(50.0);
        let as_engineer = acceptance(&story, run, Acceptance::Engineering);
        no_permission(&mut story, &as_engineer, &["lead", "pilot", "safety", "crew", "viewer"]);
        let as_safety = acceptance(&story, run, Acceptance::Safety);
        no_permission(&mut story, &as_safety, &["lead", "pilot", "engineer", "crew", "viewer"]);
    }

    #[test]
    fn a_result_that_nobody_recorded_is_not_accepted() {
        let (mut story, run) = shown(50.0);
        let mut command = acceptance(&story, run, Acceptance::Safety);
        command.run = RunNumber(9);
        let refusal = story.when("safety", &command).unwrap_err();
        assert_eq!(refusal, Refusal::Unknown { what: "run", code: "9".to_owned() });
    }

    #[test]
    fn an_exceedance_noted_after_both_acceptances_asks_for_both_again() {
        let (mut story, run) = shown(50.0);
        story.accept("A", run);
        assert!(story.state.accepted_result(&code("A")).is_some());
        story.exceedance(run, "L-winding").explained_and_closed(1);
        assert_eq!(story.state.accepted_result(&code("A")), None);
        let as_engineer = acceptance(&story, run, Acceptance::Engineering);
        story.when("engineer", &as_engineer).unwrap();
        let as_safety = acceptance(&story, run, Acceptance::Safety);
        story.when("safety", &as_safety).unwrap();
        assert!(story.state.accepted_result(&code("A")).is_some());
    }

    #[test]
    fn an_exceedance_of_another_run_asks_for_no_acceptance_again() {
        let (mut story, run) = shown(50.0);
        story.accept("A", run);
        let other = story.run_for(&["A"], 10);
        story.exceedance(other, "L-winding");
        assert!(story.state.accepted_result(&code("A")).is_some());
    }

    #[test]
    fn an_open_exceedance_stands_against_acceptance_also_where_its_limit_has_left_the_phase() {
        let (mut story, run) = shown(50.0);
        story.plan(Point { limits: Vec::new(), ..point("B") });
        let run_of_b = story.run_for(&["B"], 10);
        story.result_by("lead", run_of_b, "B", Some(50.0)).exceedance(run_of_b, "L-winding");
        let elsewhere = Limit { phases: vec![Phase::Taxi], ..limit("L-winding") };
        story.record("engineer", LimitSet { limit: elsewhere });
        let (_, result) = story.state.result(run_of_b, &code("B")).unwrap();
        let rules: Vec<_> = against(&story.state, result).iter().map(|hold| hold.rule).collect();
        assert_eq!(rules, ["exceedance-open"]);
        let (_, result) = story.state.result(run, &code("A")).unwrap();
        assert!(against(&story.state, result).is_empty(), "it was of another run");
    }
}
