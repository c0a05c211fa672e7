//! Groups of sensors.

use super::*;

fn spread(with: &[&str], limit: f64) -> LimitRule {
    let with = with.iter().map(|code| (*code).to_owned()).collect();
    rule(KindOfLimit::Spread { with, caution: None, limit })
}

fn of(rule: &LimitRule, group: &[(&str, &[Micros], &[f64])]) -> Judged {
    let series_of = |code: &str| {
        let (_, times, values) = group.iter().find(|(other, ..)| *other == code)?;
        Some(Series { times, values })
    };
    exceedances(rule, &series_of, &WatchOptions::default())
}

#[test]
fn a_spread_exactly_at_the_limit_is_inside_and_the_sensor_that_stands_out_is_named() {
    let times = tenths(4);
    let rule = spread(&["u", "v", "w"], 5.0);
    for (odd, count) in [(45.0, 0), (45.1, 1), (60.0, 1)] {
        let judged = of(
            &rule,
            &[
                ("t", &times, &[40.0; 4]),
                ("u", &times, &[40.2; 4]),
                ("v", &times, &[40.1, odd, odd, 40.1]),
                ("w", &times, &[40.3; 4]),
            ],
        );
        assert_eq!(judged.found.len(), count, "{odd}");
        if let [found] = &judged.found[..] {
            assert!((found.peak - (odd - 40.0)).abs() < 1e-12);
            let Some(OddOneOut::Named { channel, .. }) = &found.odd_one_out else {
                panic!("{found:?}")
            };
            assert_eq!(channel, "v");
        }
    }
}

#[test]
fn of_two_sensors_and_of_two_pairs_nobody_is_named() {
    let times = tenths(2);
    let judged = of(&spread(&["u"], 5.0), &[("t", &times, &[40.0; 2]), ("u", &times, &[50.0; 2])]);
    assert_eq!(judged.found[0].odd_one_out, Some(OddOneOut::TwoSensors {}));
    let pairs = [("t", 40.0), ("u", 40.5), ("v", 50.0), ("w", 50.5)];
    assert_eq!(odd_one_out(&pairs), OddOneOut::NobodyStandsOut {});
}

#[test]
fn a_sensor_apart_from_others_that_agree_to_the_last_digit_stands_out() {
    let figures = [("t", 40.0), ("u", 40.0), ("v", 39.5)];
    let named = OddOneOut::Named { channel: "v".to_owned(), from_middle: -0.5, score: None };
    assert_eq!(odd_one_out(&figures), named);
    assert_eq!(odd_one_out(&[("t", 1.0), ("u", 1.0), ("v", 1.0)]), OddOneOut::NobodyStandsOut {});
}

#[test]
fn the_score_of_a_sensor_is_its_distance_in_robust_deviations() {
    // Median 3, distances 2 1 0 1 97, MAD 1.
    let scores = modified_z_scores(&[1.0, 2.0, 3.0, 4.0, 100.0]);
    let expected = [-1.349, -0.6745, 0.0, 0.6745, 65.4265];
    for (score, expected) in scores.iter().zip(expected) {
        assert!((score - expected).abs() < 1e-12, "{scores:?}");
    }
}

#[test]
fn over_an_interval_one_wrong_reading_names_nobody_and_a_sensor_that_is_off_throughout_is_named() {
    let times = tenths(50);
    let near = |of: f64| -> Vec<f64> {
        (0..50).map(|row| 40.0 + of + 0.3 * (f64::from(row) * (1.0 + of)).sin()).collect()
    };
    let (mut a, b, c, d) = (near(0.0), near(0.2), near(0.4), near(0.3));
    a[25] = 90.0;
    let off: Vec<f64> = d.iter().map(|value| value - 6.0).collect();
    let over = |last: &[f64]| {
        let columns = [("a", &a[..]), ("b", &b), ("c", &c), ("d", last)];
        let group = columns.map(|(code, values)| (code, Series { times: &times, values }));
        odd_one_out_over(&group, times[0], times[49], &WatchOptions::default())
    };
    assert_eq!(over(&d), OddOneOut::NobodyStandsOut {});
    assert!(matches!(over(&off), OddOneOut::Named { channel, .. } if channel == "d"));
}

#[test]
fn sensors_read_in_turn_are_compared_while_their_readings_are_a_second_old_at_most() {
    for (later, found) in [(1_000_000, 1), (1_000_001, 0)] {
        let judged = of(
            &spread(&["u"], 5.0),
            &[("t", &[Micros(0)], &[40.0]), ("u", &[Micros(later)], &[50.0])],
        );
        assert_eq!(judged.found.len(), found);
        assert_eq!(matches!(judged.state, State::Judged {}), found == 1, "nothing was compared");
    }
}

#[test]
fn a_sensor_that_is_not_there_makes_the_spread_missing_and_hides_nothing_of_the_others() {
    let times = tenths(2);
    let rule = spread(&["u", "v"], 5.0);
    let judged = of(&rule, &[("t", &times, &[40.0; 2]), ("u", &times, &[50.0; 2])]);
    assert_eq!(judged.state, State::Missing { channels: vec!["v".to_owned()] });
    assert_eq!(judged.found.len(), 1);
    let judged = of(&rule, &[("t", &times, &[40.0; 2])]);
    assert_eq!(judged.state, State::Missing { channels: vec!["u".to_owned(), "v".to_owned()] });
}

#[test]
fn a_sensor_that_drops_out_is_told_though_the_others_are_there() {
    let times = tenths(100);
    let mut dropped = [40.0; 100];
    dropped[20..80].fill(MISSING);
    let judged = of(
        &spread(&["u", "v"], 5.0),
        &[("t", &times, &[40.0; 100]), ("u", &times, &dropped), ("v", &times, &[40.0; 100])],
    );
    assert!(judged.found.is_empty() && !judged.shows_inside());
    assert!(
        matches!(&judged.cautions[..], [Caution::NotWatched { channel, .. }] if channel == "u")
    );
}
