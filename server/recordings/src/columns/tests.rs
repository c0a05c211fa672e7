//! Columns written, and read again.
#![allow(clippy::unwrap_used, clippy::panic)]

use bytes::Bytes;
use proptest::prelude::*;

use super::*;
use crate::format::csv::{CsvPlan, TimeForm, TimePlan};
use crate::{Block, ColumnPlan, Micros, Sink};

fn channel(code: &str, unit: &str) -> ChannelSpec {
    ChannelSpec {
        code: code.to_owned(),
        unit: unit.to_owned(),
        lowest: None,
        highest: None,
        accuracy: None,
    }
}

fn written(channels: &[ChannelSpec], times: &[i64], columns: &[Vec<f64>]) -> Bytes {
    let mut writer = ColumnsWriter::new(channels, Vec::new()).unwrap();
    let mut block = Block::of(channels.len());
    block.times = times.iter().copied().map(Micros).collect();
    block.lines = (2..).take(times.len()).collect();
    block.columns = columns.to_vec();
    writer.take(&mut block).unwrap();
    let written = writer.finish().unwrap();
    assert_eq!(written.rows, times.len() as u64);
    assert_eq!(written.bytes, written.into.len() as u64);
    Bytes::from(written.into)
}

/// Two channels at ten readings a second.
fn ten_hertz(rows: usize) -> Bytes {
    let times: Vec<i64> = (0..rows as i64).map(|row| row * 100_000).collect();
    let volts = (0..rows).map(|row| 300.0 + row as f64 / 7.0).collect();
    let kelvin = (0..rows).map(|row| if row % 3 == 0 { f64::NAN } else { row as f64 }).collect();
    written(&[channel("pack_v", "V"), channel("motor_k", "K")], &times, &[volts, kelvin])
}

const EVER_I: (i64, i64) = (i64::MIN, i64::MAX);
const EVER: (Micros, Micros) = (Micros(EVER_I.0), Micros(EVER_I.1));

#[test]
fn a_file_says_its_channels_units_rows_and_span() {
    let columns = Columns::open(ten_hertz(70_000)).unwrap();
    let said: Vec<_> =
        columns.channels().iter().map(|one| (one.code.as_str(), one.unit.as_str())).collect();
    assert_eq!(said, [("pack_v", "V"), ("motor_k", "K")]);
    assert_eq!(columns.rows(), 70_000);
    assert_eq!(columns.span(), Some((Micros(0), Micros(6_999_900_000))));
}

#[test]
fn a_window_has_both_of_its_ends_and_nothing_beside_them() {
    let columns = Columns::open(ten_hertz(70_000)).unwrap();
    // Over the border of two row groups, which is at row 65,536.
    let window =
        columns.read(&["motor_k", "pack_v"], Micros(6_553_400_000), Micros(6_553_700_000)).unwrap();
    let expected: Vec<_> = (65_534..=65_537).map(|row| Micros(row * 100_000)).collect();
    assert_eq!(window.times, expected);
    assert_eq!(window.values[1][2].to_bits(), (300.0 + 65_536.0 / 7.0_f64).to_bits());
    assert!(window.values[0][2].is_finite() && window.values[0][1].is_nan());
    assert_eq!(window.series(0).unwrap().present().count(), 3);
    assert!(window.series(2).is_none());

    let narrow = columns.read(&["pack_v"], Micros(100_001), Micros(299_999)).unwrap();
    assert_eq!(narrow.times, [Micros(200_000)]);
    let nothing = columns.read(&["pack_v"], Micros(100_001), Micros(199_999)).unwrap();
    assert!(nothing.times.is_empty() && nothing.values[0].is_empty());
    let backwards = columns.read(&["pack_v"], Micros(500_000), Micros(0)).unwrap();
    assert!(backwards.times.is_empty());
    let times = columns.read(&[], Micros(0), Micros(200_000)).unwrap();
    assert_eq!(times.times.len(), 3);
}

