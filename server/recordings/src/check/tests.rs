//! What is refused and what is told of readings.
#![allow(clippy::unwrap_used)]

use proptest::prelude::*;

use super::*;
use crate::ChannelSpec;

/// Keeps what comes through the check.
#[derive(Debug, Default)]
struct Kept {
    times: Vec<i64>,
    columns: Vec<Vec<f64>>,
}

impl Sink for Kept {
    fn take(&mut self, block: &mut Block) -> Result<(), Unreadable> {
        self.times.extend(block.times.iter().map(|time| time.0));
        self.columns.resize(block.columns.len(), Vec::new());
        for (kept, column) in self.columns.iter_mut().zip(&block.columns) {
            kept.extend_from_slice(column);
        }
        Ok(())
    }
}

fn plan(code: &str, lowest: Option<f64>, highest: Option<f64>) -> ColumnPlan {
    let channel = ChannelSpec {
        code: code.to_owned(),
        unit: "°C".to_owned(),
        lowest,
        highest,
        accuracy: None,
    };
    ColumnPlan { column: format!("{code} sensor"), channel, scale: 1.0, offset: 0.0 }
}

/// Checks rows of one channel that come in blocks of so many.
fn checked_in(
    plan: &ColumnPlan,
    stuck: &StuckAfter,
    rows: &[(i64, f64)],
    blocks: usize,
) -> (Quality, Kept) {
    let mut checked = Checked::new(std::slice::from_ref(plan), stuck, Kept::default());
    let mut line = 2;
    for rows in rows.chunks(blocks) {
        let mut block = Block::of(1);
        for (time, value) in rows {
            block.lines.push(line);
            block.times.push(Micros(*time));
            block.columns[0].push(*value);
            line += 1;
        }
        checked.take(&mut block).unwrap();
    }
    checked.finish()
}

fn checked(plan: &ColumnPlan, rows: &[(i64, f64)]) -> (Quality, Kept) {
    checked_in(plan, &StuckAfter::default(), rows, 1000)
}

const S: i64 = 1_000_000;

/// Ten readings a second that always move, from one second to another.
fn ten_hertz(from: i64, to: i64) -> Vec<(i64, f64)> {
    (from * 10..to * 10).map(|step| (step * S / 10, step as f64)).collect()
}

fn told(stretches: &Stretches) -> Vec<(i64, i64)> {
    stretches.first.iter().map(|one| (one.from.0, one.to.0)).collect()
}

#[test]
fn a_figure_that_the_sensor_cannot_give_is_refused_and_one_at_its_edge_is_taken() {
    let rows = [(0, -40.0), (S, -40.5), (2 * S, 120.0), (3 * S, 120.5), (4 * S, f64::NAN)];
    let (quality, kept) = checked(&plan("oil", Some(-40.0), Some(120.0)), &rows);
    let present: Vec<_> = kept.columns[0].iter().map(|value| !value.is_nan()).collect();
    assert_eq!(present, [true, false, true, false, false]);
    let refused: Vec<_> = quality
        .refused
        .iter()
        .map(|one| (one.line, one.column.as_deref().unwrap(), one.found.as_str(), one.rule))
        .collect();
    assert_eq!(
        refused,
        [
            (3, "oil sensor", "-40.5 °C", Rule::BelowLowest),
            (5, "oil sensor", "120.5 °C", Rule::AboveHighest)
        ]
    );
    let channel = &quality.channels[0];
    assert_eq!((channel.present, channel.missing, quality.rows), (2, 3, 5));
    assert_eq!((channel.lowest, channel.highest), (Some(-40.0), Some(120.0)));
    assert_eq!(channel.refused_by_rule, quality.refused_by_rule);
}

