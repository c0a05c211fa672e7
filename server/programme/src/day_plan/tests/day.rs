//! Days of a programme: what is planned, what is left out, and what is told.

use std::collections::BTreeMap;
use std::sync::atomic::AtomicBool;

use chrono::{DateTime, TimeDelta, Utc};

use super::super::*;
use crate::codes::PointCode;
use crate::measure::{Measure, Unit};
use crate::nouns::{Phase, Point, Role, Validity, WeatherMinima, WeatherObservation};
use crate::record::{CheckDefined, WeatherObserved};
use crate::state::State;
use crate::story::{Story, check, code, point};

/// A window of six hours from the story's morning on, on the equator close to noon, so in daylight.
pub(super) fn terms(story: &Story) -> DayTerms {
    let from = story.now + TimeDelta::minutes(10);
    let to = from + TimeDelta::hours(6);
    let calm = WeatherObservation {
        wind: Some(Measure::new(5.0, Unit::Knot)),
        temperature: Some(Measure::new(15.0, Unit::Celsius)),
        ..WeatherObservation::default()
    };
    let hour = |hour| HourOfWeather {
        from: from + TimeDelta::hours(hour),
        cloud: 0.2,
        weather: calm.clone(),
    };
    let member =
        |handle: &str| CrewOfDay { person: code(handle), from, to, most_on_board_min: None };
    DayTerms {
        from,
        to,
        field: Field { latitude_deg: 0.0, longitude_deg: 45.0, elevation_m: 20.0 },
        weather: (0..6).map(hour).collect(),
        pack: PackOfDay { usable_kwh: 20.0, state: 0.9, least_state: 0.2, taper: Vec::new() },
        charging: ChargingOfDay {
            charger_kw: 6.0,
            efficiency: 0.9,
            mains_kw: 7.0,
            panels: None,
            ground_battery: None,
        },
        parts: vec![HeatingPart {
            name: "Winding".to_owned(),
            time_constant_min: 15.0,
            rise_c_per_kw: 1.0,
            begins_c: 15.0,
            rests_on: Vec::new(),
            most_c: 70.0,
        }],
        set_up_min: BTreeMap::from([(Phase::GroundRun, 20)]),
        turn_round_min: 15,
        acceptance_min: 30,
        crew: ["lead", "pilot", "safety", "engineer", "crew"].map(member).into(),
        most_runs: 6,
        priorities: BTreeMap::new(),
        without: std::collections::BTreeSet::new(),
    }
}

fn plan(story: &Story, terms: &DayTerms) -> DayPlan {
    plan_day(&story.state, terms, &BTreeMap::new(), &AtomicBool::new(false)).unwrap()
}

fn points(plan: &DayPlan) -> Vec<&str> {
    plan.runs.iter().map(|run| run.point.as_str()).collect()
}

fn faults(state: &State, terms: &DayTerms) -> Vec<String> {
    let told = plan_day(state, terms, &BTreeMap::new(), &AtomicBool::new(false));
    let Err(CannotPlan::Faulty { faults }) = told else { panic!("{told:?}") };
    faults.into_iter().map(|fault| fault.field).collect()
}

/// The team, with B after A, and C beside them.
pub(super) fn ladder() -> Story {
    let mut story = Story::team();
    let b = Point { after_points: vec![code("A")], energy_kwh: 6.0, ..point("B") };
    story.plan(b).approve("B").plan(Point { energy_kwh: 8.0, ..point("C") }).approve("C");
    story
}

#[test]
fn a_day_has_its_points_in_order_with_charge_and_temperature_and_who_has_to_do_what() {
    let story = ladder();
    let terms = terms(&story);
    let plan = plan(&story, &terms);
    let mut planned = points(&plan);
    let place = |name| planned.iter().position(|it| *it == name).unwrap();
    assert!(place("A") < place("B"), "{planned:?}");
    planned.sort_unstable();
    assert_eq!(planned, ["A", "B", "C"]);
    assert_eq!((plan.value, plan.at_most), (3.0, 3.0));
    for run in &plan.runs {
        assert_eq!(run.begins_at - run.set_up_at, TimeDelta::minutes(20));
        assert_eq!(run.ends_at - run.begins_at, TimeDelta::minutes(10));
        assert_eq!(run.ready_at - run.ends_at, TimeDelta::minutes(15));
        let taken = (run.charge_before - run.charge_after) * 20.0;
        assert!((taken - run.energy_kwh).abs() < 0.01, "{run:?}");
        assert!(run.charge_after >= 0.2 && run.parts[0].after_c <= 70.0);
        assert!(run.parts[0].after_c > run.parts[0].before_c);
        let needs: Vec<&[Role]> = run.needs.iter().map(|need| need.who.as_slice()).collect();
        assert!(
            needs.contains(&[Role::Safety].as_slice()) && needs.contains(&[Role::Pilot].as_slice())
        );
        assert_eq!(run.crew.len(), 1);
        assert!(run.crew[0].on_board && run.crew[0].person == code("pilot"));
    }
    for pair in plan.runs.windows(2) {
        assert!(pair[0].ready_at <= pair[1].set_up_at);
    }
    let of = |name: &str| plan.runs.iter().find(|run| run.point.as_str() == name).unwrap();
    assert!(of("B").set_up_at - of("A").ends_at >= TimeDelta::minutes(30));
    assert_eq!(of("B").after, [code::<PointCode>("A")]);
    // If A is not met, B cannot follow it.
    assert!(!of("A").instead.points.contains(&code("B")));
    assert_eq!(plan.over_the_day.len(), 6 * 12 + 1);
    let charged: f64 = plan.charges.iter().map(|charge| charge.from_mains_kwh).sum();
    let last = plan.over_the_day.last().unwrap().charge;
    assert!((18.0 + charged - 15.0 - last * 20.0).abs() < 0.01, "{charged} {last}");
}

