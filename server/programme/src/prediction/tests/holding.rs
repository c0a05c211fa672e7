//! Holds that predictions give, and what clears them.

use super::*;
use crate::codes::PointCode;
use crate::commands::asked::{faults, no_permission, not_now, unknown};
use crate::commands::{
    DampingTerms, JudgeDamping, NarrowRepeat, NarrowingTerms, OpenRun, ReviewModel, ReviewTerms,
    RunTerms,
};
use crate::nouns::{Axis, PredictionKind, Statistic};
use crate::record::{CrewMember, PredictionsMade};
use crate::story::predictions::demanding;
use crate::story::{condition, typed};

fn rules_of(story: &Story, point: &str) -> Vec<&'static str> {
    let held = story.rules(point).into_iter();
    held.filter(|rule| {
        rule.starts_with("predict") || rule.starts_with("damping") || rule.starts_with("coupled")
    })
    .collect()
}

#[test]
fn a_pessimistic_end_exactly_at_limit_less_margin_does_not_pass_and_a_hundredth_beyond_does() {
    let mut story = warmed();
    let high = of(&story, "N").of(&winding()).unwrap().value.high;
    for (margin, held) in [(80.0 - high, false), (80.0 - high + 0.01, true)] {
        let mut rules = prediction_rules();
        rules.temperature_margin = Measure::new(margin, Unit::Kelvin);
        let record = crate::record::PolicySet {
            policy: crate::nouns::Policy { predictions: Some(rules), ..crate::story::policy() },
        };
        story.record("safety", record);
        let rules = rules_of(&story, "N");
        assert_eq!(rules == ["predicted-beyond-limit"], held, "{margin}: {rules:?}");
    }
    let hold = story.hold("N", "predicted-beyond-limit");
    assert!(hold.why.contains("at 48 kW in air of 15.0 °C (as observed)"), "{}", hold.why);
    assert!(hold.why.contains("20 % beyond"), "{}", hold.why);
}

#[test]
fn a_margin_that_is_no_difference_of_temperatures_is_none_that_is_kept() {
    let mut story = warmed();
    let mut rules = prediction_rules();
    rules.temperature_margin = Measure::new(5.0, Unit::Knot);
    story.predicting(rules);
    assert_eq!(rules_of(&story, "N"), ["predicted-beyond-limit"]);
}

#[test]
fn a_demanded_prediction_that_cannot_be_made_is_a_hold_and_one_that_nobody_demands_is_none() {
    let mut story = Story::team();
    story.predicting(prediction_rules()).plan(powered("N", 5.0));
    assert!(rules_of(&story, "N").is_empty());
    story.predicting(demanding(PredictionKind::Temperature));
    assert_eq!(rules_of(&story, "N"), ["prediction-unavailable"]);
    assert!(rules_of(&story, "A").is_empty(), "A plans no power");
    story.plan(powered("W", 5.0)).air(15.0);
    story.warmed("W", 1.2);
    assert!(rules_of(&story, "N").is_empty());
    story.fit("motor", "2");
    let hold = story.hold("N", "prediction-unavailable");
    assert!(hold.why.contains("with what is fitted now"), "{}", hold.why);
}

#[test]
fn a_landing_exactly_at_the_reserve_is_enough_and_less_is_not() {
    let mut story = warmed();
    story.drew("A", 1.0);
    story.plan(flight("F", 10.0));
    let low = of(&story, "F").of(&Predicted::LandingEnergy {}).unwrap().value.low;
    for (reserve_kwh, held) in [(low, false), (low + 0.001, true)] {
        let mut rules = prediction_rules();
        // 10 minutes at six times the energy.
        rules.reserves[0].power = Measure::new(6.0 * reserve_kwh, Unit::Kilowatt);
        story.predicting(rules);
        assert_eq!(rules_of(&story, "F") == ["predicted-reserve-short"], held, "{reserve_kwh}");
    }
    let mut rules = demanding(PredictionKind::LandingEnergy);
    rules.take_off_charge_percent = None;
    story.predicting(rules);
    let why = story.hold("F", "prediction-unavailable").why;
    assert!(why.contains("states no charge state at take-off"), "{why}");
}

