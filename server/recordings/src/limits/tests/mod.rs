//! What recordings say to limits, kind by kind.
#![allow(clippy::unwrap_used, clippy::panic)]

mod properties;
mod ratings;
mod spreads;

use super::*;
use crate::{Micros, Series, Statistic};

/// Rows at 10 Hz from the moment 0.
pub(super) fn tenths(count: usize) -> Vec<Micros> {
    (0..count as i64).map(|row| Micros(row * 100_000)).collect()
}

pub(super) fn rule(kind: KindOfLimit) -> LimitRule {
    LimitRule {
        code: "L".to_owned(),
        channel: "t".to_owned(),
        unit: "°C".to_owned(),
        kind,
        dwell_s: 0.0,
    }
}

pub(super) fn maximum(limit: f64) -> LimitRule {
    rule(KindOfLimit::Maximum { caution: None, limit })
}

pub(super) fn judge(rule: &LimitRule, times: &[Micros], values: &[f64]) -> Judged {
    judge_with(rule, times, values, &WatchOptions::default())
}

pub(super) fn judge_with(
    rule: &LimitRule,
    times: &[Micros],
    values: &[f64],
    options: &WatchOptions,
) -> Judged {
    let series_of = |code: &str| (code == "t").then_some(Series { times, values });
    exceedances(rule, &series_of, options)
}

const MISSING: f64 = f64::NAN;

#[test]
fn a_reading_exactly_at_the_limit_is_inside_and_one_step_beyond_is_an_exceedance() {
    let kinds = |at: f64| {
        let range =
            KindOfLimit::Range { low: -1e9, high: at, caution_low: None, caution_high: None };
        [maximum(at), rule(range)]
    };
    for rule in kinds(120.0) {
        assert!(judge(&rule, &tenths(3), &[100.0, 120.0, 100.0]).shows_inside());
        let judged = judge(&rule, &tenths(3), &[100.0, 120.1, 100.0]);
        assert!(!judged.shows_inside());
        let [found] = &judged.found[..] else { panic!("{judged:?}") };
        assert_eq!((found.start, found.end), (Micros(100_000), Micros(200_000)));
        assert_eq!((found.peak, found.peak_at, found.bound), (120.1, Micros(100_000), 120.0));
        assert_eq!(found.statistic.as_str(), "max");
    }
    let minimum = rule(KindOfLimit::Minimum { caution: None, limit: 20.0 });
    assert!(judge(&minimum, &tenths(3), &[30.0, 20.0, 30.0]).shows_inside());
    let judged = judge(&minimum, &tenths(3), &[30.0, 19.9, 30.0]);
    assert_eq!((judged.found[0].peak, judged.found[0].statistic), (19.9, Statistic::Min));
}

#[test]
fn an_interval_exactly_as_long_as_the_dwell_does_not_count_and_one_step_longer_does() {
    let values = [1.0, 9.0, 9.0, 9.0, 1.0, 1.0];
    for (dwell_s, count) in [(0.0, 1), (0.299_999, 1), (0.3, 0), (0.300_001, 0)] {
        let rule = LimitRule { dwell_s, ..maximum(5.0) };
        let judged = judge(&rule, &tenths(6), &values);
        assert_eq!(judged.found.len(), count, "{dwell_s}");
        let short =
            Caution::ShorterThanDwell { statistic: Statistic::Max, times: 1, longest_s: 0.3 };
        assert_eq!(judged.cautions.contains(&short), count == 0, "what did not count is told");
        let standing = judged.furthest[0].standing;
        assert_eq!(standing == Standing::BeyondWithinDwell, count == 0);
    }
}

#[test]
fn a_recording_that_ends_beyond_is_beyond_until_its_last_row_and_the_usual_step() {
    let judged = judge(&maximum(5.0), &tenths(4), &[1.0, 1.0, 9.0, MISSING]);
    let found = &judged.found[0];
    assert_eq!((found.end, found.lasts_to_the_end), (Micros(400_000), true));
    let one = judge(&maximum(5.0), &tenths(1), &[9.0]);
    assert_eq!(one.found.len(), 1, "one reading beyond counts, though nobody knows for how long");
}

