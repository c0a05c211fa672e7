//! Every kind of limit, one step either side of its edge, with units that differ.

use programme::nouns::{Statistic, TimedRating};
use proptest::prelude::*;

use super::*;

#[test]
fn a_maximum_in_another_unit_is_exceeded_one_step_above_and_its_peak_is_in_the_limits_unit() {
    let cell =
        limit("t", Unit::Millivolt, LimitKind::Maximum { caution: Some(4150.0), limit: 4200.0 });
    assert_eq!(outcome(&cell, Unit::Volt, &[4.0, 4.149, 4.0]), LimitOutcome::Within);
    assert_eq!(outcome(&cell, Unit::Volt, &[4.0, 4.15, 4.0]), LimitOutcome::Caution);
    assert_eq!(outcome(&cell, Unit::Volt, &[4.0, 4.2, 4.0]), LimitOutcome::Caution, "at the limit");
    let (report, found) = one(&cell, Unit::Volt, &[4.0, 4.201, 4.0]);
    assert_eq!(report.outcome, LimitOutcome::Exceeded);
    let [found] = &found[..] else { panic!("{found:?}") };
    assert!((found.peak - 4201.0).abs() < 1e-9, "{}", found.peak);
    assert_eq!((found.statistic, found.limit_revision), (Statistic::Max, 7));
    assert_eq!(found.started_at.timestamp(), 1);
    assert_eq!(report.furthest[0].value, found.peak);
    assert!((report.furthest[0].margin + 1.0).abs() < 1e-9);
}

#[test]
fn minima_and_ranges_are_held_on_their_sides() {
    // 500 Ω/V at a stated working voltage of 400 V.
    let minimum = limit("t", Unit::Kiloohm, LimitKind::Minimum { caution: None, limit: 200.0 });
    assert_eq!(outcome(&minimum, Unit::Ohm, &[3e5, 2e5, 3e5]), LimitOutcome::Within);
    let (_, found) = one(&minimum, Unit::Ohm, &[3e5, 199_999.0, 3e5]);
    assert_eq!((found[0].statistic, found[0].peak), (Statistic::Min, 199.999));
    let kind =
        LimitKind::Range { low: 10.0, high: 55.0, caution_low: Some(14.0), caution_high: None };
    let range = limit("t", Unit::Celsius, kind);
    assert_eq!(outcome(&range, Unit::Celsius, &[20.0, 55.0]), LimitOutcome::Within);
    assert_eq!(outcome(&range, Unit::Celsius, &[20.0, 14.0]), LimitOutcome::Caution);
    let (report, found) = one(&range, Unit::Celsius, &[9.9, 20.0, 55.1]);
    let statistics: Vec<_> = found.iter().map(|it| it.statistic).collect();
    assert_eq!(statistics, [Statistic::Min, Statistic::Max]);
    assert_eq!((report.exceedances.len(), report.furthest.len()), (2, 2));
}

#[test]
fn a_rate_is_a_difference_and_no_zero_of_a_scale_plays_a_part() {
    // 12 K a minute are 0.2 K a second.
    let kind = |limit_per_s| LimitKind::Rate { caution_per_s: None, limit_per_s };
    let rising = |by: f64| (0..10).map(|row| 20.0 + by * f64::from(row)).collect::<Vec<_>>();
    for (unit, figure) in [(Unit::KelvinPerMinute, 12.0), (Unit::Kelvin, 0.2), (Unit::Celsius, 0.2)]
    {
        let rate = limit("t", unit, kind(figure));
        let inside = outcome(&rate, Unit::Celsius, &rising(0.199));
        assert_eq!(inside, LimitOutcome::Within, "{unit}");
        let (_, found) = one(&rate, Unit::Celsius, &rising(0.21));
        assert!((found[0].peak - figure * 1.05).abs() < 1e-6, "{unit}: {}", found[0].peak);
        assert_eq!(found[0].statistic, Statistic::Rate);
    }
    let volts = limit("t", Unit::Millivolt, kind(100.0));
    assert_eq!(outcome(&volts, Unit::Volt, &rising(0.11)), LimitOutcome::Exceeded);
    assert_eq!(outcome(&volts, Unit::Volt, &rising(0.09)), LimitOutcome::Within);
}

