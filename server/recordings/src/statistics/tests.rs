//! Figures of intervals.
#![allow(clippy::unwrap_used)]

use super::*;

fn tenths(count: usize) -> Vec<Micros> {
    (0..count as i64).map(|row| Micros(row * 100_000)).collect()
}

fn of(wanted: Wanted, values: &[f64]) -> Result<Taken, NotTaken> {
    let times = tenths(values.len());
    let interval = (times[0], times[values.len() - 1]);
    take(wanted, &[("t", Series { times: &times, values })], interval, &Demands::default())
}

#[test]
fn every_statistic_of_an_interval_is_what_it_says() {
    let values: Vec<f64> = (0..101).map(|row| 40.0 + 0.1 * f64::from(row)).collect();
    for (wanted, value, at) in [
        (Wanted::Max, 50.0, Some(10_000_000)),
        (Wanted::Min, 40.0, Some(0)),
        (Wanted::Mean, 45.0, None),
        (Wanted::First, 40.0, Some(0)),
        (Wanted::Last, 50.0, Some(10_000_000)),
        (Wanted::TimeAbove { threshold: 45.0 }, 4.9, None),
    ] {
        let taken = of(wanted, &values).unwrap();
        assert!((taken.value - value).abs() < 1e-9, "{wanted:?}: {taken:?}");
        assert_eq!(taken.at.map(|it| it.0), at);
        assert_eq!((taken.readings, taken.share_missing), (101, 0.0));
        assert_eq!(taken.statistic, wanted.statistic());
    }
    assert!((of(Wanted::Rate, &values).unwrap().value - 1.0).abs() < 1e-9);
    let times = tenths(2);
    let group = [40.0, 41.0, 43.5].map(|value| [value; 2]);
    let named: Vec<_> =
        group.iter().map(|values| ("t", Series { times: &times, values })).collect();
    let taken = take(Wanted::Spread, &named, (times[0], times[1]), &Demands::default()).unwrap();
    assert_eq!((taken.value, taken.readings), (3.5, 6));
}

#[test]
fn readings_that_are_missing_beyond_what_may_be_leave_no_figure() {
    // 1,001 rows are 100 s; 2 s of them may lie in gaps.
    let gap = |lost: usize| {
        let mut values = vec![40.0; 1_001];
        values[500..500 + lost].fill(f64::NAN);
        of(Wanted::Max, &values)
    };
    let taken = gap(19).unwrap();
    assert!((taken.share_missing - 0.02).abs() < 1e-12);
    assert!(matches!(gap(20), Err(NotTaken::TooMuchMissing { share, .. }) if share > 0.0209));
    assert!(matches!(gap(50), Err(NotTaken::Gap { gap, .. }) if gap.seconds() > 5.0));
    assert_eq!(gap(2).unwrap().share_missing, 0.0, "three steps are no gap");
    assert!(of(Wanted::Max, &[f64::NAN; 5]).is_err());
}

#[test]
fn what_is_missing_at_an_end_is_missing_and_an_end_without_reading_has_no_value() {
    let mut values = vec![40.0; 101];
    values[..4].fill(f64::NAN);
    assert!(matches!(of(Wanted::First, &values), Err(NotTaken::Gap { .. })));
    assert!(of(Wanted::Last, &values).is_ok());
    assert!(matches!(of(Wanted::Mean, &values), Err(NotTaken::TooMuchMissing { .. })));
    values[3] = 40.0;
    assert!(of(Wanted::First, &values).is_ok());
}

#[test]
fn an_interval_turned_around_or_too_short_for_a_rate_is_refused_in_words() {
    let times = tenths(3);
    let series = Series { times: &times, values: &[1.0; 3] };
    let refused =
        take(Wanted::Max, &[("t", series)], (times[2], times[0]), &Demands::default()).unwrap_err();
    assert_eq!(refused, NotTaken::NoInterval {});
    let refused = of(Wanted::Rate, &[1.0; 3]).unwrap_err();
    assert_eq!(
        refused.to_string(),
        "the readings of t are too few or too far apart for it; choose a longer interval"
    );
}