#[test]
fn a_row_whose_moment_is_not_later_is_left_out_and_told() {
    let rows = [(5 * S, 1.0), (5 * S, 2.0), (4 * S, 3.0), (5 * S + 1, 4.0)];
    for blocks in [1, 2, 4] {
        let (quality, kept) =
            checked_in(&plan("oil", None, None), &StuckAfter::default(), &rows, blocks);
        assert_eq!(kept.times, [5 * S, 5 * S + 1]);
        assert_eq!(kept.columns[0], [1.0, 4.0]);
        let refused: Vec<_> =
            quality.refused.iter().map(|one| (one.line, one.found.as_str(), one.rule)).collect();
        assert_eq!(
            refused,
            [
                (3, "1970-01-01T00:00:05.000000Z", Rule::TimeDoubled),
                (4, "1970-01-01T00:00:04.000000Z", Rule::TimeBackward)
            ]
        );
        assert_eq!(
            (quality.rows, quality.first, quality.last),
            (2, Some(Micros(5 * S)), Some(Micros(5 * S + 1)))
        );
    }
}

#[test]
fn every_refusal_is_counted_and_the_first_hundred_are_kept() {
    let rows: Vec<_> = (0..250).map(|row| (row * S, 500.0)).collect();
    let (quality, _) = checked(&plan("oil", None, Some(120.0)), &rows);
    assert_eq!(quality.refused.len(), 100);
    assert_eq!(quality.refused_by_rule[&Rule::AboveHighest], 250);
    assert_eq!(quality.channels[0].refused_by_rule[&Rule::AboveHighest], 250);
}

#[test]
fn a_gap_is_longer_than_five_usual_steps_and_longer_than_a_second() {
    let with_gap = |micros: i64| {
        let mut rows = ten_hertz(0, 100);
        let last = rows.last().unwrap().0;
        rows.extend(
            ten_hertz(100, 200)
                .into_iter()
                .map(|(time, value)| (time - 100 * S + last + micros, value)),
        );
        checked(&plan("oil", None, None), &rows).0.channels[0].gaps.count
    };
    assert_eq!(with_gap(S), 0);
    assert_eq!(with_gap(S + 1), 1);

    let slow = |micros: i64| {
        let mut rows: Vec<_> = (0..50).map(|row| (row * 2 * S, row as f64)).collect();
        let last = rows.last().unwrap().0;
        rows.push((last + micros, -1.0));
        checked(&plan("oil", None, None), &rows).0.channels[0].gaps.count
    };
    assert_eq!(slow(10 * S), 0);
    assert_eq!(slow(10 * S + 1), 1);
}

#[test]
fn a_recorder_that_changes_its_rate_has_its_gaps_told_by_the_rate_at_that_time() {
    let mut rows: Vec<_> = (0..400).map(|row| (row * 10 * S, row as f64)).collect();
    rows.extend(ten_hertz(4000, 4100));
    rows.extend(ten_hertz(4105, 4200));
    let (quality, _) = checked(&plan("oil", None, None), &rows);
    let gaps = &quality.channels[0].gaps;
    // The change itself falls among steps of a tenth of a second, and so its ten-second steps are told as well.
    assert!(told(gaps).contains(&(4100 * S - S / 10, 4105 * S)), "{gaps:?}");
    assert_eq!(quality.channels[0].usual_step_s, Some(10.0));
}

#[test]
fn a_channel_that_begins_late_or_falls_silent_has_a_gap_there() {
    let rows: Vec<_> = ten_hertz(0, 60)
        .into_iter()
        .map(|(time, value)| {
            (time, if (20 * S..30 * S).contains(&time) { value } else { f64::NAN })
        })
        .collect();
    let (quality, _) = checked(&plan("oil", None, None), &rows);
    let end = 60 * S - S / 10;
    assert_eq!(told(&quality.channels[0].gaps), [(0, 20 * S), (30 * S - S / 10, end)]);
    assert_eq!(quality.channels[0].gaps.longest_s, 30.0);

    let silent: Vec<_> = rows.iter().map(|(time, _)| (*time, f64::NAN)).collect();
    let (quality, _) = checked(&plan("oil", None, None), &silent);
    assert_eq!(told(&quality.channels[0].gaps), [(0, end)]);
    assert_eq!((quality.channels[0].lowest, quality.channels[0].constant), (None, false));
}

#[test]
fn a_slow_channel_among_fast_ones_has_no_gaps() {
    let rows: Vec<_> = ten_hertz(0, 60)
        .into_iter()
        .map(|(time, value)| (time, if time % (2 * S) == 0 { value } else { f64::NAN }))
        .collect();
    let (quality, _) = checked(&plan("oil", None, None), &rows);
    let channel = &quality.channels[0];
    assert_eq!((channel.gaps.count, channel.usual_step_s, channel.present), (0, Some(2.0), 30));
}