#[test]
fn missing_readings_never_end_an_exceedance_and_long_ones_are_told() {
    let mut values = vec![9.0; 100];
    values[10..90].fill(MISSING);
    values[99] = 1.0;
    let judged = judge(&maximum(5.0), &tenths(100), &values);
    let [found] = &judged.found[..] else { panic!("{judged:?}") };
    assert_eq!(found.duration_s, 9.9);
    let gap = Gap { from: Micros(900_000), to: Micros(9_000_000) };
    assert_eq!(found.longest_gap, Some(gap));
    values[..10].fill(1.0);
    values[90..].fill(1.0);
    let judged = judge(&maximum(5.0), &tenths(100), &values);
    assert!(judged.found.is_empty() && !judged.shows_inside(), "8 s that nobody watched");
    values[40] = 1.0;
    assert!(judge(&maximum(5.0), &tenths(100), &values).shows_inside(), "3 s and 5 s");
}

#[test]
fn a_channel_that_is_not_there_or_has_no_reading_is_missing_and_never_a_pass() {
    let absent = exceedances(&maximum(5.0), &|_| None, &WatchOptions::default());
    let empty = judge(&maximum(5.0), &[], &[]);
    let silent = judge(&maximum(5.0), &tenths(3), &[MISSING; 3]);
    for judged in [absent, empty, silent] {
        assert_eq!(judged.state, State::Missing { channels: vec!["t".to_owned()] });
        assert!(!judged.shows_inside() && judged.nearest().is_none());
    }
}

#[test]
fn time_that_was_to_be_watched_before_and_after_the_recording_is_told() {
    let options =
        WatchOptions { over: Some((Micros(-6_000_000), Micros(200_000))), ..Default::default() };
    let judged = judge_with(&maximum(5.0), &tenths(3), &[1.0; 3], &options);
    assert!(!judged.shows_inside());
    let Caution::NotWatched { seconds, gaps: 1, .. } = &judged.cautions[0] else {
        panic!("{judged:?}")
    };
    assert_eq!(*seconds, 6.0);
}

#[test]
fn a_figure_nearer_to_the_limit_than_the_sensor_is_accurate_cannot_be_told_to_be_inside() {
    let mut options = WatchOptions::default();
    options.accuracy.insert("t".to_owned(), 1.5);
    for (value, doubtful) in [(118.5, false), (118.6, true), (120.0, true)] {
        let judged = judge_with(&maximum(120.0), &tenths(2), &[value; 2], &options);
        assert!(judged.found.is_empty());
        assert_eq!(judged.furthest[0].beyond_within_accuracy, doubtful, "{value}");
        assert_eq!(judged.shows_inside(), !doubtful);
        let margin = judged.nearest().unwrap().margin_after_accuracy.unwrap();
        assert!((margin - (120.0 - value - 1.5)).abs() < 1e-12);
    }
    let beyond = judge_with(&maximum(120.0), &tenths(2), &[120.1; 2], &options);
    assert!(!beyond.furthest[0].beyond_within_accuracy && beyond.found.len() == 1);
}

#[test]
fn a_caution_value_that_is_reached_is_told_and_is_no_exceedance() {
    let rule = rule(KindOfLimit::Maximum { caution: Some(100.0), limit: 120.0 });
    for (value, standing) in [(99.9, Standing::Within), (100.0, Standing::Caution)] {
        let judged = judge(&rule, &tenths(2), &[value; 2]);
        assert_eq!(judged.furthest[0].standing, standing);
        assert_eq!(judged.cautions.is_empty(), standing == Standing::Within);
        assert!(judged.shows_inside());
    }
}

