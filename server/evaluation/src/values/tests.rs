#![allow(clippy::unwrap_used)]
use std::collections::BTreeMap;

use programme::codes::{PersonHandle, PointCode, RunNumber};
use programme::nouns::{LimitKind, Phase, TimedRating};
use programme::record::IntervalBasis;
use programme::verdict::{self, Outcome};
use serde_json::json;

use super::*;
use crate::made::{Made, channel, gathered, moment};
use crate::reductions::{Answer, Beyond, Fill};

fn point(criteria: serde_json::Value) -> Point {
    serde_json::from_value(json!({
        "code": "GR-1", "title": "Run", "phase": "ground-run", "objective": "See.", "technique": "Run it.",
        "duration_min": 10.0, "energy_kwh": 1.0, "criteria": criteria, "limits": ["L"],
        "stop_criteria": ["Smoke."], "most_on_board": 1,
    }))
    .unwrap()
}

fn limit(kind: LimitKind, of: &str, unit: Unit) -> Limit {
    Limit {
        code: "L".parse().unwrap(),
        title: "Limit".to_owned(),
        channel: channel(of),
        unit,
        kind,
        dwell_s: 0.0,
        phases: vec![Phase::GroundRun],
        source: "handbook".to_owned(),
    }
}

fn interval(number: u32, recording: &Made, from_s: f64, to_s: f64) -> Interval {
    Interval {
        number: IntervalNumber(number),
        seq: 1,
        by: PersonHandle::new("edda").unwrap(),
        at: moment(0.0),
        recording: recording.digest(),
        run: RunNumber(1),
        point: PointCode::new("GR-1").unwrap(),
        from: moment(from_s),
        to: moment(to_s),
        how: IntervalBasis::Times {},
    }
}

struct Told {
    values: Vec<ProposedValue>,
    outcome: Outcome,
}

impl Told {
    fn of(&self, parameter: &str, statistic: Statistic) -> &ProposedValue {
        let same =
            |it: &&ProposedValue| it.parameter == channel(parameter) && it.statistic == statistic;
        self.values.iter().find(same).unwrap()
    }
}

fn told(
    point: &Point,
    limits: &[Limit],
    intervals: &[Interval],
    reductions: &[Reduction],
    made: Vec<Made>,
) -> Told {
    let gathered = gathered(made);
    let basis = Basis {
        point,
        limits: limits.iter().collect(),
        channel: &|_| None,
        intervals: intervals.iter().collect(),
        run: (moment(0.0), Some(moment(60.0))),
        reductions: reductions.iter().collect(),
        gathered: &gathered,
    };
    let values = propose(&basis).unwrap();
    let measured: Vec<_> = values.iter().filter_map(ProposedValue::measured).collect();
    let verdict = verdict::judge(point, limits, &measured, &BTreeMap::new());
    Told { values, outcome: verdict.outcome }
}

fn at_most(parameter: &str, statistic: &str, value: f64, unit: &str) -> serde_json::Value {
    json!([{ "parameter": parameter, "statistic": statistic, "comparison": "at-most", "value": value, "unit": unit }])
}

#[test]
fn figures_of_an_interval_are_in_the_unit_that_is_asked_for_and_say_where_they_come_from() {
    let made = Made::of(1).with("power", Unit::Kilowatt, |s| s);
    let maximum = limit(LimitKind::Maximum { caution: None, limit: 45.0 }, "power", Unit::Kilowatt);
    let point = point(at_most("power", "max", 40_000.0, "W"));
    let taken = interval(3, &made, 10.0, 40.0);
    let told = told(&point, &[maximum], &[taken], &[], vec![made]);
    let value = told.of("power", Statistic::Max);
    assert_eq!((value.value, value.unit), (Some(40_000.0), Unit::Watt));
    assert_eq!(value.at, Some(moment(40.0)));
    assert_eq!(value.asked_by.len(), 2, "criterion and limit share one figure");
    let source = value.source.as_ref().unwrap();
    assert_eq!(
        (source.interval.0, source.readings, source.share_missing),
        (3, Some(301), Some(0.0))
    );
    assert_eq!((source.first, source.last), (Some(moment(10.0)), Some(moment(40.0))));
    assert_eq!(told.outcome, Outcome::Met);
}

#[test]
fn a_channel_that_dropped_out_or_was_not_recorded_is_missing_with_its_reason_and_no_pass() {
    let speed = |s: f64| if s > 20.0 { f64::NAN } else { 1.0 };
    let made = || Made::of(1).with("power", Unit::Kilowatt, speed);
    for (asked, why) in [("power", "no reading for"), ("winding", "no recording of the run")] {
        let point = point(at_most(asked, "max", 40.0, "kW"));
        let taken = interval(1, &made(), 10.0, 40.0);
        let told = told(&point, &[], &[taken], &[], vec![made()]);
        let value = told.of(asked, Statistic::Max);
        assert_eq!(value.value, None);
        assert!(value.missing.as_ref().unwrap().contains(why), "{:?}", value.missing);
        assert_eq!(told.outcome, Outcome::Missing);
    }
}

