//! What holds for every recording.

use proptest::prelude::*;

use super::*;

/// Readings, some of them missing, around limits at 0 and 10.
fn readings() -> impl Strategy<Value = Vec<f64>> {
    let reading = prop_oneof![4 => -5.0..15.0_f64, 1 => Just(f64::NAN), 1 => Just(10.0)];
    prop::collection::vec(reading, 1..120)
}

fn kinds() -> Vec<LimitRule> {
    let timed =
        vec![TimedRating { value: 9.0, seconds: 1.0 }, TimedRating { value: 12.0, seconds: 0.3 }];
    [
        KindOfLimit::Maximum { caution: None, limit: 10.0 },
        KindOfLimit::Range { low: 0.0, high: 10.0, caution_low: None, caution_high: None },
        KindOfLimit::TimeAbove { threshold: 10.0, caution_s: None, limit_s: 0.5 },
        KindOfLimit::Rating { continuous: 8.0, timed },
    ]
    .into_iter()
    .map(rule)
    .collect()
}

proptest! {
    #[test]
    fn readings_beyond_the_limit_never_take_an_exceedance_away(
        values in readings(),
        places in prop::collection::vec(0..120_usize, 0..20),
        dwell_s in prop_oneof![Just(0.0), 0.05..0.6_f64],
    ) {
        let times = tenths(values.len());
        let mut worse = values.clone();
        for place in places {
            let place = place % worse.len();
            worse[place] = 20.0;
        }
        for rule in kinds() {
            let rule = LimitRule { dwell_s, ..rule };
            // A reading of 20 takes the place of readings below the range, which ends those.
            let of_high = |found: &&Exceedance| found.statistic != Statistic::Min;
            let before = judge(&rule, &times, &values);
            let after = judge(&rule, &times, &worse);
            for one in before.found.iter().filter(of_high) {
                let covered = after.found.iter().filter(|it| it.statistic == one.statistic).any(|it| {
                    it.start <= one.start && it.end >= one.end && it.peak >= one.peak
                });
                prop_assert!(covered, "{one:?} is not in {:?}", after.found);
            }
            let of_low = before.found.iter().any(|it| it.statistic == Statistic::Min);
            prop_assert!(!after.shows_inside() || before.shows_inside() || of_low || before.furthest.is_empty());
        }
    }

    #[test]
    fn a_missing_reading_is_never_a_better_one(values in readings(), place in 0..120_usize) {
        let times = tenths(values.len());
        let place = place % values.len();
        // A reading beyond that is lost takes along what it showed; one inside must not.
        let mut values = values;
        values[place] = 4.0;
        let mut lost = values.clone();
        lost[place] = f64::NAN;
        for rule in kinds() {
            let (before, after) = (judge(&rule, &times, &values), judge(&rule, &times, &lost));
            for one in &before.found {
                let covered = after.found.iter().any(|it| it.start <= one.start && it.end >= one.end);
                prop_assert!(covered, "{one:?} is not in {:?}", after.found);
            }
        }
    }

    #[test]
    fn another_unit_and_another_day_change_nothing(
        values in readings(),
        scale in 0.01..100.0_f64,
        shift in -100.0..100.0_f64,
        day in 0..20_000_i64,
    ) {
        // A reading at the very edge is moved off it: its side is a matter of rounding once it is scaled.
        let values: Vec<f64> =
            values.into_iter().map(|it| if (it - 10.0).abs() < 1e-4 { 10.5 } else { it }).collect();
        let times = tenths(values.len());
        let of = |figure: f64| figure * scale + shift;
        let moved: Vec<Micros> = times.iter().map(|it| Micros(it.0 + day * 86_400_000_000)).collect();
        let scaled: Vec<f64> = values.iter().map(|value| of(*value)).collect();
        let before = judge(&maximum(10.0), &times, &values);
        let after = judge(&maximum(of(10.0)), &moved, &scaled);
        prop_assert_eq!(before.found.len(), after.found.len());
        for (one, other) in before.found.iter().zip(&after.found) {
            prop_assert_eq!(one.start.0 + day * 86_400_000_000, other.start.0);
            prop_assert_eq!(one.duration_s, other.duration_s);
            prop_assert!((of(one.peak) - other.peak).abs() < 1e-9 * other.peak.abs().max(1.0));
        }
    }
}
