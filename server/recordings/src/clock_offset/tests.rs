//! Offsets of clocks.
#![allow(clippy::unwrap_used)]

use proptest::prelude::*;

use super::*;
use crate::Micros;

/// A day that never repeats: a few slow waves whose lengths have no common measure.
fn day(t: f64) -> f64 {
    100.0 + 30.0 * (t / 17.3).sin() + 20.0 * (t / 5.91 + 1.0).sin() + 15.0 * (t / 41.7).cos()
}

/// From -1 to 1 times a size, without any order that two recorders could have in common.
fn noise(row: usize, recorder: u64, size: f64) -> f64 {
    let mut mixed = (row as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ (recorder << 32);
    for _ in 0..3 {
        mixed = (mixed ^ (mixed >> 31)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    }
    size * ((mixed >> 40) as f64 / (1 << 23) as f64 - 1.0)
}

/// A recorder that reads the day from one moment on, with its clock so far behind.
fn recorded(
    from_s: f64,
    rows: usize,
    step_s: f64,
    behind_s: f64,
    wrong: f64,
) -> (Vec<Micros>, Vec<f64>) {
    (0..rows)
        .map(|row| {
            let t = from_s + row as f64 * step_s;
            (
                Micros(((t - behind_s) * 1e6).round() as i64),
                day(t) + noise(row, behind_s.to_bits() ^ rows as u64, wrong),
            )
        })
        .unzip()
}

fn offset(
    first: &(Vec<Micros>, Vec<f64>),
    other: &(Vec<Micros>, Vec<f64>),
    most_s: f64,
) -> Result<ClockOffset, NoOffset> {
    clock_offset(
        Series { times: &first.0, values: &first.1 },
        Series { times: &other.0, values: &other.1 },
        most_s,
    )
}

#[test]
fn a_clock_that_is_behind_is_found_to_a_fraction_of_the_step_despite_noise() {
    let first = recorded(0.0, 3_000, 0.1, 0.0, 2.0);
    for behind_s in [0.0, 0.037, -12.34, 55.0] {
        let other = recorded(20.0, 2_500, 0.1, behind_s, 2.0);
        let found = offset(&first, &other, 60.0).unwrap();
        assert!((found.seconds - behind_s).abs() < 0.02, "{behind_s}: {found:?}");
        assert_eq!(found.confidence, Confidence::Clear);
        assert!(found.correlation > 0.99);
    }
}

#[test]
fn recorders_of_different_rates_with_dropouts_are_compared_where_both_have_readings() {
    let first = recorded(0.0, 3_000, 0.1, 0.0, 1.0);
    let mut other = recorded(0.0, 290, 1.0, 7.77, 1.0);
    other.1[100..150].fill(f64::NAN);
    let found = offset(&first, &other, 30.0).unwrap();
    assert!((found.seconds - 7.77).abs() < 0.1, "{found:?}");
    assert_eq!(found.step_s, 0.1);
    assert!((found.overlap_s - 238.0).abs() < 3.0, "without the 51 s of the gap: {found:?}");
}

#[test]
fn what_repeats_itself_is_ambiguous_and_the_other_peak_is_told() {
    let wave = |behind_s: f64| -> (Vec<Micros>, Vec<f64>) {
        (0..2_000)
            .map(|row| {
                let t = f64::from(row) * 0.1;
                let value = (std::f64::consts::TAU * t / 10.0).sin();
                (Micros(((t - behind_s) * 1e6) as i64), value)
            })
            .unzip()
    };
    let found = offset(&wave(0.0), &wave(2.0), 30.0).unwrap();
    assert_eq!(found.confidence, Confidence::Ambiguous);
    let second = found.second.unwrap();
    let apart = (second.seconds - found.seconds).abs();
    assert!((apart / 10.0 - (apart / 10.0).round()).abs() < 0.02, "whole waves apart: {found:?}");
    assert!(second.share > 0.99);
}

#[test]
fn an_offset_beyond_the_bound_is_not_told_as_clear() {
    let first = recorded(0.0, 3_000, 0.1, 0.0, 0.0);
    let other = recorded(0.0, 3_000, 0.1, 4.0, 0.0);
    let found = offset(&first, &other, 3.0).unwrap();
    assert_eq!(found.confidence, Confidence::AtTheEdge);
    assert!(found.seconds <= 3.0);
    let at = offset(&first, &other, 5.0).unwrap();
    assert_eq!(at.confidence, Confidence::Clear, "{at:?}");
}

#[test]
fn what_has_nothing_in_common_is_weak_or_refused() {
    let first = recorded(0.0, 1_000, 0.1, 0.0, 0.0);
    let chance = (first.0.clone(), (0..1_000).map(|row| noise(row, 9, 1.0)).collect());
    assert_eq!(offset(&first, &chance, 20.0).unwrap().confidence, Confidence::Weak);
    let still = (first.0.clone(), vec![5.0; 1_000]);
    let refused = NoOffset::NothingToCompare { most_s: 20.0 };
    assert_eq!(offset(&first, &still, 20.0).unwrap_err(), refused);
    let another_year = recorded(4e7, 1_000, 0.1, 0.0, 0.0);
    assert_eq!(offset(&first, &another_year, 20.0).unwrap_err(), refused);
    let none = (vec![], vec![]);
    assert_eq!(offset(&first, &none, 20.0).unwrap_err(), NoOffset::TooFewReadings);
    for most_s in [0.0, -1.0] {
        assert_eq!(offset(&first, &first, most_s).unwrap_err(), NoOffset::NoBound { most_s });
    }
    assert!(offset(&first, &first, f64::NAN).is_err());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    #[test]
    fn another_unit_another_day_and_the_other_way_round_change_nothing_but_the_sign(
        behind_s in -20.0..20.0_f64,
        scale in 0.01..100.0_f64,
        level in -1e4..1e4_f64,
        day in 0..20_000_i64,
    ) {
        let first = recorded(0.0, 800, 0.1, 0.0, 1.0);
        let other = recorded(0.0, 800, 0.1, behind_s, 1.0);
        let found = offset(&first, &other, 25.0).unwrap();
        prop_assert!((found.seconds - behind_s).abs() < 0.05, "{:?}", found);
        let turned = offset(&other, &first, 25.0).unwrap();
        prop_assert!((turned.seconds + found.seconds).abs() < 1e-3);
        let moved = |of: &(Vec<Micros>, Vec<f64>), scale: f64, level: f64| {
            let later = of.0.iter().map(|it| Micros(it.0 + day * 86_400_000_000)).collect();
            (later, of.1.iter().map(|value| value * scale + level).collect())
        };
        let again = offset(&moved(&first, 1.0, 0.0), &moved(&other, scale, level), 25.0).unwrap();
        prop_assert!((again.seconds - found.seconds).abs() < 1e-4);
        prop_assert!((again.correlation - found.correlation).abs() < 1e-6);
    }
}
