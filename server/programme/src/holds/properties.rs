//! What holds for holds, whatever happened.

#![allow(clippy::unwrap_used, clippy::panic)]

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use proptest::prelude::*;

use super::*;
use crate::measure::{Measure, Unit};
use crate::nouns::{Axis, Comparison, Criterion, Point, Statistic};
use crate::story::chance::{steps, trouble};
use crate::story::{Story, code, condition, point, typed};
use crate::verdict::Outcome;

/// What each point is held by: source, subject and stage.
///
/// The rule may become another one about the same thing: a result that waited for signatures and was followed by one
/// that was not met. An exceedance goes by limit and run, as the note of it replaces the hold that it was not noted.
fn held_by(
    state: &State,
    now: DateTime<Utc>,
) -> BTreeMap<String, BTreeSet<(usize, Subject, Stage)>> {
    let rungs = state.ladder.rungs().iter();
    rungs
        .map(|rung| {
            let of_point = reasons(state, rung, now)
                .iter()
                .map(|reason| {
                    let subject = match reason {
                        Reason::OpenExceedance(open) => {
                            Subject::new("exceedance", format!("{}/{}", open.limit, open.run))
                        }
                        other => other.subject(rung),
                    };
                    (reason.source(), subject, reason.stage())
                })
                .collect();
            (rung.point.code.to_string(), of_point)
        })
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn more_trouble_only_ever_adds_holds(steps in steps(60), troubles in proptest::collection::vec(trouble(), 1..6)) {
        let mut story = Story::ladder();
        for step in steps {
            story.step(step);
        }
        for trouble in troubles {
            let mut worse = story.clone();
            worse.worsen(trouble);
            prop_assert_eq!(worse.entries.len(), story.entries.len() + 1);
            // Both at the later moment, so that only the record differs.
            let (before, after) = (held_by(&story.state, worse.now), held_by(&worse.state, worse.now));
            for (point, held) in &before {
                let lost: Vec<_> = held.difference(&after[point]).collect();
                prop_assert!(lost.is_empty(), "{:?} lost {:?}", point, lost);
            }
            story = worse;
        }
    }

    #[test]
    fn every_hold_says_what_it_must_and_its_rule_is_in_the_reference(steps in steps(60)) {
        let mut story = Story::ladder();
        for step in steps {
            story.step(step);
        }
        let listed: Vec<&Rule> = reference().map(|(_, rule)| rule).collect();
        for rung in story.state.ladder.rungs() {
            for reason in reasons(&story.state, rung, story.now) {
                prop_assert!(SOURCES[reason.source()].rules.contains(&reason.rule()), "{:?}", reason);
                prop_assert!(listed.contains(&reason.rule()));
                let hold = reason.told(rung, &story.state);
                for sentence in [&hold.why, &hold.clears] {
                    prop_assert!(sentence.ends_with(['.', '!', '?']), "{:?}", hold);
                    prop_assert!(!sentence.to_lowercase().contains("safe "), "{:?}", hold);
                }
                prop_assert!(!hold.source.is_empty() && !hold.subject.code.is_empty(), "{:?}", hold);
            }
        }
    }

    #[test]
    fn a_missing_reading_is_never_a_pass(
        lost in proptest::collection::vec(0usize..5, 1..4),
        how in 0usize..4,
    ) {
        // Each value is asked for by something else: a criterion, a limit, required data, or a condition.
        let mut story = Story::ladder();
        let mut asking = point("A");
        for (parameter, statistic) in [("winding", Statistic::Max), ("speed", Statistic::Mean)] {
            asking.criteria.push(Criterion {
                parameter: code(parameter),
                statistic,
                comparison: Comparison::AtMost,
                value: 60.0,
                upper: None,
                unit: if parameter == "speed" { Unit::Knot } else { Unit::Celsius },
            });
        }
        asking.data_required.push(code("bus"));
        asking.conditions.insert(Axis::Speed, condition(20.0, 1.0, Unit::Knot));
        asking.conditions.insert(Axis::Power, condition(10.0, 1.0, Unit::Kilowatt));
        asking.axes_together = true;
        story.plan(asking).approve("A");
        let mut values = vec![
            typed("winding", Statistic::Max, 50.0, Unit::Celsius),
            typed("speed", Statistic::Mean, 20.0, Unit::Knot),
            typed("bus", Statistic::Mean, 300.0, Unit::Volt),
        ];
        let mut reached = BTreeMap::from([
            (Axis::Speed, Measure::new(20.0, Unit::Knot)),
            (Axis::Power, Measure::new(10.0, Unit::Kilowatt)),
        ]);
        let complete = story.run_for(&["A"], 10);
        let mut shown = story.clone();
        shown.result(complete, "A", values.clone(), reached.clone()).accept("A", complete);
        prop_assert!(shown.state.accepted_result(&code("A")).is_some());
        prop_assert!(shown.rules("B").is_empty());

        for place in lost {
            match (place, how) {
                (3, 0) => { reached.remove(&Axis::Speed); }
                (4, 0) => { reached.remove(&Axis::Power); }
                (3 | 4, _) => {
                    let axis = if place == 3 { Axis::Speed } else { Axis::Power };
                    let useless = if how == 1 { Measure::new(f64::NAN, Unit::Knot) } else { Measure::new(20.0, Unit::Metre) };
                    reached.insert(axis, useless);
                }
                (_, 0) => values[place].value = None,
                (_, 1) => values[place].value = Some(f64::NAN),
                // The only thing asked of the bus voltage is that there is any.
                (0 | 1, 2) => values[place].unit = Unit::Metre,
                (0 | 1, _) => values[place].statistic = Statistic::First,
                _ => values[place].parameter = code("other"),
            }
        }
        story.result(complete, "A", values, reached).accept("A", complete);
        let id = story.rung("A").last_result().unwrap();
        prop_assert_eq!(story.state.results[id.0].verdict.outcome, Outcome::Missing);
        prop_assert!(story.state.accepted_result(&code("A")).is_none());
        for waiting in ["B", "C"] {
            prop_assert!(!story.rules_against(waiting, Stage::Release).is_empty());
        }
    }
}

