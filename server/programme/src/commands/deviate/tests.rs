#![allow(clippy::unwrap_used)]

use proptest::prelude::*;

use super::*;
use crate::commands::asked::{faults, held, no_permission, not_now, unknown};
use crate::measure::{Measure, Unit};
use crate::nouns::{Axis, Limit, LimitKind, Role};
use crate::record::{LimitSet, PolicySet};
use crate::story::chance::steps;
use crate::story::{Story, code, condition, limit, point, policy};

/// 40 kt were shown, and `B` wants 62 kt by steps of 10 kt.
fn bold() -> Story {
    let mut story = Story::team();
    for (name, speed) in [("S", 40.0), ("B", 62.0)] {
        let mut planned = point(name);
        planned.conditions.insert(Axis::Speed, condition(speed, 1.0, Unit::Knot));
        story.plan(planned).approve(name);
        if name == "S" {
            story.show_and_accept(name);
        }
    }
    assert_eq!(story.rules("B"), ["build-up-step-too-large"]);
    story
}

fn proposal(story: &Story) -> ProposeDeviation {
    let digest = digests::plan(&story.state, story.rung("B")).unwrap();
    let reason = "Steps in between lie in the range where the gear resonates.".to_owned();
    ProposeDeviation { terms: DeviationTerms { point: code("B"), reason, digest } }
}

fn agreement(story: &Story) -> AgreeDeviation {
    let digest = story.state.deviations.last().unwrap().digest.clone();
    let number = u32::try_from(story.state.deviations.len()).unwrap();
    AgreeDeviation { deviation: DeviationNumber(number), terms: DeviationAgreementTerms { digest } }
}

fn ending(number: u32) -> EndDeviation {
    let terms = DeviationEndingTerms { reason: "A doubt.".to_owned() };
    EndDeviation { deviation: DeviationNumber(number), terms }
}

fn agreed() -> Story {
    let mut story = bold();
    story.when("lead", &proposal(&story.clone())).unwrap();
    story.when("safety", &agreement(&story.clone())).unwrap();
    story
}

#[test]
fn a_step_is_lifted_once_both_have_signed_and_not_before() {
    let mut story = bold();
    story.when("lead", &proposal(&story.clone())).unwrap();
    assert_eq!(story.rules("B"), ["build-up-step-too-large"]);
    let signed = &story.state.deviations[0].steps;
    assert_eq!(signed.len(), 1);
    assert_eq!(signed[0].allowed, Measure::new(50.0, Unit::Knot));
    assert_eq!(not_now(story.when("lead", &proposal(&story.clone()))), "deviation-open");
    story.when("safety", &agreement(&story.clone())).unwrap();
    assert!(story.rules("B").is_empty());
    assert_eq!(not_now(story.when("safety", &agreement(&story.clone()))), "deviation-settled");
}

#[test]
fn a_change_of_the_plan_or_of_its_limits_voids_a_deviation() {
    let mut changed = agreed();
    let mut other = (*changed.rung("B").point).clone();
    other.objective = "Show something else.".to_owned();
    changed.plan(other).approve("B");
    assert_eq!(changed.rules("B"), ["build-up-step-too-large"]);

    let mut tightened = agreed();
    let kind = LimitKind::Maximum { caution: None, limit: 75.0 };
    tightened.record("engineer", LimitSet { limit: Limit { kind, ..limit("L-winding") } });
    tightened.approve("B");
    assert_eq!(tightened.rules("B"), ["build-up-step-too-large"]);
}

#[test]
fn a_proposal_for_a_plan_that_was_changed_since_cannot_be_agreed_to() {
    let mut story = bold();
    story.when("lead", &proposal(&story.clone())).unwrap();
    let mut other = (*story.rung("B").point).clone();
    other.objective = "Show something else.".to_owned();
    story.plan(other).approve("B");
    assert_eq!(not_now(story.when("safety", &agreement(&story.clone()))), "deviation-void");
    // It is in nobody's way.
    story.when("lead", &proposal(&story.clone())).unwrap();
}

#[test]
fn where_less_is_shown_than_when_it_was_signed_the_hold_is_back() {
    let mut story = agreed();
    story.fit("motor", "2");
    assert!(story.rules("B").contains(&"build-up-step-too-large"));
}