#[test]
fn with_room_for_one_run_the_point_that_is_critical_or_wanted_is_made() {
    let story = ladder();
    let one = DayTerms { most_runs: 1, ..terms(&story) };
    let critical = BTreeMap::from([(code("C"), 0.9), (code("A"), 0.1)]);
    let never = AtomicBool::new(false);
    let by_forecast = plan_day(&story.state, &one, &critical, &never).unwrap();
    assert_eq!(points(&by_forecast), ["C"]);
    assert!((by_forecast.value - 9.1).abs() < 1e-9);
    let wanted = DayTerms { priorities: BTreeMap::from([(code("A"), 10.0)]), ..one };
    let by_wish = plan_day(&story.state, &wanted, &critical, &never).unwrap();
    assert_eq!(points(&by_wish), ["A"]);
}

#[test]
fn a_due_check_is_a_need_and_a_failed_one_leaves_the_point_out() {
    let mut story = ladder();
    let validity = Validity { days: Some(1), ..Validity::default() };
    story.record("engineer", CheckDefined { check: check("C-pack", validity) });
    let due = plan(&story, &terms(&story));
    assert_eq!(due.runs.len(), 3);
    assert!(due.runs.iter().all(|run| run.needs.iter().any(|need| need.who == [Role::Crew])));
    story.check("C-pack", false);
    let failed = plan(&story, &terms(&story));
    assert!(failed.runs.is_empty());
    let left: Vec<&str> = failed.left_out.iter().map(|out| out.point.as_str()).collect();
    assert_eq!(left, ["A", "B", "C"]);
    assert!(failed.left_out.iter().all(|out| !out.because.is_empty()));
}

#[test]
fn what_only_time_or_wishes_would_clear_is_never_planned() {
    // A plan that nobody has approved; what waits for it; a stand-down.
    let mut story = ladder();
    story.plan(point("D"));
    story.plan(Point { after_points: vec![code("D")], ..point("E") }).approve("E");
    let told = plan(&story, &terms(&story));
    assert!(!points(&told).contains(&"D") && !points(&told).contains(&"E"));
    assert!(told.left_out.iter().any(|out| out.point.as_str() == "E"));
    // Wind that is too strong now, though it is expected to drop.
    let minima = WeatherMinima {
        wind_at_most: Some(Measure::new(10.0, Unit::Knot)),
        ..WeatherMinima::default()
    };
    story.plan(Point { weather: minima, ..point("W") }).approve("W");
    let gale = WeatherObservation {
        wind: Some(Measure::new(30.0, Unit::Knot)),
        ..WeatherObservation::default()
    };
    assert!(points(&plan(&story, &terms(&story))).contains(&"W"));
    story.record("crew", WeatherObserved { weather: gale });
    assert!(!points(&plan(&story, &terms(&story))).contains(&"W"));
    story.stand_down();
    assert!(plan(&story, &terms(&story)).runs.is_empty());
}

#[test]
fn a_run_waits_for_the_hour_in_which_the_expected_weather_does_and_unknown_weather_never_does() {
    let mut story = Story::team();
    let minima = WeatherMinima {
        wind_at_most: Some(Measure::new(10.0, Unit::Knot)),
        ..WeatherMinima::default()
    };
    story.plan(Point { weather: minima, ..point("W") }).approve("W");
    let mut terms = terms(&story);
    for hour in [0, 1, 3, 4, 5] {
        terms.weather[hour].weather.wind = Some(Measure::new(18.0, Unit::Knot));
    }
    let calm_from = terms.weather[2].from;
    let told = plan(&story, &terms);
    let run = told.runs.iter().find(|run| run.point.as_str() == "W").unwrap();
    assert!(run.begins_at >= calm_from && run.ends_at <= calm_from + TimeDelta::hours(1));
    terms.weather[2].weather.wind = None;
    let told = plan(&story, &terms);
    assert!(!points(&told).contains(&"W"));
    let why = told.not_reached.iter().find(|it| it.point.as_str() == "W").unwrap();
    assert!(why.because.contains("weather"), "{why:?}");
}