#[test]
fn a_rate_exactly_at_the_limit_is_inside_one_beyond_is_not_and_falling_counts_as_rising() {
    let rule = rule(KindOfLimit::Rate { caution_per_s: None, limit_per_s: 2.0 });
    for (slope, count) in [(2.0, 0), (2.001, 1), (-2.0, 0), (-2.001, 1)] {
        let times = tenths(100);
        let values: Vec<f64> = (0..100).map(|row| 40.0 + slope * 0.1 * f64::from(row)).collect();
        let judged = judge(&rule, &times, &values);
        assert_eq!(judged.found.len(), count, "{slope}");
        assert!((judged.furthest[0].value - slope.abs()).abs() < 1e-9);
    }
}

#[test]
fn one_noisy_reading_is_no_rate_and_a_slow_sensor_has_one_all_the_same() {
    let rule = rule(KindOfLimit::Rate { caution_per_s: None, limit_per_s: 2.0 });
    let mut values = vec![40.0; 100];
    values[50] = 44.0;
    let judged = judge(&rule, &tenths(100), &values);
    assert!(judged.found.is_empty(), "40 °C/s between neighbours, {:?}", judged.furthest);
    let slow: Vec<Micros> = (0..10).map(|row| Micros(row * 4_000_000)).collect();
    let mut values = [40.0; 10];
    values[5] = 49.0;
    let judged = judge(&rule, &slow, &values);
    assert_eq!(judged.furthest[0].value, 2.25);
    let [found] = &judged.found[..] else { panic!("{judged:?}") };
    assert_eq!((found.start, found.end), (slow[5], slow[7]), "up, and down again");
    let apart: Vec<Micros> = (0..10).map(|row| Micros(row * 6_000_000)).collect();
    let judged = judge(&rule, &apart, &values);
    assert!(matches!(judged.state, State::Missing { .. }), "further apart than a gap");
}

#[test]
fn seconds_above_exactly_as_many_as_the_limit_are_inside_and_one_step_more_is_not() {
    let limit =
        |limit_s| rule(KindOfLimit::TimeAbove { threshold: 80.0, caution_s: None, limit_s });
    // Above for 0.3 s, at it for 0.1 s, above for 0.2 s: 0.5 s in all.
    let values = [70.0, 81.0, 82.0, 81.0, 80.0, 85.0, 85.0, 70.0];
    let judged = judge(&limit(0.5), &tenths(8), &values);
    assert!(judged.shows_inside());
    assert_eq!((judged.furthest[0].value, judged.furthest[0].margin), (0.5, 0.0));
    let judged = judge(&limit(0.4), &tenths(8), &values);
    let [found] = &judged.found[..] else { panic!("{judged:?}") };
    assert_eq!(found.start, Micros(600_000), "0.3 s and then 0.1 s more");
    assert_eq!((found.end, found.peak), (Micros(700_000), 0.5));
    assert!((found.duration_s - 0.1).abs() < 1e-12);
    assert_eq!(found.statistic.as_str(), "time-above");
}

#[test]
fn every_rate_of_a_long_and_high_recording_is_as_exact_as_if_each_were_worked_out_alone() {
    let times: Vec<Micros> =
        (0..5_000).map(|row| Micros(1_700_000_000_000_000 + row * 10_000)).collect();
    let values: Vec<f64> =
        (0..5_000).map(|row| 1.0e5 + (f64::from(row) * 0.37).sin() * 3.0).collect();
    let options = WatchOptions::default();
    let rates = rates(Series { times: &times, values: &values }, &options);
    assert_eq!(rates.len(), 5_000 - 100);
    for (moment, rate) in rates.iter().step_by(97) {
        let window = Series { times: &times, values: &values }
            .between(Micros(moment.0 - 2_000_000), *moment);
        let t: Vec<f64> = window.times.iter().map(|it| it.seconds_since(*moment)).collect();
        let alone = flight_science::least_squares::fit_line(&t, window.values).unwrap();
        assert!((rate - alone.parameters[1]).abs() < 1e-9, "{rate} {:?}", alone.parameters);
    }
}
