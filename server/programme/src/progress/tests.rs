#![allow(clippy::unwrap_used)]

use chrono::{Days, NaiveDate, TimeDelta};
use proptest::prelude::*;

use super::*;
use crate::nouns::LostTo;
use crate::record::{DayLost, ForecastAssumed, StandDownLifted};
use crate::state::{Stage, StandingPoints};
use crate::story::chance::steps;
use crate::story::{Story, morning, point};

fn lost(story: &mut Story, date: NaiveDate, cause: Option<LostTo>) {
    let account = "As everybody saw.".to_owned();
    story.record("lead", DayLost { date, cause, account });
}

/// Where each point stands, looked at from nothing.
fn from_nothing(state: &State) -> PointsByPhase {
    let mut counts = PointsByPhase::new();
    for rung in state.ladder.rungs() {
        let of = counts.entry(rung.point.phase).or_default();
        match state.stage_of(rung) {
            Stage::Accepted => of.accepted += 1,
            Stage::AwaitingAcceptance => of.awaiting_acceptance += 1,
            Stage::NotMet => of.not_met += 1,
            Stage::Lapsed => of.lapsed += 1,
            Stage::NotRun => of.not_run += 1,
            Stage::Dropped => of.dropped += 1,
        }
    }
    counts
}

proptest! {
    #[test]
    fn whatever_is_recorded_the_counts_are_those_of_the_points_as_they_stand(steps in steps(80)) {
        let mut story = Story::ladder();
        for step in steps {
            let mut after = story.clone();
            after.step(step);
            for entry in &after.entries[story.entries.len()..] {
                story.state.apply(entry);
                let days = story.state.course.days();
                let kept = days.last().map(|day| day.points.clone()).unwrap_or_default();
                prop_assert_eq!(kept, from_nothing(&story.state), "after {:?}", entry.record);
            }
            story = after;
        }
        let days = story.state.course.days();
        prop_assert!(days.is_sorted_by(|one, next| one.date < next.date));
    }
}

#[test]
fn each_day_on_which_points_moved_has_its_counts() {
    let mut story = Story::team();
    let mut planned = point("F");
    planned.phase = Phase::FirstFlight;
    story.plan(planned);
    story.later(TimeDelta::days(3));
    let run = story.show("A", 50.0);
    story.later(TimeDelta::days(1));
    story.accept("A", run);
    story.later(TimeDelta::days(1));
    story.weather(crate::nouns::WeatherObservation::default());

    let progress = of(&story.state, story.now);

    let told: Vec<_> = progress
        .days
        .iter()
        .map(|day| {
            let (ground, flight) = (day.of(Phase::GroundRun), day.of(Phase::FirstFlight));
            let after = (day.date - morning().date_naive()).num_days();
            (after, ground.not_run, ground.awaiting_acceptance, ground.accepted, flight.not_run)
        })
        .collect();
    assert_eq!(told, [(0, 1, 0, 0, 1), (3, 0, 1, 0, 1), (4, 0, 0, 1, 1)]);
    assert_eq!(progress.points[&Phase::GroundRun].planned(), 1);
    assert_eq!(progress.points[&Phase::Taxi], StandingPoints::default());
    assert!(!progress.days[0].points.contains_key(&Phase::Taxi));
    assert_eq!(progress.days_to_acceptance[&Phase::GroundRun], [1.0]);
}

#[test]
fn the_interval_of_a_share_is_wilsons() {
    // binomtest(repeated, results).proportion_ci(method="wilson") of SciPy 1.17.1.
    for (repeated, results, low, high) in [
        (0, 5, 0.0, 0.434_482_464_783_174_76),
        (1, 10, 0.017_876_213_095_072_896, 0.404_150_026_795_238_5),
        (3, 7, 0.158_219_855_251_469_7, 0.749_541_635_472_342_8),
        (50, 100, 0.403_831_530_365_995_6, 0.596_168_469_634_004_4),
    ] {
        let found = Repeats::of(results - repeated, repeated).unwrap();
        assert!((found.share_between[0] - low).abs() < 1e-12, "{found:?}");
        assert!((found.share_between[1] - high).abs() < 1e-12, "{found:?}");
    }
    assert_eq!(Repeats::of(0, 0), None);
}