#[test]
fn where_less_is_shown_than_was_proposed_nobody_agrees() {
    let mut story = bold();
    story.when("lead", &proposal(&story.clone())).unwrap();
    story.fit("motor", "2");
    assert_eq!(not_now(story.when("safety", &agreement(&story.clone()))), "deviation-void");
}

#[test]
fn a_deviation_is_ended_by_lead_or_safety_officer_and_then_lifts_nothing() {
    for by in ["lead", "safety"] {
        let mut story = agreed();
        story.when(by, &ending(1)).unwrap();
        assert_eq!(story.rules("B"), ["build-up-step-too-large"]);
        assert_eq!(not_now(story.when(by, &ending(1))), "deviation-ended");
        assert_eq!(not_now(story.when("safety", &agreement(&story.clone()))), "deviation-ended");
    }
    let mut story = agreed();
    let mut empty = ending(1);
    empty.terms.reason = " ".to_owned();
    assert_eq!(faults(story.when("safety", &empty)), ["reason"]);
    assert_eq!(unknown(story.when("safety", &ending(2))), "deviation");
}

#[test]
fn one_person_does_not_sign_both_parts() {
    let mut story = bold();
    story.has_roles("lead", &[Role::Lead, Role::Safety]);
    story.when("lead", &proposal(&story.clone())).unwrap();
    let holds = held(story.when("lead", &agreement(&story.clone())));
    assert_eq!(holds[0].rule, "one-person-two-parts");
}

#[test]
fn others_may_neither_propose_nor_agree_nor_end() {
    let mut story = bold();
    let command = proposal(&story);
    no_permission(&mut story, &command, &["pilot", "safety", "engineer", "crew", "viewer"]);
    story.when("lead", &command).unwrap();
    let command = agreement(&story);
    no_permission(&mut story, &command, &["lead", "pilot", "engineer", "crew", "viewer"]);
    no_permission(&mut story, &ending(1), &["pilot", "engineer", "crew", "viewer"]);
}

#[test]
fn a_proposal_needs_a_reason_a_step_that_is_too_large_and_the_plan_as_it_is() {
    let mut story = bold();
    let mut command = proposal(&story);
    command.terms.reason = String::new();
    assert_eq!(faults(story.when("lead", &command)), ["reason"]);
    let mut command = proposal(&story);
    command.terms.digest = crate::story::any_digest();
    assert_eq!(not_now(story.when("lead", &command)), "card-changed");
    let mut command = proposal(&story);
    command.terms.point = code("A");
    command.terms.digest = digests::plan(&story.state, story.rung("A")).unwrap();
    assert_eq!(not_now(story.when("lead", &command)), "no-step-to-deviate-from");
    command.terms.point = code("nowhere");
    assert_eq!(unknown(story.when("lead", &command)), "point");
}

#[test]
fn what_lies_beyond_the_never_exceed_speed_is_nobodys_to_sign() {
    let mut story = bold();
    let mut aircraft = story.state.aircraft.clone().unwrap();
    aircraft.never_exceed_speed = Some(Measure::new(61.0, Unit::Knot));
    story.record("lead", crate::record::AircraftDescribed { aircraft });
    assert_eq!(not_now(story.when("lead", &proposal(&story.clone()))), "no-step-to-deviate-from");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_deviation_never_lifts_another_hold(
        steps in steps(60),
        speed in 0.0..120.0_f64,
        power in 0.0..80.0_f64,
    ) {
        let mut story = Story::ladder();
        for step in steps {
            story.step(step);
        }
        story.has_roles("lead", &[Role::Lead]).has_roles("safety", &[Role::Safety]);
        story.record("lead", PolicySet { policy: policy() });
        let mut planned = point("B");
        planned.conditions.insert(Axis::Speed, condition(speed, 1.0, Unit::Knot));
        planned.conditions.insert(Axis::Power, condition(power, 1.0, Unit::Kilowatt));
        story.plan(planned);
        let before = story.holds("B");
        let proposed = story.when("lead", &proposal(&story.clone()));
        let too_large = before.iter().any(|hold| hold.rule == "build-up-step-too-large");
        prop_assert_eq!(proposed.is_ok(), too_large);
        if too_large {
            story.when("safety", &agreement(&story.clone())).unwrap();
            let after = story.holds("B");
            for hold in &before {
                let lifted = hold.rule == "build-up-step-too-large";
                prop_assert_eq!(after.contains(hold), !lifted, "{:?}", hold);
            }
        }
    }
}