#[test]
fn a_spread_is_a_difference_and_the_sensor_that_stands_out_is_named() {
    let with = ["b", "c", "d"].map(|code| ChannelCode::new(code).unwrap()).to_vec();
    let spread =
        limit("a", Unit::Celsius, LimitKind::Spread { with, caution: Some(7.0), limit: 9.0 });
    let codes = ["a", "b", "c", "d"];
    let channels = codes.map(|code| channel(code, Unit::Celsius, None));
    let state = state(&channels, vec![spread]);
    let of = |odd: f64| {
        let level = [[30.0; 4], [30.5; 4], [31.0; 4], [odd; 4]];
        let columns: Vec<_> = codes
            .iter()
            .zip(&level)
            .map(|(code, values)| (*code, Unit::Celsius, &values[..]))
            .collect();
        judgement(&state, &[recording(1, "r", 0.0, &columns)], 1)
    };
    assert_eq!(of(36.9).limits[0].outcome, LimitOutcome::Within);
    assert_eq!(of(39.0).limits[0].outcome, LimitOutcome::Caution, "exactly 9 K");
    let near = of(38.0).limits.remove(0);
    assert_eq!(near.outcome, LimitOutcome::Caution, "8 K, and the caution value is 7 K");
    assert_eq!(near.furthest[0].odd_one_out.as_ref().unwrap().as_str(), "d");
    let found = of(39.1).found;
    assert!((found[0].peak - 9.1).abs() < 1e-9);
    assert_eq!(found[0].odd_one_out.as_ref().unwrap().as_str(), "d");
}

#[test]
fn times_above_and_in_use_stay_seconds_and_their_threshold_converts() {
    let kind = LimitKind::TimeAbove { threshold: 60_000.0, caution_s: None, limit_s: 3.0 };
    let above = limit("t", Unit::Watt, kind);
    let for_s = |seconds: usize| {
        let mut values = vec![50.0; 10];
        values[1..=seconds].fill(61.0);
        values
    };
    assert_eq!(outcome(&above, Unit::Kilowatt, &for_s(3)), LimitOutcome::Within);
    let (_, found) = one(&above, Unit::Kilowatt, &for_s(4));
    assert_eq!((found[0].statistic, found[0].peak), (Statistic::TimeAbove, 4.0));
    let timed = vec![TimedRating { value: 71_000.0, seconds: 3.0 }];
    let rating = limit("t", Unit::Watt, LimitKind::Rating { continuous: 60_000.0, timed });
    assert_eq!(outcome(&rating, Unit::Kilowatt, &for_s(3)), LimitOutcome::Caution, "made use of");
    let (_, found) = one(&rating, Unit::Kilowatt, &for_s(4));
    assert_eq!((found[0].statistic, found[0].peak), (Statistic::TimeAbove, 4.0));
    let (_, found) = one(&rating, Unit::Kilowatt, &[50.0, 71.1, 50.0]);
    assert_eq!((found[0].statistic, found[0].peak), (Statistic::Max, 71_100.0));
}

#[test]
fn what_begins_in_the_last_step_after_the_last_row_is_told_within_the_recording() {
    let kind = LimitKind::TimeAbove { threshold: 60.0, caution_s: None, limit_s: 3.5 };
    let above = limit("t", Unit::Kilowatt, kind);
    let (_, found) = one(&above, Unit::Kilowatt, &[50.0, 61.0, 61.0, 61.0, 61.0]);
    assert_eq!(found[0].peak, 4.0);
    assert_eq!((found[0].started_at.timestamp(), found[0].peak_at.timestamp()), (4, 4));
}

