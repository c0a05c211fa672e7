#![allow(clippy::unwrap_used, clippy::panic)]

use std::collections::BTreeSet;

use chrono::TimeDelta;
use proptest::prelude::*;

use super::*;
use crate::nouns::{Point, PredictionKind};
use crate::story::chance::steps;
use crate::story::predictions::{demanding, powered};
use crate::story::{Story, code, point};

/// The same lists from nothing, by the plainest means.
fn next_from_nothing(state: &State, now: DateTime<Utc>) -> Next {
    let mut next = Next::default();
    for rung in state.ladder.rungs() {
        if rung.dropped.is_some() || state.accepted_result(&rung.point.code).is_some() {
            continue;
        }
        let code = rung.point.code.clone();
        if holds::holds(state, rung, now).is_empty() {
            next.unheld.push(code);
        } else if holds::against(state, rung, now, Stage::Release).is_empty() {
            next.held_for_run.push(code);
        }
    }
    next
}

fn is_as_from_nothing(
    board: &Board,
    state: &State,
    now: DateTime<Utc>,
) -> Result<(), TestCaseError> {
    for (place, rung) in state.ladder.rungs().iter().enumerate() {
        // The second time it may have been kept, and the third time it is read out of what was.
        for _ in 0..3 {
            prop_assert_eq!(&*board.reasons(place, state, now), holds::reasons(state, rung, now));
        }
        prop_assert_eq!(board.holds(place, state, now), holds::holds(state, rung, now));
    }
    prop_assert_eq!(board.next(state, now), next_from_nothing(state, now));
    let afresh = Board::new(state, now);
    prop_assert_eq!(board.would_open(state, now), afresh.would_open(state, now));
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_board_is_equal_to_all_holds_from_nothing_after_every_record_and_as_time_passes(
        steps in steps(80)
    ) {
        let mut story = Story::ladder();
        let mut board = Board::new(&story.state, story.now);
        for step in steps {
            // Replays what the step recorded one by one, so that the board sees each state.
            let mut after = story.clone();
            after.step(step);
            for entry in &after.entries[story.entries.len()..] {
                story.state.apply(entry);
                board.take_in(&story.state, entry);
                is_as_from_nothing(&board, &story.state, entry.at)?;
            }
            story = after;
            // Read ahead of the clock first, which must be right too.
            is_as_from_nothing(&board, &story.state, story.now)?;
            board.advance(&story.state, story.now);
            is_as_from_nothing(&board, &story.state, story.now)?;
        }
    }
}

#[test]
fn a_record_concerns_its_point_and_those_that_wait_for_it_only() {
    let mut story = Story::ladder();
    let mut board = Board::new(&story.state, story.now);
    let place = |story: &Story, name: &str| story.state.ladder.place(&code(name)).unwrap();
    story.release("A");
    let looked_at = board.take_in(&story.state, story.entries.last().unwrap());
    // B and C wait for A.
    assert_eq!(looked_at, [place(&story, "A"), place(&story, "B"), place(&story, "C")]);
    story.check("C-torque", false);
    assert!(board.take_in(&story.state, story.entries.last().unwrap()).is_empty());
    let reasons = board.holds(place(&story, "H"), &story.state, story.now);
    assert!(reasons.iter().any(|hold| hold.rule == "check-failed"));
}

#[test]
fn a_release_wakes_the_board_when_it_begins_and_when_it_ends() {
    let mut story = Story::team();
    let (from, until) = (story.now + TimeDelta::hours(1), story.now + TimeDelta::hours(2));
    story.release_within("A", from, until).acknowledge("A");
    let mut board = Board::new(&story.state, story.now);
    let second = TimeDelta::seconds(1);
    assert!(board.advance(&story.state, from - second).is_empty());
    assert!(board.next(&story.state, from - second).unheld.is_empty());
    assert_eq!(board.advance(&story.state, from), [0]);
    assert_eq!(board.next(&story.state, from).unheld, [code("A")]);
    assert!(board.advance(&story.state, until - second).is_empty());
    assert_eq!(board.advance(&story.state, until), [0]);
    assert_eq!(board.next(&story.state, until).held_for_run, [code("A")]);
}