#[test]
fn bins_that_are_read_piece_by_piece_are_those_of_the_window_as_a_whole() {
    let columns = Columns::open(ten_hertz(70_000)).unwrap();
    let (codes, width) = (["motor_k", "pack_v"], 1_700_000);
    // From and to within a page and within a bin; over the border of two row groups; nothing at all.
    for (from, to) in [(1_250_000, 999_950_000), (6_553_000_000, 6_555_000_000), (-9, -1), EVER_I] {
        let (from, to) = (Micros(from), Micros(to));
        let binned = columns.bins(&codes, from, to, width).unwrap();
        let window = columns.read(&codes, from, to).unwrap();
        let whole: Vec<&[f64]> = window.values.iter().map(Vec::as_slice).collect();
        let expected = crate::bins::bins(&window.times, &whole, 0..window.times.len(), width);
        assert_eq!(binned.starts, expected.starts);
        assert_eq!(binned.channels.len(), 2);
        for (of_file, of_window) in binned.channels.iter().zip(&expected.channels) {
            assert_eq!(of_file.readings, of_window.readings);
            assert_eq!((&of_file.min, &of_file.max), (&of_window.min, &of_window.max));
            for (one, other) in of_file.mean.iter().zip(&of_window.mean) {
                assert!((one - other).abs() <= 1e-12 * other.abs(), "{one} {other}");
            }
        }
    }
    assert!(columns.bins(&["pack_a"], EVER.0, EVER.1, width).is_err());
}

#[test]
fn a_channel_that_is_not_there_is_named_beside_those_that_are() {
    let columns = Columns::open(ten_hertz(3)).unwrap();
    let refused = columns.read(&["pack_v", "pack_a"], EVER.0, EVER.1).unwrap_err();
    assert_eq!(refused.to_string(), "the recording has no channel pack_a; it has pack_v, motor_k");
}

#[test]
fn a_channel_that_is_written_twice_or_called_time_is_refused() {
    let refused = |channels: &[ChannelSpec]| {
        ColumnsWriter::new(channels, Vec::new()).err().unwrap().to_string()
    };
    let twice = [channel("a", "V"), channel("b", "V"), channel("a", "V")];
    assert!(refused(&twice).starts_with("more than one column becomes a;"));
    assert!(refused(&[channel("time", "s")]).starts_with("more than one column becomes time;"));
}

#[test]
fn a_part_is_a_recording_of_its_own() {
    let columns = Columns::open(ten_hertz(70_000)).unwrap();
    let part =
        columns.write_part(&["motor_k"], Micros(1_000_000), Micros(2_000_000), Vec::new()).unwrap();
    let part = Columns::open(Bytes::from(part)).unwrap();
    assert_eq!(
        part.channels(),
        [StoredChannel { code: "motor_k".to_owned(), unit: "K".to_owned() }]
    );
    assert_eq!(part.rows(), 11);
    assert_eq!(part.span(), Some((Micros(1_000_000), Micros(2_000_000))));
}

#[test]
fn an_empty_part_is_still_a_file_with_its_channels() {
    let columns = Columns::open(ten_hertz(10)).unwrap();
    let part = columns.write_part(&["pack_v"], Micros(-5), Micros(-1), Vec::new()).unwrap();
    let part = Columns::open(Bytes::from(part)).unwrap();
    assert_eq!((part.rows(), part.span(), part.channels().len()), (0, None, 1));
    assert!(part.read(&["pack_v"], EVER.0, EVER.1).unwrap().times.is_empty());
}

#[test]
fn csv_has_codes_units_moments_and_the_shortest_figures_that_read_back() {
    let columns = Columns::open(written(
        &[channel("a,b", "1/min \"n\""), channel("c", "°C")],
        &[1_779_006_600_000_000, 1_779_006_600_000_001],
        &[vec![0.1, f64::NAN], vec![-0.0, 1e22]],
    ))
    .unwrap();
    let mut out = Vec::new();
    columns.csv_out(&["a,b", "c"], EVER.0, EVER.1, CsvOut { unit_row: true }, &mut out).unwrap();
    assert_eq!(
        String::from_utf8(out).unwrap(),
        "time,\"a,b\",c\nUTC,\"1/min \"\"n\"\"\",°C\n\
         2026-05-17T08:30:00.000000Z,0.1,-0.0\n2026-05-17T08:30:00.000001Z,,1e22\n"
    );
}

