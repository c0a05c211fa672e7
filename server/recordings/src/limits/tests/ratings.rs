//! Timed ratings: use, recovery and what may be used.

use super::*;

/// Rows a second.
fn seconds(count: usize) -> Vec<Micros> {
    (0..count as i64).map(|row| Micros(row * 1_000_000)).collect()
}

fn rating() -> LimitRule {
    rule(KindOfLimit::Rating {
        continuous: 50.0,
        timed: vec![
            TimedRating { value: 60.0, seconds: 300.0 },
            TimedRating { value: 70.0, seconds: 60.0 },
        ],
    })
}

fn held(stretches: &[(f64, usize)]) -> Vec<f64> {
    stretches.iter().flat_map(|(value, count)| std::iter::repeat_n(*value, *count)).collect()
}

fn of(stretches: &[(f64, usize)], options: &WatchOptions) -> Judged {
    let values = held(stretches);
    judge_with(&rating(), &seconds(values.len()), &values, options)
}

#[test]
fn a_rating_may_be_used_exactly_as_long_as_it_says_and_not_a_second_longer() {
    for (value, seconds, beyond) in [
        (60.0, 300, false),
        (60.0, 301, true),
        (60.1, 60, false),
        (60.1, 61, true),
        (70.0, 61, true),
    ] {
        let judged = of(&[(40.0, 10), (value, seconds), (40.0, 10)], &WatchOptions::default());
        assert_eq!(!judged.found.is_empty(), beyond, "{value} for {seconds} s");
        assert_eq!(judged.furthest[1].value, seconds as f64);
        if let [found] = &judged.found[..] {
            assert_eq!(found.start, Micros((9 + seconds as i64) * 1_000_000), "the last second");
            assert_eq!((found.duration_s, found.peak), (1.0, seconds as f64));
        }
    }
}

#[test]
fn at_the_continuous_rating_nothing_is_used_and_above_the_highest_is_beyond_at_once() {
    let judged = of(&[(50.0, 1_000)], &WatchOptions::default());
    assert!(judged.shows_inside());
    assert_eq!((judged.furthest[1].value, judged.furthest[1].margin), (0.0, 300.0));
    let judged = of(&[(40.0, 5), (70.1, 1), (40.0, 5)], &WatchOptions::default());
    assert_eq!(judged.found[0].statistic, Statistic::Max);
    assert_eq!(judged.found[0].peak, 70.1);
}

#[test]
fn time_comes_back_second_by_second_and_never_at_once() {
    let use_twice = |rest| [(60.0, 200), (40.0, rest), (60.0, 200), (40.0, 10)];
    for (ratio, rest, beyond) in [
        (1.0, 100, false),
        (1.0, 99, true),
        (0.5, 199, true),
        (0.5, 200, false),
        (0.0, 5_000, true),
    ] {
        let options = WatchOptions { recovery_ratio: ratio, ..Default::default() };
        let judged = of(&use_twice(rest), &options);
        assert_eq!(!judged.found.is_empty(), beyond, "{ratio}: {rest} s of rest");
    }
}

#[test]
fn the_highest_rating_that_was_used_says_how_long_until_all_time_has_come_back() {
    let judged = of(&[(65.0, 30), (55.0, 31), (40.0, 100)], &WatchOptions::default());
    assert_eq!(judged.found.len(), 1, "61 s with the highest in it");
    let judged = of(&[(65.0, 30), (40.0, 29), (55.0, 60), (40.0, 9)], &WatchOptions::default());
    assert_eq!(judged.found.len(), 1, "one second had not come back");
    let judged = of(&[(65.0, 30), (40.0, 30), (55.0, 300), (40.0, 9)], &WatchOptions::default());
    assert!(judged.found.is_empty(), "{judged:?}");
}

#[test]
fn a_gap_recovers_nothing_and_uses_on_where_it_began_above() {
    let gap = |value, after: usize| {
        let mut values = held(&[(60.0, 200), (value, 1), (MISSING, 150), (60.0, after)]);
        values.push(40.0);
        judge(&rating(), &seconds(values.len()), &values)
    };
    assert!(gap(40.0, 100).found.is_empty());
    assert!(!gap(40.0, 101).found.is_empty(), "151 s without watch brought nothing back");
    assert!(!gap(60.0, 0).found.is_empty(), "200 s and 151 s");
}

#[test]
fn a_sensor_that_may_show_too_little_makes_the_time_doubtful() {
    let mut options = WatchOptions::default();
    options.accuracy.insert("t".to_owned(), 0.5);
    let judged = of(&[(49.8, 301), (40.0, 9)], &options);
    assert!(judged.found.is_empty());
    assert!(judged.furthest[1].beyond_within_accuracy && !judged.shows_inside());
    assert_eq!(judged.furthest[1].margin_after_accuracy, Some(-1.0));
}
