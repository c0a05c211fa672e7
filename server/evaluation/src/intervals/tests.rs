#![allow(clippy::unwrap_used)]
use super::*;
use crate::made::{Made, channel, gathered, moment, run_micros};

fn held(channel_code: &str, target: f64, tolerance: f64, unit: Unit) -> SteadyChannel {
    SteadyChannel { channel: channel(channel_code), target, tolerance, unit }
}

fn sought(held: Vec<SteadyChannel>, at_least_s: f64) -> Sought {
    Sought { held, at_least_s, dropout_s: 1.0 }
}

/// Speed at 60 kt from 10 s to 40 s of a minute, and 90 kt besides.
fn flown() -> Made {
    let speed = |s: f64| if (10.0..=40.0).contains(&s) { 60.0 } else { 90.0 };
    Made::of(1).lasting(60.0).with("ias", Unit::Knot, speed)
}

#[test]
fn a_stretch_is_found_whatever_unit_the_condition_is_in() {
    // 60 kt are 111.12 km/h by definition of the nautical mile.
    let condition = held("ias", 111.12, 4.0, Unit::KilometrePerHour);
    let flown = flown();
    let found = find(
        &sought(vec![condition], 20.0),
        &flown.digest(),
        run_micros(0.0, 60.0),
        &gathered([flown]),
    )
    .unwrap();
    assert_eq!((found.count, found.candidates.len()), (1, 1));
    let candidate = &found.candidates[0];
    assert_eq!((candidate.from, candidate.to), (moment(10.0), moment(40.0)));
    assert!((candidate.means[0] - 111.12).abs() < 1e-9);
    assert!(found.shortfalls.is_empty());
}

#[test]
fn conditions_on_two_recordings_are_looked_for_with_both_clocks_put_right() {
    // The other recorder's clock is 7 s ahead: what it calls 27 s was 20 s of the run.
    let power = |own_s: f64| if own_s >= 27.0 { 30.0 } else { 10.0 };
    let other = Made::of(2).lasting(67.0).ahead(7.0).with("power", Unit::Kilowatt, power);
    let conditions =
        vec![held("ias", 60.0, 2.0, Unit::Knot), held("power", 30000.0, 100.0, Unit::Watt)];
    let flown = flown();
    let asked = flown.digest();
    let all = gathered([flown, other]);
    let found = find(&sought(conditions, 10.0), &asked, run_micros(0.0, 60.0), &all).unwrap();
    let candidate = &found.candidates[0];
    assert_eq!((candidate.from, candidate.to), (moment(20.0), moment(40.0)));
}

#[test]
fn where_none_is_long_enough_the_longest_is_told_and_what_broke_it() {
    let flown = flown();
    let conditions = vec![held("ias", 60.0, 2.0, Unit::Knot)];
    let found =
        find(&sought(conditions, 30.5), &flown.digest(), run_micros(0.0, 60.0), &gathered([flown]))
            .unwrap();
    assert!(found.candidates.is_empty());
    assert!((found.longest.unwrap().seconds - 30.0).abs() < 1e-9);
    let shortfall = &found.shortfalls[0];
    assert_eq!((shortfall.smallest, shortfall.greatest), (Some(60.0), Some(90.0)));
    let Some(Ended::Left { at, value }) = &shortfall.ended else { unreachable!() };
    assert_eq!((*at, *value), (moment(40.1), 90.0));
}

#[test]
fn a_channel_that_falls_silent_ends_a_stretch_and_says_so() {
    let speed = |s: f64| if (20.0..30.0).contains(&s) { f64::NAN } else { 60.0 };
    let flown = Made::of(1).lasting(45.0).with("ias", Unit::Knot, speed);
    let conditions = vec![held("ias", 60.0, 2.0, Unit::Knot)];
    let found =
        find(&sought(conditions, 30.0), &flown.digest(), run_micros(0.0, 45.0), &gathered([flown]))
            .unwrap();
    let Some(Ended::Silent { seconds, .. }) = &found.shortfalls[0].ended else { unreachable!() };
    assert!((seconds.unwrap() - 10.1).abs() < 1e-6);
}

#[test]
fn what_is_not_recorded_or_does_not_compare_is_refused_by_its_place() {
    let flown = flown();
    let conditions = vec![
        held("ias", 60.0, 2.0, Unit::Knot),
        held("palt", 1000.0, 50.0, Unit::Foot),
        held("ias", 60.0, 2.0, Unit::Celsius),
    ];
    let faults =
        find(&sought(conditions, 1.0), &flown.digest(), run_micros(0.0, 60.0), &gathered([flown]))
            .unwrap_err();
    assert!(matches!(
        faults[..],
        [CannotSeek::NotRecorded { place: 1, .. }, CannotSeek::Unit { place: 2, .. }]
    ));
}