#[test]
fn a_result_that_is_recorded_anew_counts_once() {
    let mut story = Story::team();
    let run = story.show("A", 500.0);
    let values = vec![crate::story::typed(
        "winding",
        crate::nouns::Statistic::Max,
        50.0,
        crate::measure::Unit::Celsius,
    )];
    let reached = story.rung("A").point.conditions.clone();
    let reached = reached.iter().map(|(axis, condition)| (*axis, condition.target())).collect();
    story.result(run, "A", values, reached);
    let found = repeats_by_phase(&story.state)[&Phase::GroundRun];
    assert_eq!((found.shown, found.repeated), (1, 0));
}

#[test]
fn each_working_day_without_a_run_is_lost_to_one_cause_and_the_days_add_up() {
    let mut story = Story::team();
    story.show("A", 50.0);
    let first = story.now.date_naive();
    let day = |after: u64| first + Days::new(after);
    story.later(TimeDelta::days(2));
    story.stand_down();
    story.later(TimeDelta::days(1));
    story.record("safety", StandDownLifted { reasons: "All is well.".to_owned() });
    story.later(TimeDelta::days(2));
    story.snag(true, None, &[]);
    story.later(TimeDelta::days(1));
    lost(&mut story, day(1), Some(LostTo::Weather));
    lost(&mut story, day(2), Some(LostTo::Airfield));
    lost(&mut story, day(4), None);

    let spent = of(&story.state, story.now).spent;

    let told: Vec<_> = spent.days.iter().map(|day| (day.date, day.cause)).collect();
    assert_eq!(
        told,
        [
            (day(5), Some(LostTo::Aircraft)),
            (day(3), Some(LostTo::StandDown)),
            (day(2), Some(LostTo::Airfield)),
            (day(1), Some(LostTo::Weather)),
        ],
        "what somebody noted goes before what the records tell, and day 4 was not lost"
    );
    assert!(spent.days[1].account.contains("stand-down"), "{:?}", spent.days[1]);
    assert_eq!((spent.working_days, spent.with_runs), (5, 1));
    assert_eq!(spent.lost.iter().map(|lost| lost.days).sum::<u32>(), 4);
    assert!(!spent.by_assumption);
}

#[test]
fn without_a_word_and_without_a_record_nobody_knows_and_assumed_days_off_are_not_lost() {
    let mut story = Story::team();
    story.show("A", 50.0);
    // 12 May 2031 is a Monday.
    story.later(TimeDelta::days(7));
    let all = of(&story.state, story.now).spent;
    assert_eq!((all.working_days, all.with_runs), (7, 1));
    assert_eq!(all.lost, [CauseOfDays { cause: None, days: 6 }]);

    let text = include_str!("../../records/forecast-assumed-v1-full.json");
    let entry = crate::entry::Entry::from_json(text.trim()).unwrap();
    let crate::record::Record::ForecastAssumed(body) = entry.record else {
        unreachable!("it assumes")
    };
    let mut assumptions = body.assumptions;
    assumptions.works_on =
        [crate::forecast::Weekday::Monday, crate::forecast::Weekday::Sunday].into();
    assumptions.days_off.clear();
    story.record("lead", ForecastAssumed { assumptions });
    let weekend = of(&story.state, story.now).spent;
    assert_eq!((weekend.working_days, weekend.with_runs), (2, 1));
    assert!(weekend.by_assumption);
}

#[test]
fn before_the_first_run_no_day_is_counted() {
    let story = Story::team();
    let progress = of(&story.state, story.now);
    assert_eq!(progress.spent, DaysSpent::default());
    assert!(progress.repeats.is_empty() && progress.days_to_acceptance.is_empty());
    let empty = of(&State::default(), story.now);
    assert_eq!(empty.points.len(), Phase::ALL.len());
}
