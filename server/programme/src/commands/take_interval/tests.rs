//! Intervals by marks, by times and by conditions.

#![allow(clippy::unwrap_used)]

use chrono::TimeDelta;

use super::*;
use crate::commands::asked::{faults, no_permission, not_now, unknown};
use crate::measure::Unit;
use crate::record::ClockOffsetConfirmed;
use crate::story::{Story, code, point};

fn recorded() -> (Story, TakeInterval) {
    let mut story = Story::team();
    let (recording, run) = story.recorded_run("A");
    let interval = times(&story, 60, 120);
    (story, TakeInterval { recording, run, point: code("A"), interval })
}

fn at(story: &Story, seconds: i64) -> DateTime<Utc> {
    story.state.runs[0].times.power_on.unwrap() + TimeDelta::seconds(seconds)
}

fn times(story: &Story, from: i64, to: i64) -> FoundInterval {
    FoundInterval::Times { from: at(story, from), to: at(story, to) }
}

const fn mark(event: RunEvent, after_s: f64) -> EventMark {
    EventMark { event, number: 1, after_s }
}

fn taken(story: &Story) -> (DateTime<Utc>, DateTime<Utc>) {
    let interval = story.state.recordings.intervals.last().unwrap();
    (interval.from, interval.to)
}

#[test]
fn engineers_and_leads_take_intervals_and_the_same_one_only_once() {
    let (mut story, command) = recorded();
    no_permission(&mut story, &command, &["pilot", "safety", "crew", "viewer"]);
    story.when("lead", &command).unwrap();
    assert_eq!(taken(&story), (at(&story, 60), at(&story, 120)));
    assert_eq!(not_now(story.when("engineer", &command)), "nothing-changes");
}

#[test]
fn an_interval_by_marks_goes_from_one_noted_moment_of_the_run_to_another() {
    let (mut story, command) = recorded();
    let (from, to) = (mark(RunEvent::PowerOn, 30.0), mark(RunEvent::PowerOff, -0.5));
    let command = TakeInterval { interval: FoundInterval::EventMarks { from, to }, ..command };
    story.when("engineer", &command).unwrap();
    let half = TimeDelta::milliseconds(500);
    assert_eq!(taken(&story), (at(&story, 30), at(&story, 600) - half));
    let (from, to) = (mark(RunEvent::TakeOff, 0.0), mark(RunEvent::PowerOff, f64::NAN));
    let command = TakeInterval { interval: FoundInterval::EventMarks { from, to }, ..command };
    assert_eq!(faults(story.when("engineer", &command)), ["from", "to.after_s"]);
    let second = EventMark { number: 2, ..mark(RunEvent::PowerOn, 0.0) };
    let interval = FoundInterval::EventMarks { from: second, to: second };
    let command = TakeInterval { interval, ..command };
    assert_eq!(faults(story.when("engineer", &command)), ["from", "to"]);
}

#[test]
fn marks_are_looked_up_by_the_recorders_clock_where_its_offset_was_confirmed() {
    let (mut story, command) = recorded();
    let other = story.recorded(1);
    story.record(
        "engineer",
        ClockOffsetConfirmed {
            recording: command.recording.clone(),
            against: other,
            channel: code("speed"),
            offset_s: 2.5,
            correlation: 0.99,
        },
    );
    let (from, to) = (mark(RunEvent::PowerOn, 0.0), mark(RunEvent::PowerOff, -10.0));
    let interval = FoundInterval::EventMarks { from, to };
    let command = TakeInterval { interval, ..command };
    story.when("engineer", &command).unwrap();
    let ahead = TimeDelta::milliseconds(2500);
    assert_eq!(taken(&story), (at(&story, 0) + ahead, at(&story, 590) + ahead));
    let interval = times(&story, 2, 60);
    let command = TakeInterval { interval, ..command };
    assert_eq!(faults(story.when("engineer", &command)), ["from"], "before the run began");
}

#[test]
fn an_interval_reaches_to_the_ends_of_recording_and_run_and_not_a_second_further() {
    let (mut story, command) = recorded();
    let mut ask = |from, to| {
        let interval = times(&story, from, to);
        story.when("engineer", &TakeInterval { interval, ..command.clone() })
    };
    ask(0, 600).unwrap();
    assert_eq!(faults(ask(-1, 600)), ["from", "from"], "of recording and run");
    assert_eq!(faults(ask(0, 601)), ["to", "to"]);
    assert_eq!(faults(ask(60, 60)), ["to"], "it lasts");
}

#[test]
fn channels_that_were_steady_were_read_and_stayed_so_for_as_long_as_was_asked_for() {
    let (mut story, command) = recorded();
    let steady = |channel: &str, unit| SteadyChannel {
        channel: code(channel),
        target: 20.0,
        tolerance: 1.0,
        unit,
    };
    let mut ask = |held: Vec<SteadyChannel>, at_least_s: f64| {
        let (from, to) = (at(&story, 60), at(&story, 120));
        let interval = FoundInterval::Conditions { held, at_least_s, from, to };
        story.when("engineer", &TakeInterval { interval, ..command.clone() })
    };
    ask(vec![steady("speed", Unit::Knot)], 60.0).unwrap();
    assert_eq!(faults(ask(vec![steady("speed", Unit::Knot)], 60.1)), ["at_least_s"]);
    assert_eq!(faults(ask(vec![], 1.0)), ["held"]);
    let mut wide = steady("speed", Unit::Volt);
    wide.tolerance = 0.0;
    assert_eq!(
        faults(ask(vec![steady("pack", Unit::Volt), wide], 1.0)),
        ["held[0].channel", "held[1].target.unit", "held[1].tolerance"]
    );
}

#[test]
fn an_interval_is_for_a_point_of_a_run_that_the_recording_belongs_to() {
    let (mut story, command) = recorded();
    story.plan(point("B"));
    let ask = |story: &mut Story, change: &dyn Fn(&mut TakeInterval)| {
        let mut changed = command.clone();
        change(&mut changed);
        story.when("engineer", &changed)
    };
    assert_eq!(not_now(ask(&mut story, &|it| it.point = code("B"))), "point-not-in-run");
    assert_eq!(unknown(ask(&mut story, &|it| it.point = code("Z"))), "point");
    assert_eq!(unknown(ask(&mut story, &|it| it.run = RunNumber(9))), "run");
    let run = story.run_for(&["A"], 10);
    assert_eq!(not_now(ask(&mut story, &|it| it.run = run)), "recording-not-attached");
    story.set_aside(&command.recording);
    assert_eq!(not_now(ask(&mut story, &|_| {})), "recording-set-aside");
}
