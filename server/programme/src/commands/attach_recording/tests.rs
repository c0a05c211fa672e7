//! Recordings attached to runs, and evaluated anew.

#![allow(clippy::unwrap_used)]

use chrono::TimeDelta;

use super::*;
use crate::commands::asked::{faults, no_permission, not_now, unknown};
use crate::nouns::{Limit, LimitKind, Policy};
use crate::record::{LimitSet, PolicySet, Record};
use crate::story::{Story, any_digest, code, limit, point, policy};

/// A run of ten minutes and a recording of it that is not attached.
fn recorded() -> (Story, AttachRecording) {
    let mut story = Story::team();
    let run = story.run_for(&["A"], 10);
    let began = story.state.run(run).unwrap().times.power_on.unwrap();
    let recording = story.recorded_from(1, began, 600.0);
    (story, AttachRecording { recording, run, found: Vec::new(), heating: None })
}

fn beyond(story: &Story, name: &str, after_s: i64) -> FoundExceedance {
    let began = story.state.runs[0].times.power_on.unwrap();
    let at = began + TimeDelta::seconds(after_s);
    FoundExceedance {
        limit: code(name),
        limit_revision: story.state.limits.by_code[name].changed_at,
        point: None,
        statistic: Statistic::Max,
        started_at: at,
        duration_s: 12.0,
        peak: 85.0,
        peak_at: at + TimeDelta::seconds(5),
        odd_one_out: None,
    }
}

fn with_order() -> (Story, AttachRecording) {
    let (mut story, command) = recorded();
    story.record("engineer", LimitSet { limit: limit("L-second") });
    let heating_order = vec![code("L-winding"), code("L-second")];
    story.record("safety", PolicySet { policy: Policy { heating_order, ..policy() } });
    (story, command)
}

fn heating(story: &Story, outcome: HeatingOutcome, first: Option<&str>) -> JudgedHeating {
    let components = story.components(&["L-winding", "L-second"]);
    JudgedHeating { components, outcome, first: first.map(code), horizon_min: None }
}

#[test]
fn engineers_and_leads_attach_a_recording_with_all_that_it_shows_in_one_decision() {
    let (mut story, mut command) = with_order();
    command.found = vec![beyond(&story, "L-winding", 60), beyond(&story, "L-second", 60)];
    command.found[1].point = Some(code("A"));
    command.heating = Some(heating(&story, HeatingOutcome::OutOfOrder, Some("L-second")));
    no_permission(&mut story, &command, &["pilot", "safety", "crew", "viewer"]);
    let drafts = story.when("lead", &command).unwrap();
    let kinds: Vec<_> = drafts.iter().map(|draft| draft.record.kind()).collect();
    assert_eq!(
        kinds,
        ["recording-attached", "exceedance-found", "exceedance-found", "heating-order-judged"]
    );
    let Record::ExceedanceFound(second) = &drafts[2].record else { unreachable!() };
    assert_eq!((second.exceedance.0, second.dwell_s), (2, 0.0));
    let known = story.state.recordings.get(&command.recording).unwrap();
    assert!(known.is_attached_to(command.run));
    assert_eq!(story.state.open_exceedances().count(), 2);
}

#[test]
fn evaluated_anew_a_recording_tells_nothing_twice() {
    let (mut story, mut command) = with_order();
    command.found = vec![beyond(&story, "L-winding", 60), beyond(&story, "L-winding", 60)];
    command.heating = Some(heating(&story, HeatingOutcome::InOrder, Some("L-winding")));
    assert_eq!(story.when("engineer", &command).unwrap().len(), 3, "the same twice is one");
    assert_eq!(story.when("engineer", &command).unwrap(), []);
    // The first lasts until second 72.
    command.found.push(beyond(&story, "L-winding", 72));
    assert_eq!(story.when("engineer", &command).unwrap(), [], "one that touches it is the same");
    command.found.push(beyond(&story, "L-winding", 73));
    assert_eq!(story.when("engineer", &command).unwrap().len(), 1, "one a second later is another");
    command.found[2].peak = 85.5;
    assert_eq!(story.when("engineer", &command).unwrap().len(), 1, "and so is another peak");
    assert_eq!(story.when("engineer", &command).unwrap(), []);
    command.heating = Some(heating(&story, HeatingOutcome::OutOfOrder, Some("L-second")));
    assert_eq!(story.when("engineer", &command).unwrap().len(), 1);
}

