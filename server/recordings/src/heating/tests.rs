//! The order of heating.
#![allow(clippy::unwrap_used, clippy::panic)]

use super::*;

const MINUTE: usize = 600;

fn tenths(count: usize) -> Vec<Micros> {
    (0..count as i64).map(|row| Micros(row * 100_000)).collect()
}

/// A little noise that repeats.
fn noise(row: usize) -> f64 {
    0.1 * (((row * 7_919) % 101) as f64 / 50.0 - 1.0)
}

/// A part that settles, read for five minutes.
fn settling(start: f64, steady: f64, time_constant_s: f64) -> Vec<f64> {
    (0..5 * MINUTE)
        .map(|row| {
            let t = row as f64 * 0.1;
            steady + (start - steady) * (-t / time_constant_s).exp() + noise(row)
        })
        .collect()
}

fn rising(start: f64, slope: f64) -> Vec<f64> {
    (0..5 * MINUTE).map(|row| start + slope * row as f64 * 0.1 + noise(row)).collect()
}

fn judge(parts: &[(&str, f64, Option<Vec<f64>>)]) -> HeatingOrder {
    judge_within(parts, None)
}

fn judge_within(parts: &[(&str, f64, Option<Vec<f64>>)], horizon_s: Option<f64>) -> HeatingOrder {
    let times = tenths(5 * MINUTE);
    let components: Vec<_> = parts
        .iter()
        .map(|(code, limit, _)| Component {
            limit_code: (*code).to_owned(),
            channel: (*code).to_owned(),
            limit: *limit,
        })
        .collect();
    let series_of = |channel: &str| {
        let (.., values) = parts.iter().find(|(code, ..)| *code == channel)?;
        values.as_ref().map(|values| Series { times: &times, values })
    };
    order_of_heating(&components, &series_of, (times[0], times[times.len() - 1]), horizon_s)
}

#[test]
fn a_part_that_settles_above_its_limit_reaches_it_when_the_curve_does() {
    let found = judge(&[("motor", 110.0, Some(settling(30.0, 130.0, 200.0)))]);
    let TimeToLimit::Reaches { seconds, low_s, high_s, method } = found.components[0].time_to_limit
    else {
        panic!("{found:?}")
    };
    // 130 - 100 e^(-t/200) = 110 at t = 200 ln 5, less the 299.9 s of the stretch.
    let exact_s = 200.0 * 5.0_f64.ln() - 299.9;
    assert_eq!(method, Method::Curve);
    assert!((seconds - exact_s).abs() < 0.5, "{seconds} {exact_s}");
    assert!(low_s < exact_s && high_s.unwrap() > exact_s, "{low_s} {high_s:?}");
    assert_eq!(found.first.as_deref(), Some("motor"));
}

#[test]
fn a_part_that_settles_below_its_limit_or_cools_never_reaches_it() {
    let found = judge(&[
        ("motor", 140.0, Some(settling(30.0, 130.0, 100.0))),
        ("battery", 60.0, Some(rising(40.0, -0.01))),
    ]);
    for heated in &found.components {
        let never = matches!(heated.time_to_limit, TimeToLimit::Never { low_s: None, .. });
        assert!(never, "{heated:?}");
    }
    assert_eq!((found.order, found.first), (Order::InOrder, None));
}

#[test]
fn a_part_whose_curve_does_not_show_is_judged_by_a_straight_line() {
    let found = judge(&[("battery", 60.0, Some(rising(40.0, 0.02)))]);
    let TimeToLimit::Reaches { seconds, .. } = found.components[0].time_to_limit else {
        panic!("{found:?}")
    };
    // 20 K at 0.02 K/s, less the 299.9 s of the stretch.
    assert!((seconds / 700.1 - 1.0).abs() < 0.05, "{:?}", found.components[0]);
}

#[test]
fn a_part_meant_to_be_spared_that_would_come_first_makes_the_order_wrong() {
    let order = |motor: f64, battery: f64| {
        judge(&[
            ("motor", 110.0, Some(rising(60.0, motor))),
            ("battery", 60.0, Some(rising(40.0, battery))),
        ])
    };
    let right = order(0.1, 0.02);
    assert_eq!((right.order, right.first.as_deref()), (Order::InOrder, Some("motor")));
    assert!(right.doubtful.is_empty(), "{right:?}");
    let wrong = order(0.02, 0.05);
    assert_eq!((wrong.order, wrong.first.as_deref()), (Order::OutOfOrder, Some("battery")));
    let pair = Pair { meant_earlier: "motor".to_owned(), meant_later: "battery".to_owned() };
    assert_eq!(wrong.out_of_order, [pair]);
    let never = order(-0.02, 0.02);
    assert_eq!(never.order, Order::OutOfOrder, "the motor would never get there");
}

