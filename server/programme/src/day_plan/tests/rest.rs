//! Proposals of days, the rest of a day planned anew, and what a day's energy allows.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::AtomicBool;

use chrono::TimeDelta;

use super::super::*;
use super::day::{ladder, terms};
use crate::codes::DayPlanNumber;
use crate::commands::{ProposeDayPlan, critical_of};
use crate::refusal::Refusal;
use crate::story::{Story, code, point};

fn proposal(story: &Story, terms: DayTerms, replaces: Option<DayPlanNumber>) -> ProposeDayPlan {
    let problem = DayProblem::of(&story.state, &terms, &critical_of(&story.state)).unwrap();
    let day = problem.clone().plan(&AtomicBool::new(false)).unwrap();
    ProposeDayPlan { replaces, terms, problem, day }
}

fn propose(story: &mut Story, terms: DayTerms, replaces: Option<DayPlanNumber>) {
    let proposed = proposal(story, terms, replaces);
    story.when("lead", &proposed).unwrap();
}

#[test]
fn the_rest_of_a_day_goes_on_from_where_it_stands_without_what_was_not_met() {
    let mut story = ladder();
    let mut first = terms(&story);
    first.crew[1].most_on_board_min = Some(45.0);
    propose(&mut story, first.clone(), None);
    let run = story.run_for(&["A"], 10);
    let from = first.from + TimeDelta::hours(2);
    let given = AgainTerms {
        from,
        state: 0.6,
        ground_state: None,
        parts_c: BTreeMap::new(),
        without: BTreeSet::from([code("A")]),
    };
    let planned = story.state.planning.days[0].clone();
    let rest = rest_of_day(&story.state, &planned, &given).unwrap();
    let made = story.state.run(run).unwrap();
    assert!(made.opened_at < first.from, "the run was before the window: it does not count");
    assert_eq!((rest.from, rest.to, rest.pack.state), (from, first.to, 0.6));
    assert_eq!(rest.most_runs, first.most_runs);
    let expected = planned.day.over_the_day.iter().find(|moment| moment.at == from).unwrap();
    assert_eq!(rest.parts[0].begins_c, expected.parts_c[0]);
    propose(&mut story, rest, Some(DayPlanNumber(1)));
    let again = story.state.planning.days.last().unwrap();
    let points: Vec<&str> = again.day.runs.iter().map(|run| run.point.as_str()).collect();
    assert_eq!(points, ["C"], "B waits for A");
    assert_eq!(story.state.planning.replaced_by(DayPlanNumber(1)), Some(DayPlanNumber(2)));

    let late =
        AgainTerms { from: first.to, parts_c: BTreeMap::from([("Tail".to_owned(), 9.0)]), ..given };
    let faults = rest_of_day(&story.state, &planned, &late).unwrap_err();
    let fields: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
    assert_eq!(fields, ["from", "parts_c.Tail"]);
}

#[test]
fn a_plan_for_a_programme_that_has_changed_meanwhile_is_not_recorded() {
    let mut story = ladder();
    let outdated = proposal(&story, terms(&story), None);
    story.plan(point("D")).approve("D");
    let refused = story.when("lead", &outdated).unwrap_err();
    assert!(matches!(refused, Refusal::NotNow { code: "programme-changed", .. }), "{refused:?}");
    let refused = story.when("pilot", &proposal(&story, terms(&story), None)).unwrap_err();
    assert!(matches!(refused, Refusal::NotPermitted { .. }), "{refused:?}");
}

#[test]
fn a_plan_opens_and_holds_nothing() {
    let mut story = ladder();
    let before = ["A", "B", "C"].map(|name| story.rules(name));
    let day = terms(&story);
    propose(&mut story, day, None);
    assert_eq!(["A", "B", "C"].map(|name| story.rules(name)), before);
}

#[test]
fn each_source_more_allows_no_fewer_runs_and_impossible_runs_are_refused() {
    let story = ladder();
    let mut terms = terms(&story);
    terms.charging.panels = Some(PanelsOfDay { tilt_deg: 10.0, azimuth_deg: 180.0, peak_kw: 4.0 });
    let ground =
        GroundBatteryOfDay { usable_kwh: 8.0, state: 1.0, least_state: 0.0, power_kw: 4.0 };
    terms.charging.ground_battery = Some(ground);
    let run = LikeRuns { energy_kwh: 5.0, run_min: 15.0, set_up_min: 20.0 };
    let told = energy_of_day(&story.state, &terms, run).unwrap();
    let runs: Vec<u32> = told.allowed.iter().map(|row| row.runs).collect();
    assert!(runs.is_sorted(), "{runs:?}");
    // 14 kWh above what stays in the pack.
    assert_eq!(runs[0], 2);
    assert!(runs[3] > runs[0], "{runs:?}");
    let last = told.over_the_day.last().unwrap();
    let came_kwh = last.panels_kwh + last.ground_battery_kwh + last.mains_kwh;
    assert!(came_kwh > 0.0 && last.pack_kwh <= 20.0 + 1e-9);
    let impossible = LikeRuns { energy_kwh: -1.0, run_min: 0.0, set_up_min: 20.0 };
    let Err(CannotPlan::Faulty { faults }) = energy_of_day(&story.state, &terms, impossible) else {
        panic!("it was taken")
    };
    let fields: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
    assert_eq!(fields, ["run.energy_kwh", "run.run_min"]);
}