#[test]
fn figures_that_are_all_different_and_figures_that_repeat_are_read_as_they_were() {
    let rows = 100_000;
    let times: Vec<i64> = (0..rows).collect();
    let different: Vec<f64> = (0..rows).map(|row| (row as f64).sqrt() * 1e-3).collect();
    let repeated: Vec<f64> = (0..rows).map(|row| f64::from(row as i32 % 50) / 8.0 - 0.0).collect();
    let columns = [different, repeated];
    let opened = Columns::open(written(&channels(2), &times, &columns)).unwrap();
    // Both channels at once is so much that they are read side by side.
    let window = opened.read(&["c0", "c1", "c0"], EVER.0, EVER.1).unwrap();
    assert_eq!(window.times.len(), 100_000);
    assert_eq!(bits(&window.values[..2]), bits(&columns));
    assert_eq!(bits(&window.values[2..]), bits(&columns[..1]));
}

#[test]
fn a_file_is_read_side_by_side_although_it_has_only_one_place() {
    let mut file = std::env::temp_dir();
    file.push(format!("recordings-side-by-side-{}.parquet", std::process::id()));
    std::fs::write(&file, ten_hertz(200_000)).unwrap();
    let columns = Columns::open(std::fs::File::open(&file).unwrap()).unwrap();
    std::fs::remove_file(&file).unwrap();
    let alone = columns.read(&["pack_v"], EVER.0, EVER.1).unwrap();
    let codes = ["pack_v"; 12];
    for _ in 0..4 {
        let window = columns.read(&codes, EVER.0, EVER.1).unwrap();
        assert!(window.values.iter().all(|values| *values == alone.values[0]));
    }
}

#[test]
fn damaged_bytes_are_an_error_and_no_panic() {
    let whole = ten_hertz(20_000);
    for end in [0, 4, 100, whole.len() / 2, whole.len() - 1] {
        assert!(Columns::open(whole.slice(..end)).is_err(), "cut at {end}");
    }
}

#[test]
fn a_damaged_byte_is_never_taken_for_a_figure() {
    let whole = ten_hertz(70_000);
    let footer =
        u32::from_le_bytes(whole[whole.len() - 8..whole.len() - 4].try_into().unwrap()) as usize;
    let clean =
        Columns::open(whole.clone()).unwrap().read(&["pack_v", "motor_k"], EVER.0, EVER.1).unwrap();
    let figures = whole.len() - 8 - footer;
    for at in (0..figures).step_by(figures / 97) {
        let mut damaged = whole.to_vec();
        damaged[at] ^= 0x10;
        let columns = Columns::open(Bytes::from(damaged));
        match columns.map(|columns| columns.read(&["pack_v", "motor_k"], EVER.0, EVER.1)) {
            Err(_) | Ok(Err(CannotRead::Damaged(_))) => {}
            // The index of pages stands before the footer, too, and not all of it is looked at.
            Ok(Ok(window)) if window.times == clean.times => {
                assert!(bits(&window.values) == bits(&clean.values), "byte {at}");
            }
            _ => panic!("byte {at}"),
        }
    }
}

/// Rising moments with as many columns of any bits as are asked for.
fn any_columns() -> impl Strategy<Value = (Vec<i64>, Vec<Vec<f64>>)> {
    (0_usize..300, 0_usize..4).prop_flat_map(|(rows, columns)| {
        let steps = proptest::collection::vec(1_i64..1_000_000_000, rows);
        let times = steps.prop_map(|steps| {
            let mut at = 1_700_000_000_000_000;
            steps
                .into_iter()
                .map(|step| {
                    at += step;
                    at
                })
                .collect()
        });
        let value =
            prop_oneof![any::<u64>().prop_map(f64::from_bits), (-1e3..1e3_f64), Just(f64::NAN)];
        let value = value.prop_map(|value| if value.is_finite() { value } else { f64::NAN });
        let column = proptest::collection::vec(value, rows);
        (times, proptest::collection::vec(column, columns))
    })
}