#[test]
fn a_board_that_missed_records_looks_at_everything_and_reads_right_before_that() {
    let mut story = Story::ladder();
    let mut board = Board::new(&story.state, story.now);
    story.show_and_accept("A");
    let place = story.state.ladder.place(&code("B")).unwrap();
    let rung = story.rung("B");
    assert_eq!(
        board.holds(place, &story.state, story.now),
        holds::holds(&story.state, rung, story.now)
    );
    let looked_at = board.take_in(&story.state, story.entries.last().unwrap());
    assert_eq!(looked_at.len(), story.state.ladder.rungs().len());
}

#[test]
fn what_would_open_lists_the_holds_that_alone_keep_most_points_first() {
    let mut story = Story::team();
    for name in ["B", "C"] {
        story.plan(Point { after_points: vec![code("A")], ..point(name) }).approve(name);
    }
    // D waits for A and lacks its approval, so clearing one hold does not open it.
    story.plan(Point { after_points: vec![code("A")], ..point("D") });
    story.plan(point("E"));
    let board = Board::new(&story.state, story.now);
    let would_open = board.would_open(&story.state, story.now);
    assert_eq!(would_open.len(), 2);
    assert_eq!(would_open[0].rule, "prerequisite-not-accepted");
    assert_eq!(would_open[0].subject.code, "A");
    assert_eq!(would_open[0].points, [code("B"), code("C")]);
    assert_eq!(would_open[0].stage, Stage::Release);
    assert_eq!(
        (would_open[1].rule, &would_open[1].points[..]),
        ("plan-not-approved", &[code("E")][..])
    );
    // A itself waits for release and acknowledgement, which are two.
    assert_eq!(board.next(&story.state, story.now).held_for_run, [code("A")]);
    story.acknowledge("A");
    let board = Board::new(&story.state, story.now);
    let would_open = board.would_open(&story.state, story.now);
    assert!(
        would_open.iter().any(|hold| hold.rule == "release-missing" && hold.stage == Stage::Run)
    );
}

#[test]
fn what_is_predicted_is_as_from_nothing_after_every_record_and_when_the_weather_becomes_too_old() {
    let mut story = Story::team();
    story.predicting(demanding(PredictionKind::Temperature));
    story.plan(powered("N", 48.0)).plan(powered("W", 30.0)).air(15.0);
    story.warmed("W", 1.2);
    story.warmed("W", 1.25);
    story.air(30.0).fit("motor", "another");
    story.warmed("W", 1.1);
    story.air(5.0);

    let mut state = State::default();
    let mut board = Board::new(&state, story.now);
    let (mut rules, mut hotter) = (BTreeSet::new(), 0);
    for entry in &story.entries {
        state.apply(entry);
        board.take_in(&state, entry);
        is_as_from_nothing(&board, &state, entry.at).unwrap();
        let policy = state.policy.as_ref();
        let until = state.latest_weather().zip(policy);
        let Some(until) = until.map(|(it, policy)| policy.weather_good_until(it.at)) else {
            continue;
        };
        let too_late = until + TimeDelta::microseconds(1);
        // Back again, too: a reader may have looked at the clock before another one.
        for now in [until, too_late, until] {
            is_as_from_nothing(&board, &state, now).unwrap();
        }
        let Some(place) = state.ladder.place(&code("N")) else { continue };
        let held = |now| {
            let reasons = board.reasons(place, &state, now);
            reasons.iter().map(|it| it.rule().code).collect::<BTreeSet<_>>()
        };
        let beyond = "predicted-beyond-limit";
        hotter += usize::from(!held(until).contains(beyond) && held(too_late).contains(beyond));
        rules.extend(held(until));
    }
    assert!(rules.contains("predicted-beyond-limit"), "{rules:?}");
    assert!(rules.contains("prediction-unavailable"), "{rules:?}");
    assert!(hotter > 0, "on the hot day the point is held, and as observed it is not");
}