#[test]
fn another_recording_of_the_run_fills_what_the_first_lacks_with_its_clock_put_right() {
    let home = Made::of(1).with("power", Unit::Kilowatt, |s| s);
    // Seven seconds ahead: what it calls 27 s was 20 s of the run.
    let other =
        Made::of(2).lasting(67.0).ahead(7.0).with("winding", Unit::Celsius, |own| own - 7.0);
    let point = point(at_most("winding", "last", 90.0, "degC"));
    let taken = interval(1, &home, 10.0, 20.0);
    let digest = other.digest();
    let told = told(&point, &[], &[taken], &[], vec![home, other]);
    let value = told.of("winding", Statistic::Last);
    assert!((value.value.unwrap() - 20.0).abs() < 1e-9);
    assert_eq!(value.source.as_ref().unwrap().recording, digest);
}

#[test]
fn time_above_a_rating_is_counted_over_the_whole_run_and_not_over_the_interval_alone() {
    let power = |s: f64| if s < 30.0 { 30.0 } else { 20.0 };
    let made = Made::of(1).with("power", Unit::Kilowatt, power);
    let timed = vec![TimedRating { value: 35.0, seconds: 25.0 }];
    let rating = limit(LimitKind::Rating { continuous: 25.0, timed }, "power", Unit::Kilowatt);
    let point = point(at_most("power", "max", 40.0, "kW"));
    let taken = interval(1, &made, 35.0, 45.0);
    let told = told(&point, &[rating], &[taken], &[], vec![made]);
    let above = told.of("power", Statistic::TimeAbove);
    assert_eq!((above.value, above.unit), (Some(30.0), Unit::Second));
    assert_eq!(above.source.as_ref().unwrap().over, Over::Run);
    assert_eq!(told.of("power", Statistic::Max).value, Some(20.0), "of the interval");
}

#[test]
fn of_several_intervals_the_worst_counts_and_one_without_a_figure_leaves_none() {
    let power = |s: f64| if s > 50.0 { f64::NAN } else { s };
    let made = || Made::of(1).with("power", Unit::Kilowatt, power);
    let point = point(at_most("power", "max", 40.0, "kW"));
    let (one, two) = (interval(1, &made(), 30.0, 35.0), interval(2, &made(), 1.0, 5.0));
    let told_of = |intervals: &[Interval]| told(&point, &[], intervals, &[], vec![made()]);
    let both = told_of(&[one.clone(), two.clone()]);
    let value = both.of("power", Statistic::Max);
    assert_eq!((value.value, value.source.as_ref().unwrap().interval.0), (Some(35.0), 1));
    let with_hole = told_of(&[one, two, interval(3, &made(), 45.0, 58.0)]);
    assert_eq!(with_hole.outcome, Outcome::Missing);
}

#[test]
fn a_change_of_temperature_is_in_kelvins_and_a_rate_a_minute_is_sixty_times_that_a_second() {
    let made = Made::of(1).with("winding", Unit::Celsius, |s| 20.0 + s / 10.0);
    let point = point(at_most("winding", "rate", 7.0, "K/min"));
    let taken = interval(1, &made, 10.0, 40.0);
    let told = told(&point, &[], &[taken], &[], vec![made]);
    let rate = told.of("winding", Statistic::Rate).value.unwrap();
    assert!((rate - 6.0).abs() < 1e-6, "{rate}");
}

fn made_reduction(beyond: Vec<Beyond>) -> Reduction {
    let answer = Answer {
        output: json!({ "cas_reference_kt": 44.5 }),
        extrapolated: beyond,
        share_missing: 0.0,
        readings: json!([]),
        rests_on: json!({}),
        recordings: BTreeMap::new(),
        fills: vec![Fill {
            parameter: channel("stall_speed"),
            pointer: "/cas_reference_kt".to_owned(),
            unit: Unit::Knot,
        }],
    };
    Reduction {
        number: ReductionNumber(4),
        seq: 9,
        by: PersonHandle::new("edda").unwrap(),
        at: moment(0.0),
        recording: Made::of(1).digest(),
        others: Vec::new(),
        run: RunNumber(1),
        point: Some(PointCode::new("GR-1").unwrap()),
        interval: Some(IntervalNumber(1)),
        topic: "stall-speed".to_owned(),
        version: "1 with stall-speed 1".to_owned(),
        channels: vec![channel("cas")],
        given: Made::of(1).digest(),
        result: serde_json::to_string(&answer).unwrap(),
        figures: None,
        replaces: None,
        replaced_by: None,
    }
}

#[test]
fn a_reductions_figure_fills_the_parameter_it_was_made_for_unless_it_is_extrapolated() {
    let made = || Made::of(1).with("cas", Unit::Knot, |_| 60.0);
    let point = point(at_most("stall_speed", "value", 47.0, "kt"));
    let taken = [interval(1, &made(), 10.0, 40.0)];
    let good = told(&point, &[], &taken, &[made_reduction(Vec::new())], vec![made()]);
    let value = good.of("stall_speed", Statistic::Value);
    assert_eq!(value.value, Some(44.5));
    assert_eq!(value.source.as_ref().unwrap().reduction, Some(ReductionNumber(4)));
    let beyond = vec![Beyond { pointer: String::new(), percent: Some(12.0) }];
    let extrapolated = told(&point, &[], &taken, &[made_reduction(beyond)], vec![made()]);
    let value = extrapolated.of("stall_speed", Statistic::Value);
    assert_eq!(value.value, None);
    assert!(value.missing.as_ref().unwrap().contains("extrapolation"));
    assert_eq!(extrapolated.outcome, Outcome::Missing);
}