#[test]
fn the_rest_of_a_day_is_planned_from_where_it_stands_after_a_point_that_was_not_met() {
    let mut story = ladder();
    let first = plan(&story, &terms(&story));
    assert!(points(&first).contains(&"A"));
    story.show("A", 75.0);
    let mut now = terms(&story);
    now.pack.state = 0.6;
    let rest = plan(&story, &now);
    assert_eq!(points(&rest), ["C"]);
    let left: Vec<&str> = rest.left_out.iter().map(|out| out.point.as_str()).collect();
    assert_eq!(left, ["A", "B"]);
}

#[test]
fn what_can_never_be_is_told_all_at_once() {
    let story = ladder();
    let mut wrong = terms(&story);
    wrong.to = wrong.from - TimeDelta::hours(1);
    wrong.weather.clear();
    wrong.pack.usable_kwh = -4.0;
    wrong.charging.mains_kw = f64::NAN;
    wrong.crew.clear();
    wrong.most_runs = 0;
    assert_eq!(
        faults(&story.state, &wrong),
        ["to", "weather", "pack.usable_kwh", "charging.mains_kw", "most_runs", "crew"]
    );
    let mut night = terms(&story);
    let midnight: DateTime<Utc> = "2031-05-12T20:00:00Z".parse().unwrap();
    (night.from, night.to) = (midnight, midnight + TimeDelta::hours(3));
    assert_eq!(faults(&story.state, &night), ["from"]);
    let stopped = plan_day(&story.state, &terms(&story), &BTreeMap::new(), &AtomicBool::new(true));
    assert_eq!(stopped, Err(CannotPlan::Stopped));
}

#[test]
fn a_point_that_heats_a_part_too_much_even_from_cold_is_told_as_such() {
    let story = ladder();
    let mut hot = terms(&story);
    hot.parts[0].rise_c_per_kw = 3.0;
    // C: 48 kW for ten minutes, 15 + 48 × 3 × (1 − e^(−10/15)) = 85 °C.
    let told = plan(&story, &hot);
    let why = told.not_reached.iter().find(|it| it.point.as_str() == "C").unwrap();
    assert!(why.because.contains("too warm"), "{why:?}");
}

#[test]
fn a_crew_without_a_pilot_flies_nothing_and_is_told_who_is_missing() {
    let story = ladder();
    let mut alone = terms(&story);
    alone.crew.retain(|member| member.person == code("crew"));
    let told = plan(&story, &alone);
    assert!(told.runs.is_empty());
    assert!(told.left_out.iter().any(|out| out.because[0].contains("test pilot")));
}

#[test]
fn panels_charge_by_day_and_a_plan_without_any_weather_for_points_with_minima_is_empty() {
    let story = ladder();
    let mut sunny = terms(&story);
    sunny.charging.mains_kw = 0.0;
    sunny.charging.panels = Some(PanelsOfDay { tilt_deg: 0.0, azimuth_deg: 180.0, peak_kw: 5.0 });
    let told = plan(&story, &sunny);
    let from_panels: f64 = told.charges.iter().map(|charge| charge.from_panels_kwh).sum();
    assert!(from_panels > 2.0, "{from_panels}");
    assert!(told.charges.iter().all(|charge| charge.from_mains_kwh == 0.0));
}

#[test]
fn weather_is_read_from_a_file_and_every_bad_cell_is_told() {
    let text = "from,cloud,wind_kt,gust_kt,temperature_c,precipitation\n\
                2031-05-12T08:00:00+02:00,0.3,6,11,14,no\n\
                2031-05-12T09:00:00+02:00,0.5,8,,16,\n";
    let hours = weather_of_csv(text).unwrap();
    assert_eq!(hours.len(), 2);
    assert_eq!(hours[0].from, "2031-05-12T06:00:00Z".parse::<DateTime<Utc>>().unwrap());
    assert_eq!(hours[0].weather.gust, Some(Measure::new(11.0, Unit::Knot)));
    assert_eq!((hours[1].weather.gust, hours[1].weather.precipitation), (None, None));
    let told = |text: &str| -> Vec<String> {
        weather_of_csv(text).unwrap_err().into_iter().map(|fault| fault.field).collect()
    };
    assert_eq!(told("from,cloud\nnoon,much\n"), ["line 2, column cloud", "line 2, column from"]);
    assert_eq!(told("from,wind\n"), ["line 1", "line 1"]);
    assert_eq!(told("from,cloud\n"), ["line 2"]);
    assert_eq!(told("from,cloud\n2031-05-12T06:00:00Z,0.1,7\n"), ["line 2"]);
}