fn channels(columns: usize) -> Vec<ChannelSpec> {
    (0..columns).map(|place| channel(&format!("c{place}"), "V")).collect()
}

fn bits(columns: &[Vec<f64>]) -> Vec<Vec<Option<u64>>> {
    let of = |value: &f64| (!value.is_nan()).then(|| value.to_bits());
    columns.iter().map(|column| column.iter().map(of).collect()).collect()
}

proptest! {
    #[test]
    fn what_is_written_is_read_again_bit_by_bit((times, columns) in any_columns()) {
        let channels = channels(columns.len());
        let codes: Vec<&str> = channels.iter().map(|one| one.code.as_str()).collect();
        let opened = Columns::open(written(&channels, &times, &columns)).unwrap();
        let window = opened.read(&codes, EVER.0, EVER.1).unwrap();
        prop_assert_eq!(window.times.iter().map(|time| time.0).collect::<Vec<_>>(), times);
        prop_assert_eq!(bits(&window.values), bits(&columns));
    }

    #[test]
    fn csv_that_was_written_is_read_in_as_the_same_columns((times, columns) in any_columns()) {
        prop_assume!(!times.is_empty());
        let channels = channels(columns.len());
        let codes: Vec<&str> = channels.iter().map(|one| one.code.as_str()).collect();
        let opened = Columns::open(written(&channels, &times, &columns)).unwrap();
        let mut text = Vec::new();
        opened.csv_out(&codes, EVER.0, EVER.1, CsvOut { unit_row: true }, &mut text).unwrap();

        let plan = crate::FilePlan::Csv(CsvPlan {
            delimiter: None,
            decimal: '.',
            header_line: 1,
            unit_row: true,
            time: TimePlan {
                column: TIME.to_owned(),
                form: TimeForm::Iso8601 { utc_without_offset: false },
            },
        });
        let plans: Vec<ColumnPlan> = channels
            .iter()
            .map(|one| ColumnPlan { column: one.code.clone(), channel: one.clone(), scale: 1.0, offset: 0.0 })
            .collect();
        let taken = crate::intake(text.as_slice(), &plan, &plans, &Default::default(), Vec::new()).unwrap();
        prop_assert!(taken.report.quality.refused.is_empty());
        let window = Columns::open(Bytes::from(taken.into)).unwrap().read(&codes, EVER.0, EVER.1).unwrap();
        prop_assert_eq!(window.times.iter().map(|time| time.0).collect::<Vec<_>>(), times);
        prop_assert_eq!(bits(&window.values), bits(&columns));
    }

    #[test]
    fn a_window_is_what_filtering_all_rows_gives(from in -10_i64..710_000, length in 0_i64..50_000) {
        let opened = Columns::open(ten_hertz(20_000)).unwrap();
        let (from, to) = (Micros(from * 3000), Micros((from + length) * 3000));
        let window = opened.read(&["pack_v"], from, to).unwrap();
        let all = opened.read(&["pack_v"], EVER.0, EVER.1).unwrap();
        let part = crate::Series { times: &all.times, values: &all.values[0] }.between(from, to);
        prop_assert_eq!(window.times.as_slice(), part.times);
        prop_assert_eq!(window.values[0].as_slice(), part.values);
    }

    #[test]
    fn any_bytes_in_place_of_a_recording_are_an_error(noise in proptest::collection::vec(any::<u8>(), 0..600), at in 0_usize..4000) {
        let mut bytes = ten_hertz(300).to_vec();
        let at = at.min(bytes.len());
        let end = (at + noise.len()).min(bytes.len());
        bytes[at..end].copy_from_slice(&noise[..end - at]);
        if let Ok(columns) = Columns::open(Bytes::from(bytes)) {
            let codes: Vec<String> = columns.channels().iter().map(|one| one.code.clone()).collect();
            let codes: Vec<&str> = codes.iter().map(String::as_str).collect();
            let _ = columns.read(&codes, EVER.0, EVER.1);
        }
    }
}