#[test]
fn a_value_that_stays_longer_than_stated_is_told_and_kept() {
    let still = |seconds: i64| {
        let mut rows = ten_hertz(0, 10);
        rows.extend((0..=seconds * 10).map(|step| (10 * S + step * S / 10, 7.5)));
        rows.extend(ten_hertz(10 + seconds + 1, 10 + seconds + 11));
        checked(&plan("oil", None, None), &rows)
    };
    assert_eq!(still(30).0.channels[0].stuck.count, 0);
    let (quality, kept) = still(31);
    assert_eq!(told(&quality.channels[0].stuck), [(10 * S, 41 * S)]);
    assert_eq!(quality.channels[0].stuck.seconds, 31.0);
    assert!(!quality.channels[0].constant);
    assert!(kept.columns[0].iter().all(|value| !value.is_nan()) && quality.refused.is_empty());
}

#[test]
fn how_long_is_stated_for_each_channel_and_a_few_equal_values_are_not_stuck() {
    let rows: Vec<_> = (0..9).map(|row| (row * 60 * S, 1.0)).collect();
    let oil = plan("oil", None, None);
    let (quality, _) = checked(&oil, &rows);
    assert_eq!(quality.channels[0].stuck.count, 0, "nine values are too few");
    assert!(quality.channels[0].constant);

    let rows: Vec<_> = (0..10).map(|row| (row * 60 * S, 1.0)).collect();
    assert_eq!(checked(&oil, &rows).0.channels[0].stuck.count, 1);
    let patient =
        StuckAfter { of_channel: [("oil".to_owned(), 540.0)].into(), ..StuckAfter::default() };
    assert_eq!(checked_in(&oil, &patient, &rows, 3).0.channels[0].stuck.count, 0);
}

#[test]
fn missing_cells_do_not_end_a_stuck_value_and_are_none_themselves() {
    let rows: Vec<_> =
        (0..=400).map(|step| (step * S / 10, if step % 2 == 0 { 3.0 } else { f64::NAN })).collect();
    let (quality, _) = checked(&plan("oil", None, None), &rows);
    assert_eq!(told(&quality.channels[0].stuck), [(0, 40 * S)]);
    let nothing: Vec<_> = rows.iter().map(|(time, _)| (*time, f64::NAN)).collect();
    assert_eq!(checked(&plan("oil", None, None), &nothing).0.channels[0].stuck.count, 0);
}

#[test]
fn a_million_gaps_are_counted_and_the_first_hundred_kept() {
    let rows: Vec<_> = (0..200_000)
        .map(|row| (row / 10 * 20 * S + row % 10 * S / 10, (row % 17) as f64))
        .collect();
    let (quality, _) = checked(&plan("oil", None, None), &rows);
    let gaps = &quality.channels[0].gaps;
    assert_eq!((gaps.count, gaps.first.len()), (19_999, 100));
    assert!((gaps.seconds - 19_999.0 * 19.1).abs() < 1e-3);
}

proptest! {
    #[test]
    fn the_borders_of_blocks_do_not_show(
        rows in proptest::collection::vec((-2_i64..40, prop_oneof![Just(f64::NAN), Just(1.0), -9.0..9.0_f64]), 1..1200),
        blocks in 1_usize..400,
    ) {
        let mut at = 0;
        let rows: Vec<_> = rows.into_iter().map(|(step, value)| { at += step * S / 4; (at, value) }).collect();
        let oil = plan("oil", Some(-8.0), Some(8.0));
        let (at_once, all) = checked_in(&oil, &StuckAfter::default(), &rows, rows.len());
        let (in_blocks, parts) = checked_in(&oil, &StuckAfter::default(), &rows, blocks);
        prop_assert_eq!(at_once, in_blocks);
        prop_assert_eq!(&all.times, &parts.times);
        prop_assert!(all.times.is_sorted_by(|one, next| one < next));
        let bits = |kept: &Kept| kept.columns[0].iter().map(|value| value.to_bits()).collect::<Vec<_>>();
        prop_assert_eq!(bits(&all), bits(&parts));
    }
}