#[test]
fn the_codes_of_rules_are_kebab_case_and_no_two_are_alike() {
    let codes: Vec<&str> = reference().map(|(_, rule)| rule.code).collect();
    for code in &codes {
        assert!(code.bytes().all(|b| b.is_ascii_lowercase() || b == b'-'), "{code}");
    }
    let different: BTreeSet<&&str> = codes.iter().collect();
    assert_eq!(different.len(), codes.len());
}

#[test]
fn only_release_acknowledgement_weather_and_the_crew_of_the_day_stand_against_the_run_alone() {
    let mut against_run: Vec<&str> = reference()
        .filter(|(_, rule)| rule.stage == Stage::Run)
        .map(|(_, rule)| rule.code)
        .collect();
    against_run.sort_unstable();
    assert_eq!(
        against_run,
        [
            "acknowledgement-missing",
            "acknowledgement-older-than-release",
            "acknowledgement-refused",
            "crew-seat-not-filled",
            "release-configuration-changed",
            "release-expired",
            "release-missing",
            "release-not-yet-valid",
            "release-plan-changed",
            "release-refused",
            "release-used-up",
            "weather-not-observed",
            "weather-outside-minima",
            "weather-too-old",
            "weather-value-missing",
        ]
    );
}

#[test]
fn a_programme_in_which_nothing_is_set_holds_everything_and_names_it_all() {
    let mut story = Story::empty();
    story.plan(Point { after_points: vec![code("Z")], ..point("A") });
    let rules = story.rules("A");
    for rule in [
        "policy-not-set",
        "plan-not-approved",
        "prerequisite-unknown",
        "configuration-unknown",
        "hazard-unknown",
        "limit-unknown",
        "crew-seat-not-filled",
        "crew-seats-unknown",
    ] {
        assert!(rules.contains(&rule), "{rule} in {rules:?}");
    }
}

#[test]
fn a_stand_down_holds_every_point_until_it_is_lifted() {
    let mut story = Story::ladder();
    story.stand_down();
    for rung in story.state.ladder.rungs() {
        let held = against(&story.state, rung, story.now, Stage::Release);
        assert!(held.iter().any(|hold| hold.rule == "stand-down"));
    }
    story.record("safety", crate::record::StandDownLifted { reasons: "Found.".to_owned() });
    assert!(story.rules("A").is_empty());
}