/// Runs of N at 8 kW, predicted as they were opened by the command, and shown at these temperatures.
fn shown_at(story: &mut Story, winding_c: f64) -> RunNumber {
    story.air(15.0);
    let made: Vec<_> = of(story, "N").made;
    let point = std::sync::Arc::clone(&story.rung("N").point);
    let run = story.run_for(&["N"], 10);
    let predictions = made.into_iter().map(|it| it.kept(&point)).collect();
    story.record("lead", PredictionsMade { run, predictions });
    let values = vec![typed("winding", Statistic::Max, winding_c, Unit::Celsius)];
    let reached = point.conditions.iter().map(|(axis, it)| (*axis, it.target())).collect();
    story.result(run, "N", values, reached);
    run
}

fn reviewing() -> Story {
    let mut story = warmed();
    story.plan(powered("N", 8.0));
    story
}

fn review() -> ReviewModel {
    ReviewModel {
        terms: ReviewTerms { what: winding(), findings: "The inlet was taped.".to_owned() },
    }
}

#[test]
fn predicted_stands_beside_measured_and_two_misses_hold_until_engineer_and_safety_officer_reviewed_it()
 {
    let mut story = reviewing();
    shown_at(&mut story, 24.0);
    shown_at(&mut story, 40.0);
    let verdicts: Vec<_> = outcomes(&story.state)
        .filter(|it| it.predicted.what == winding())
        .map(|it| it.verdict)
        .collect();
    assert_eq!(verdicts, [Verdict::Inside, Verdict::Above]);
    assert!(rules_of(&story, "N").is_empty(), "once is by chance");
    shown_at(&mut story, 41.0);
    assert_eq!(rules_of(&story, "N"), ["prediction-model-needs-review"]);
    assert_eq!(not_now(story.when("safety", &review())), "no-review-by-an-engineer");
    story.when("engineer", &review()).unwrap();
    let hold = story.hold("N", "prediction-model-needs-review");
    assert!(hold.why.contains("engineer has looked at the model"), "{}", hold.why);
    story.when("safety", &review()).unwrap();
    assert!(rules_of(&story, "N").is_empty());
    shown_at(&mut story, 42.0);
    assert!(rules_of(&story, "N").is_empty(), "misses count from the review on");
    shown_at(&mut story, 42.0);
    assert_eq!(rules_of(&story, "N"), ["prediction-model-needs-review"]);
}

#[test]
fn cooler_than_predicted_counts_only_where_it_was_flown_as_planned_and_hotter_always() {
    for (winding_c, verdict) in [(10.0, Verdict::NotComparable), (40.0, Verdict::Above)] {
        let mut story = reviewing();
        let run = shown_at(&mut story, winding_c);
        let reached = [(Axis::Power, Measure::new(4.0, Unit::Kilowatt))].into();
        let values = vec![typed("winding", Statistic::Max, winding_c, Unit::Celsius)];
        story.result(run, "N", values, reached);
        let found: Vec<_> = outcomes(&story.state).map(|it| it.verdict).collect();
        assert!(found.contains(&verdict), "{winding_c}: {found:?}");
    }
    let mut story = reviewing();
    shown_at(&mut story, 10.0);
    let found: Vec<_> = outcomes(&story.state).map(|it| it.verdict).collect();
    assert!(found.contains(&Verdict::Below), "{found:?}");
}

#[test]
fn only_what_was_predicted_is_reviewed_by_an_engineer_or_the_safety_officer() {
    let mut story = reviewing();
    assert_eq!(unknown(story.when("engineer", &review())), "prediction");
    shown_at(&mut story, 24.0);
    no_permission(&mut story, &review(), &["lead", "pilot", "crew", "viewer"]);
    let mut empty = review();
    empty.terms.findings.clear();
    assert_eq!(faults(story.when("engineer", &empty)), ["findings"]);
}

#[test]
fn the_run_that_is_opened_keeps_what_was_predicted_for_it() {
    let mut story = reviewing();
    story.approve("N").release("N").acknowledge("N").air(15.0);
    let member =
        CrewMember { person: code("pilot"), role: crate::nouns::Role::Pilot, on_board: true };
    let terms = RunTerms { points: vec![code::<PointCode>("N")], crew: vec![member] };
    let drafts = story.when("lead", &OpenRun { terms }).unwrap();
    assert_eq!(drafts.len(), 2);
    let kept = &story.state.predictions.made[0];
    assert_eq!((kept.run, kept.predictions[0].what.clone()), (RunNumber(2), winding()));
    assert_eq!(kept.predictions[0].ambient_c, Some(15.0));
    assert_eq!(outcomes(&story.state).next().unwrap().verdict, Verdict::Waiting);
}