#[test]
fn the_accuracy_of_the_sensor_is_worked_in() {
    let winding = limit("t", Unit::Celsius, maximum(120.0));
    let state = state(&[channel("t", Unit::Celsius, Some(2.0))], vec![winding]);
    let of = |value| {
        let values = [100.0, value, 100.0];
        let recordings = [recording(1, "r", 0.0, &[("t", Unit::Celsius, &values)])];
        judgement(&state, &recordings, 1).limits.remove(0)
    };
    assert_eq!(of(118.0).outcome, LimitOutcome::Within);
    let doubtful = of(118.5);
    assert_eq!(doubtful.outcome, LimitOutcome::Caution);
    assert_eq!(doubtful.furthest[0].margin_after_accuracy, Some(-0.5));
    assert!(doubtful.furthest[0].beyond_within_accuracy);
}

#[test]
fn what_is_missing_or_not_watched_is_never_a_pass() {
    let winding = limit("t", Unit::Celsius, maximum(120.0));
    assert_eq!(outcome(&winding, Unit::Celsius, &[f64::NAN; 3]), LimitOutcome::Missing);
    let volts = outcome(&winding, Unit::Volt, &[1.0; 3]);
    assert_eq!(volts, LimitOutcome::Missing, "the channel is of another kind now");
    let mut state = state(&[channel("t", Unit::Celsius, None)], vec![winding.clone()]);
    let other = [recording(1, "r", 0.0, &[("u", Unit::Celsius, &[1.0; 3])])];
    let absent = judgement(&state, &other, 1);
    assert_eq!(absent.limits[0].outcome, LimitOutcome::Missing);
    assert_eq!(absent.limits[0].missing, ["t"]);
    let mut nobody = question(&state);
    nobody.not_mapped = vec![ChannelCode::new("t").unwrap()];
    let limits = crate::judged::judged(&nobody, &other).unwrap();
    assert_eq!(limits[0].outcome, LimitOutcome::NotRecorded);
    let mut silent = vec![20.0; 20];
    silent[5..15].fill(f64::NAN);
    let (report, _) = one(&winding, Unit::Celsius, &silent);
    assert_eq!(report.outcome, LimitOutcome::Caution);
    assert_eq!((report.not_watched[0].times, report.not_watched[0].seconds), (1, 11.0));
    let recordings = [recording(1, "r", 6.0, &[("t", Unit::Celsius, &[20.0; 3])])];
    let late = judgement(&state, &recordings, 1).limits.remove(0);
    assert_eq!(late.not_watched[0].seconds, 6.0, "the run had begun");
    state.channels.clear();
    assert_eq!(judgement(&state, &recordings, 1).limits[0].outcome, LimitOutcome::Missing);
}

#[test]
fn a_peak_as_short_as_the_dwell_is_no_exceedance_and_is_looked_at() {
    let winding = Limit { dwell_s: 2.0, ..limit("t", Unit::Celsius, maximum(120.0)) };
    let (report, found) = one(&winding, Unit::Celsius, &[100.0, 121.0, 121.0, 100.0]);
    assert!(found.is_empty());
    assert_eq!(report.outcome, LimitOutcome::Caution);
    assert!(report.furthest[0].beyond_within_dwell);
    let (_, found) = one(&winding, Unit::Celsius, &[100.0, 121.0, 121.0, 121.0, 100.0]);
    assert_eq!(found[0].duration_s, 3.0);
}

proptest! {
    #[test]
    fn readings_beyond_a_limit_never_take_an_exceedance_away(
        values in prop::collection::vec(80.0..140.0f64, 4..40),
        place in 0usize..40,
        beyond in 120.5..200.0f64,
        dwell_s in 0.0..4.0f64,
    ) {
        let winding = Limit { dwell_s, ..limit("t", Unit::Celsius, maximum(120.0)) };
        let (_, before) = one(&winding, Unit::Celsius, &values);
        let mut more = values.clone();
        let place = place % values.len();
        more[place] = beyond;
        let (report, after) = one(&winding, Unit::Celsius, &more);
        for found in &before {
            let end = found.started_at.timestamp_micros() + (found.duration_s * 1e6) as i64;
            let covers = |it: &FoundExceedance| {
                let until = it.started_at.timestamp_micros() + (it.duration_s * 1e6) as i64;
                it.started_at <= found.started_at && until >= end
            };
            prop_assert!(after.iter().any(covers), "{found:?} is gone");
        }
        prop_assert!(before.is_empty() || report.outcome == LimitOutcome::Exceeded);
    }
}