#[test]
fn a_recording_that_only_touches_the_run_is_of_it_and_one_a_second_later_is_not() {
    let (mut story, command) = recorded();
    let over = story.state.runs[0].times.power_off.unwrap();
    for (which, started, is_of_it) in [(2, over, true), (3, over + TimeDelta::seconds(1), false)] {
        let recording = story.recorded_from(which, started, 60.0);
        let answer = story.when("engineer", &AttachRecording { recording, ..command.clone() });
        if is_of_it {
            answer.unwrap();
        } else {
            assert_eq!(not_now(answer), "recording-outside-run");
        }
    }
}

#[test]
fn a_confirmed_clock_offset_puts_a_recording_where_it_belongs() {
    let (mut story, command) = recorded();
    let began = story.state.runs[0].times.power_on.unwrap();
    let ahead = story.recorded_from(2, began + TimeDelta::hours(2), 600.0);
    let late = AttachRecording { recording: ahead.clone(), ..command.clone() };
    assert_eq!(not_now(story.when("engineer", &late)), "recording-outside-run");
    let confirmed = crate::record::ClockOffsetConfirmed {
        recording: ahead,
        against: command.recording,
        channel: code("speed"),
        offset_s: 7200.0,
        correlation: 0.99,
    };
    story.record("engineer", confirmed);
    story.when("engineer", &late).unwrap();
}

#[test]
fn a_limit_that_changed_meanwhile_asks_for_another_evaluation() {
    let (mut story, mut command) = recorded();
    command.found = vec![beyond(&story, "L-winding", 60)];
    let kind = LimitKind::Maximum { caution: None, limit: 82.0 };
    story.record("engineer", LimitSet { limit: Limit { kind, ..limit("L-winding") } });
    assert_eq!(not_now(story.when("engineer", &command)), "limits-changed");
    command.found = vec![beyond(&story, "L-winding", 60)];
    command.found[0].limit = code("L-none");
    assert_eq!(unknown(story.when("engineer", &command)), "limit");
}

#[test]
fn what_was_found_lies_in_the_recording_and_is_what_the_limit_is_held_against() {
    let (mut story, mut command) = recorded();
    story.plan(point("B"));
    let mut wrong = beyond(&story, "L-winding", 601);
    wrong.statistic = Statistic::Spread;
    (wrong.peak, wrong.duration_s) = (f64::NAN, -1.0);
    wrong.odd_one_out = Some(code("speed"));
    wrong.point = Some(code("B"));
    command.found = vec![beyond(&story, "L-winding", 0), wrong];
    assert_eq!(
        faults(story.when("engineer", &command)),
        [
            "found[1].statistic",
            "found[1].peak",
            "found[1].duration_s",
            "found[1].started_at",
            "found[1].peak_at",
            "found[1].odd_one_out",
            "found[1].point",
        ]
    );
}

#[test]
fn an_order_of_heating_is_that_of_the_policy_and_what_is_not_known_is_not_in_order() {
    let (mut story, command) = with_order();
    let mut refused = |change: &dyn Fn(&mut JudgedHeating), outcome, first| {
        let mut judged = heating(&story, outcome, first);
        change(&mut judged);
        let command = AttachRecording { heating: Some(judged), ..command.clone() };
        faults(story.when("engineer", &command))
    };
    let (in_order, out) = (HeatingOutcome::InOrder, HeatingOutcome::OutOfOrder);
    let missing = |it: &mut JudgedHeating| it.components[1].peak = None;
    assert_eq!(refused(&missing, in_order, None), ["heating.outcome"]);
    assert_eq!(refused(&|_| {}, in_order, Some("L-second")), ["heating.outcome"]);
    assert_eq!(refused(&|_| {}, out, None), ["heating.first"]);
    assert_eq!(refused(&|_| {}, out, Some("L-third")), ["heating.first"]);
    let swapped = |it: &mut JudgedHeating| it.components.swap(0, 1);
    assert_eq!(refused(&swapped, out, Some("L-second")), ["heating.components"]);
    let wrong = |it: &mut JudgedHeating| {
        it.components[0].channel = code("speed");
        it.components[0].low_s = Some(900.1);
        it.components[1].high_s = Some(-1.0);
    };
    assert_eq!(
        refused(&wrong, HeatingOutcome::Unknown, None),
        [
            "heating.components[0].channel",
            "heating.components[0].time_to_limit_s",
            "heating.components[1].high_s",
            "heating.components[1].time_to_limit_s",
        ]
    );
}

#[test]
fn a_recording_that_was_set_aside_or_is_not_known_is_attached_to_nothing() {
    let (mut story, command) = recorded();
    let strange = AttachRecording { recording: any_digest(), ..command.clone() };
    assert_eq!(unknown(story.when("engineer", &strange)), "recording");
    story.set_aside(&command.recording);
    assert_eq!(not_now(story.when("engineer", &command)), "recording-set-aside");
}