fn judgement(go_on: bool, story: &Story) -> JudgeDamping {
    JudgeDamping {
        point: code("F4"),
        terms: DampingTerms {
            go_on,
            reductions: judged_over(&story.state),
            reasons: "Level over speed.".to_owned(),
        },
    }
}

/// Three flights with damping that rises, and F4 at 85 kt, where damping is judged from 80 kt on.
fn rapped() -> Story {
    let mut story = warmed();
    for (name, speed, damping) in [("F1", 55.0, 0.018), ("F2", 65.0, 0.019), ("F3", 75.0, 0.020)] {
        story.plan(flight(name, speed));
        story.rapped(name, damping);
    }
    story.plan(flight("F4", 85.0));
    story
}

#[test]
fn a_step_in_speed_waits_for_a_persons_judgement_however_good_the_trend() {
    let mut story = rapped();
    assert!(rules_of(&story, "F3").is_empty(), "75 kt are below what is judged");
    assert_eq!(rules_of(&story, "F4"), ["damping-step-not-judged"]);
    let hold = story.hold("F4", "damping-step-not-judged");
    assert!(hold.why.contains("cannot be extrapolated reliably"), "{}", hold.why);
    let command = judgement(true, &story);
    no_permission(&mut story, &command, &["lead", "pilot", "safety", "crew", "viewer"]);
    story.when("engineer", &command).unwrap();
    assert!(rules_of(&story, "F4").is_empty());
    story.rapped("F3", 0.002);
    assert!(rules_of(&story, "F4").contains(&"damping-step-not-judged"), "more is known now");
    assert_eq!(not_now(story.when("engineer", &command)), "damping-changed");
    let stop = judgement(false, &story);
    story.when("engineer", &stop).unwrap();
    let why = story.hold("F4", "damping-step-not-judged").why;
    assert!(why.contains("does not let F4 go on: Level over speed."), "{why}");
}

#[test]
fn a_judgement_is_for_one_plan_and_one_configuration_and_of_steps_only() {
    let mut story = rapped();
    let command = judgement(true, &story);
    story.when("engineer", &command).unwrap();
    let mut changed = story.clone();
    changed.fit("pack", "2");
    assert_eq!(rules_of(&changed, "F4"), ["damping-step-not-judged"]);
    let mut planned = flight("F4", 85.0);
    planned.conditions.insert(Axis::LoadFactor, condition(1.5, 0.1, Unit::G));
    story.plan(planned);
    assert_eq!(rules_of(&story, "F4"), ["damping-step-not-judged"]);
    let mut of_slow = judgement(true, &story);
    of_slow.point = code("F3");
    assert_eq!(not_now(story.when("engineer", &of_slow)), "no-damping-step");
}

#[test]
fn the_safety_officer_lets_a_result_stand_for_exactly_the_changes_that_were_seen() {
    let mut story = Story::team();
    let run = story.show_and_accept("A");
    let narrow = |changes| NarrowRepeat {
        run,
        point: code("A"),
        terms: NarrowingTerms { changes, reason: "The label was corrected.".to_owned() },
    };
    let none = narrow(Vec::new());
    assert_eq!(not_now(story.when("safety", &none)), "not-lapsed-by-a-change");
    story.fit("motor", "2");
    let result = story.state.result(run, &code("A")).unwrap().1.clone();
    assert!(!result.is_accepted());
    let changes = story.state.changes_since(&result);
    assert_eq!(not_now(story.when("safety", &none)), "changes-changed");
    let command = narrow(changes);
    no_permission(&mut story, &command, &["lead", "pilot", "engineer", "crew", "viewer"]);
    story.when("safety", &command).unwrap();
    assert!(story.state.accepted_result(&code("A")).is_some());
    story.fit("motor", "3");
    assert!(story.state.accepted_result(&code("A")).is_none(), "another change is another one");
    story.fit("motor", "2");
    assert!(story.state.accepted_result(&code("A")).is_some());
}