#[test]
fn what_would_come_after_the_horizon_never_comes_and_what_comes_before_it_counts_as_always() {
    // The motor settles below its limit; the battery would be at its limit after some 700 s.
    let parts = [
        ("motor", 140.0, Some(settling(30.0, 130.0, 100.0))),
        ("battery", 60.0, Some(rising(40.0, 0.02))),
    ];
    let of = |horizon_s| {
        let found = judge_within(&parts, horizon_s);
        (found.order, found.first)
    };
    let battery = || Some("battery".to_owned());
    assert_eq!(of(None), (Order::OutOfOrder, battery()));
    assert_eq!(of(Some(900.0)), (Order::OutOfOrder, battery()), "it would come within it");
    assert_eq!(of(Some(500.0)), (Order::InOrder, None), "the energy is gone before");
    // The motor too late, and the battery in time: out of order, as if the motor never came.
    let slow =
        [("motor", 110.0, Some(rising(60.0, 0.02))), ("battery", 60.0, Some(rising(40.0, 0.02)))];
    assert_eq!(judge_within(&slow, Some(900.0)).order, Order::OutOfOrder);
    // A horizon within the battery's interval leaves doubt.
    let TimeToLimit::Reaches { seconds, low_s, .. } = judge(&parts).components[1].time_to_limit
    else {
        panic!("it would")
    };
    let between = judge_within(&parts, Some(f64::midpoint(low_s, seconds)));
    assert_eq!((between.order, between.doubtful.len()), (Order::InOrder, 1));
}

#[test]
fn a_part_that_reached_its_limit_came_first_and_two_at_once_are_in_order() {
    let mut reached = rising(40.0, 0.0);
    reached[100] = 60.0;
    let found = judge(&[
        ("motor", 110.0, Some(rising(60.0, 0.1))),
        ("battery", 60.0, Some(reached.clone())),
    ]);
    assert_eq!((found.order, found.first.as_deref()), (Order::OutOfOrder, Some("battery")));
    let both = judge(&[("a", 60.0, Some(reached.clone())), ("b", 60.0, Some(reached))]);
    assert_eq!((both.order, both.first.as_deref()), (Order::InOrder, Some("a")));
}

#[test]
fn a_part_that_is_not_there_or_too_sparse_leaves_the_order_unknown_unless_others_are_wrong() {
    let mut sparse = rising(60.0, 0.1);
    sparse[..700].fill(f64::NAN);
    let right = || Some(rising(60.0, 0.1));
    for (missing, why) in [(None, Unknown::NoReading), (Some(sparse), Unknown::TooSparse)] {
        let found = judge(&[("motor", 110.0, right()), ("battery", 200.0, missing.clone())]);
        assert_eq!(found.components[1].time_to_limit, TimeToLimit::Unknown { why });
        assert_eq!(found.order, Order::Unknown);
        let found = judge(&[
            ("motor", 200.0, right()),
            ("cables", 110.0, right()),
            ("battery", 200.0, missing),
        ]);
        assert_eq!(found.order, Order::OutOfOrder);
    }
    assert_eq!(judge(&[]).order, Order::Unknown);
}

#[test]
fn the_last_stretch_under_load_is_found_and_cut_to_what_is_asked_for() {
    let times = tenths(1_000);
    let mut load = vec![0.0; 1_000];
    load[100..700].fill(40.0);
    load[900..920].fill(40.0);
    let find = |seconds| {
        let series = Series { times: &times, values: &load };
        last_under_load(series, 40.0, seconds, 1.0)
    };
    assert_eq!(find(30.0), Some((Micros(39_900_000), Micros(69_900_000))));
    assert_eq!(find(100.0), Some((Micros(10_000_000), Micros(69_900_000))), "more than half");
    assert_eq!(find(200.0), None);
    assert_eq!(find(2.0), Some((Micros(90_000_000), Micros(91_900_000))));
}

#[test]
fn a_load_that_is_changed_all_the_time_is_no_steady_one() {
    let times = tenths(1_000);
    let find = |load: &[f64]| {
        let series = Series { times: &times, values: load };
        last_under_load(series, 40.0, 60.0, 1.0)
    };
    // From 40 to 90 in steps of 5 for 9 s each.
    let sweep: Vec<f64> = (0..1_000).map(|row| 40.0 + 5.0 * (row / 90) as f64).collect();
    assert_eq!(find(&sweep), None);
    let mut steps = vec![45.0; 1_000];
    steps[600..].fill(60.0);
    steps.iter_mut().enumerate().for_each(|(row, load)| *load += noise(row));
    assert_eq!(find(&steps), Some((Micros(60_000_000), Micros(99_900_000))), "the last step");
}
