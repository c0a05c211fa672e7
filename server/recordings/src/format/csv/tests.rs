//! Files in CSV, and what becomes of them.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::io::Read;

use proptest::prelude::*;

use super::*;
use crate::{ChannelSpec, Refused, Rule};

/// Everything that a file gave.
#[derive(Debug, Default, PartialEq)]
struct Kept {
    lines: Vec<u64>,
    times: Vec<Micros>,
    /// By bits, so that NaN equals NaN.
    columns: Vec<Vec<u64>>,
    refused: Vec<Refused>,
    remarks: Vec<Remark>,
    longest_block: usize,
}

impl Sink for Kept {
    fn take(&mut self, block: &mut Block) -> Result<(), Unreadable> {
        self.columns.resize(block.columns.len(), Vec::new());
        self.longest_block = self.longest_block.max(block.rows());
        self.lines.append(&mut block.lines);
        self.times.append(&mut block.times);
        self.refused.append(&mut block.refused);
        self.remarks.append(&mut block.remarks);
        for (kept, column) in self.columns.iter_mut().zip(&block.columns) {
            assert_eq!(kept.len() + column.len(), self.times.len());
            kept.extend(column.iter().map(|value| value.to_bits()));
        }
        Ok(())
    }
}

impl Kept {
    fn values(&self, channel: usize) -> Vec<Option<f64>> {
        let present = |bits: &u64| Some(f64::from_bits(*bits)).filter(|value| !value.is_nan());
        self.columns[channel].iter().map(present).collect()
    }

    fn told(&self) -> Vec<(u64, Option<&str>, &str, Rule)> {
        let tell = |one: &'_ Refused| (one.line, one.rule);
        self.refused
            .iter()
            .map(|one| (tell(one).0, one.column.as_deref(), one.found.as_str(), tell(one).1))
            .collect()
    }
}

fn plan() -> CsvPlan {
    CsvPlan {
        delimiter: None,
        decimal: '.',
        header_line: 1,
        unit_row: false,
        time: TimePlan {
            column: "t".to_owned(),
            form: TimeForm::SecondsSinceStart { start: Micros(0) },
        },
    }
}

fn column(name: &str) -> ColumnPlan {
    let channel = ChannelSpec {
        code: name.to_lowercase(),
        unit: "V".to_owned(),
        lowest: None,
        highest: None,
        accuracy: None,
    };
    ColumnPlan { column: name.to_owned(), channel, scale: 1.0, offset: 0.0 }
}

fn read_as(
    plan: &CsvPlan,
    columns: &[ColumnPlan],
    source: impl Read + Send,
) -> Result<Kept, Unreadable> {
    let mut kept = Kept::default();
    read(source, plan, columns, &mut kept)?;
    Ok(kept)
}

fn read_ab(text: &[u8]) -> Result<Kept, Unreadable> {
    read_as(&plan(), &[column("a"), column("b")], text)
}

/// Gives one byte at a time.
struct Trickle<'a>(&'a [u8]);

impl Read for Trickle<'_> {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        match (self.0.split_first(), into.first_mut()) {
            (Some((byte, rest)), Some(to)) => {
                *to = *byte;
                self.0 = rest;
                Ok(1)
            }
            _ => Ok(0),
        }
    }
}

#[test]
fn values_go_to_their_channels_whatever_the_order_of_columns() {
    let kept = read_ab(b"x,b,t,a\nskipped,2,0.5,1\n,4.25,1,-0\n").unwrap();
    assert_eq!(kept.times, [Micros(500_000), Micros(1_000_000)]);
    assert_eq!(kept.lines, [2, 3]);
    assert_eq!(kept.values(1), [Some(2.0), Some(4.25)]);
    assert_eq!(kept.columns[0], [1.0_f64.to_bits(), (-0.0_f64).to_bits()]);
    assert!(kept.refused.is_empty() && kept.remarks.is_empty());
}

#[test]
fn a_value_is_the_figure_times_scale_plus_offset_and_one_column_may_become_two_channels() {
    let fahrenheit = ColumnPlan { scale: 5.0 / 9.0, offset: -160.0 / 9.0, ..column("a") };
    let kept = read_as(&plan(), &[fahrenheit, column("a")], &b"t,a\n0,212\n"[..]).unwrap();
    assert!((kept.values(0)[0].unwrap() - 100.0).abs() < 1e-12);
    assert_eq!(kept.values(1), [Some(212.0)]);
}

#[test]
fn what_recorders_write_around_figures_is_read() {
    let text = b"\xEF\xBB\xBFRecorder 7;\r\nt;a;\"b; \"\"left\"\"\"\r\ns;\xB0C;V\r\n 0,5 ;1,25; \"7\"\r\n1;+2,5;\"1,5e1\";\r\n\r\n;;;\r\n";
    let plan = CsvPlan { decimal: ',', header_line: 2, unit_row: true, ..plan() };
    let kept = read_as(&plan, &[column("a"), column("b; \"left\"")], &text[..]).unwrap();
    assert_eq!(kept.times, [Micros(500_000), Micros(1_000_000)]);
    assert_eq!(kept.values(0), [Some(1.25), Some(2.5)]);
    // A quote behind a space is no quoted cell by RFC 4180, and so the cell is no number.
    assert_eq!(kept.values(1), [None, Some(15.0)]);
    assert_eq!(kept.told(), [(4, Some("b; \"left\""), "\"7\"", Rule::NotANumber)]);
}

#[test]
fn headers_shows_delimiter_names_units_and_first_rows_of_an_unknown_file() {
    let look = Look { unit_row: true, ..Look::default() };
    let found = headers(&b"t\ttemp,oil\n s\t\xB0C\n0\t\"1\t2\"\n1\t3\n"[..], &look).unwrap();
    assert_eq!(found.delimiter, '\t');
    assert_eq!(found.headers, ["t", "temp,oil"]);
    assert_eq!(found.units, Some(vec!["s".to_owned(), "°C".to_owned()]));
    assert_eq!(found.first_rows, [["0", "1\t2"], ["1", "3"]]);
}

#[test]
fn headers_reads_no_more_than_the_beginning_of_a_file() {
    let mut long = b"t,a\n".to_vec();
    long.extend(b"0,1\n".repeat(100_000));
    let mut source = long.as_slice();
    let found = headers(&mut source, &Look::default()).unwrap();
    assert_eq!(found.first_rows.len(), 10);
    assert!(long.len() - source.len() <= 64 * 1024);
}

#[test]
fn the_delimiter_is_found_on_the_header_line_and_a_decimal_comma_gives_way() {
    for (header, decimal, delimiter) in [
        ("t;a;b", '.', ';'),
        ("t\ta\tb", '.', '\t'),
        ("t|a|b", '.', '|'),
        ("t,a,b", '.', ','),
        ("\"a;b\",\"c;d\",t", '.', ','),
        ("t;a,b,c,d", ',', ';'),
        ("t,a,b", ',', ','),
    ] {
        let look = Look { decimal, ..Look::default() };
        assert_eq!(headers(header.as_bytes(), &look).unwrap().delimiter, delimiter, "{header}");
    }
}

#[test]
fn a_refused_cell_names_line_column_text_and_rule_and_the_row_goes_on() {
    let kept = read_ab(b"t,a,b\n0,on,1\n1,NaN,2\n2,1e999,3\n3,,4\n").unwrap();
    assert_eq!(kept.values(0), [None; 4]);
    assert_eq!(kept.values(1), [Some(1.0), Some(2.0), Some(3.0), Some(4.0)]);
    assert_eq!(
        kept.told(),
        [
            (2, Some("a"), "on", Rule::NotANumber),
            (3, Some("a"), "NaN", Rule::NotFinite),
            (4, Some("a"), "1e999", Rule::NotFinite),
        ]
    );
}

#[test]
fn a_row_without_moment_or_of_another_width_is_refused_as_a_whole() {
    let kept = read_ab(b"t,a,b\n0,1,2\nsoon,x,y\n,5,6\n1,2\n2,3,4,5\n3,4,5,\n4,5,6\n").unwrap();
    assert_eq!(kept.lines, [2, 7, 8]);
    assert_eq!(
        kept.told(),
        [
            (3, Some("t"), "soon", Rule::NotAMoment),
            (4, Some("t"), "", Rule::NotAMoment),
            (5, None, "1,2", Rule::WrongWidth),
            (6, None, "2,3,4,5", Rule::WrongWidth),
        ]
    );
}

#[test]
fn a_cut_file_is_told() {
    let kept = read_ab(b"t,a,b\n0,1,2\n1,2").unwrap();
    assert_eq!(kept.told(), [(3, None, "1,2", Rule::WrongWidth)]);
    assert_eq!(kept.remarks, [Remark::EndsOpen]);

    // By RFC 4180 the last line needs no line end, so the row is taken.
    let kept = read_ab(b"t,a,b\n0,1,2\n1,2,3").unwrap();
    assert_eq!(kept.values(1), [Some(2.0), Some(3.0)]);
    assert_eq!(kept.remarks, [Remark::EndsOpen]);

    let kept = read_ab(b"t,a,b\n0,1,2\n1,2,\"3\n").unwrap();
    assert_eq!(kept.told(), [(3, None, "1,2,\"3", Rule::Damaged)]);
}

#[test]
fn zero_bytes_where_power_was_lost_damage_one_row_and_no_other() {
    let mut text = b"t,a,b\n0,1,2\n1,".to_vec();
    text.extend(std::iter::repeat_n(0, 5 * 1024 * 1024));
    let kept = read_ab(&text).unwrap();
    assert_eq!(kept.lines, [2]);
    assert_eq!(kept.refused.len(), 1);
    assert_eq!((kept.refused[0].line, kept.refused[0].rule), (3, Rule::Damaged));
}

#[test]
fn lines_are_counted_as_an_editor_counts_them_also_within_quotes() {
    let kept = read_ab(b"t,\"a\",b,c\n0,1,2,\"two\nlines\"\n1,x,3,\n").unwrap();
    assert_eq!(kept.lines, [2, 4]);
    assert_eq!(kept.told(), [(4, Some("a"), "x", Rule::NotANumber)]);
}

#[test]
fn a_clock_passes_midnight_once_and_that_is_told() {
    let date = chrono::NaiveDate::from_ymd_opt(2026, 5, 17).unwrap();
    let time = TimePlan { column: "t".to_owned(), form: TimeForm::ClockUtc { date } };
    let plan = CsvPlan { time, ..plan() };
    let text = b"t,a\n23:59:59.5,1\n00:00:00.5,2\n00:00:01.5,3\n00:00:00.5,4\n";
    let kept = read_as(&plan, &[column("a")], &text[..]).unwrap();
    let first = kept.times[0].0;
    let steps: Vec<i64> = kept.times.iter().map(|time| time.0 - first).collect();
    // The last row runs backward, which the check of time refuses; it is no second midnight.
    assert_eq!(steps, [0, 1_000_000, 2_000_000, 1_000_000]);
    assert_eq!(kept.remarks, [Remark::PassedMidnight { line: 3 }]);

    let text = b"t,a\n23:00:00,1\n11:00:00,2\n12:00:00,3\n00:00:00,4\n";
    let kept = read_as(&plan, &[column("a")], &text[..]).unwrap();
    assert!(kept.remarks.is_empty(), "twelve hours back are no midnight");
}

#[test]
fn columns_that_are_not_there_are_named_beside_those_that_are() {
    let refused =
        read_as(&plan(), &[column("a"), column("c"), column("d")], &b"t,a,b\n0,1,2\n"[..]);
    assert_eq!(refused.unwrap_err().to_string(), "the file has no column c, d; it has t, a, b");
}

#[test]
fn a_column_that_stands_twice_is_refused_because_either_would_be_a_guess() {
    let refused = read_ab(b"t,a,b,a\n0,1,2,3\n").unwrap_err().to_string();
    assert!(refused.starts_with("line 1: the header has more than one column a,"), "{refused}");
    assert!(read_as(&plan(), &[column("b")], &b"t,a,b,a\n0,1,2,3\n"[..]).is_ok());
}

#[test]
fn files_of_other_formats_are_named_with_what_to_do() {
    let said = |bytes: &[u8]| read_ab(bytes).unwrap_err().to_string();
    assert_eq!(
        said(b"\x1F\x8B\x08\x00abc"),
        "line 1: the file is packed with gzip, not CSV; unpack it and upload the CSV file that is inside"
    );
    assert!(said(b"PK\x03\x04...").contains("a ZIP archive or a spreadsheet"));
    assert!(said(b"\xFF\xFEt\x00,\x00").contains("UTF-16"));
    assert!(said(b"MZ\x90\x00\x03").contains("zero bytes"));
    assert!(said(b"").contains("ends before its header"));
    assert!(said(b"\n1,2\n").contains("the header is empty"));
    assert_eq!(said(b"t,a,b\n"), "the file has no row with a moment that can be read");
    assert_eq!(said(b"t,a,b\nx,1,2\n"), "the file has no row with a moment that can be read");
}

#[test]
fn a_plan_that_cannot_be_is_refused_with_what_would_do() {
    let said =
        |plan: CsvPlan| read_as(&plan, &[column("a")], &b"t,a\n0,1\n"[..]).unwrap_err().to_string();
    assert!(said(CsvPlan { header_line: 0, ..plan() }).contains("counted from 1"));
    assert!(said(CsvPlan { decimal: '\'', ..plan() }).contains("a point or a comma"));
    assert!(
        said(CsvPlan { delimiter: Some('7'), ..plan() }).contains("cannot stand between cells")
    );
    assert!(said(CsvPlan { header_line: 9, ..plan() }).contains("on line 9"));
}

#[test]
fn a_row_of_a_megabyte_is_taken_and_one_byte_more_is_not() {
    let file = |filling: usize| {
        let mut text = b"t,a,b,note\n0,1,2,".to_vec();
        text.extend(std::iter::repeat_n(b'x', filling - 7));
        text.extend(b"\n1,2,3,\n");
        text
    };
    assert_eq!(read_ab(&file(1024 * 1024)).unwrap().lines, [2, 3]);
    let refused = read_ab(&file(1024 * 1024 + 1)).unwrap_err().to_string();
    assert_eq!(refused, "line 2: the number of bytes in one row is more than 1048576");
    let endless = std::io::repeat(b'7').take(1 << 32);
    assert!(matches!(read_as(&plan(), &[], endless), Err(Unreadable::TooMuch { line: 1, .. })));
}

#[test]
fn a_file_of_4096_columns_is_taken_and_one_of_4097_is_not() {
    let file =
        |columns: usize| format!("t{}\n0{}\n", ",a".repeat(columns - 1), ",1".repeat(columns - 1));
    assert!(read_as(&plan(), &[], file(4096).as_bytes()).is_ok());
    let refused = read_as(&plan(), &[], file(4097).as_bytes()).unwrap_err().to_string();
    assert_eq!(refused, "line 1: the number of columns is more than 4096");
}

#[test]
fn blocks_stay_small_and_a_sink_that_stops_ends_the_reading() {
    let mut text = b"t\n".to_vec();
    for row in 0..100_000 {
        text.extend(format!("{row}\n").bytes());
    }
    let kept = read_as(&plan(), &[], text.as_slice()).unwrap();
    assert_eq!(kept.lines.len(), 100_000);
    assert!(kept.longest_block <= 8192);

    struct Full;
    impl Sink for Full {
        fn take(&mut self, _: &mut Block) -> Result<(), Unreadable> {
            Err(Unreadable::Cut(std::io::Error::other("no room")))
        }
    }
    let endless = text.as_slice().chain(std::io::repeat(b'\n'));
    assert!(matches!(read(endless, &plan(), &[], &mut Full), Err(Unreadable::Cut(_))));
}

#[test]
fn a_source_that_breaks_off_is_told_as_such() {
    struct Broken;
    impl Read for Broken {
        fn read(&mut self, _: &mut [u8]) -> std::io::Result<usize> {
            Err(std::io::ErrorKind::ConnectionReset.into())
        }
    }
    let source = (&b"t,a,b\n0,1,2\n"[..]).chain(Broken);
    let refused = read_as(&plan(), &[column("a")], source);
    assert!(matches!(refused, Err(Unreadable::Cut(_))), "{refused:?}");
}

proptest! {
    #[test]
    fn any_bytes_are_read_or_refused_and_never_more_rows_than_lines(
        bytes in proptest::collection::vec(any::<u8>(), 0..4096),
        header in prop_oneof![Just(&b"t,a,b\n"[..]), Just(&b""[..])],
    ) {
        let text = [header, &bytes].concat();
        if let Ok(kept) = read_ab(&text) {
            let lines = text.split(|byte| *byte == b'\n').count();
            prop_assert!(kept.times.len() + kept.refused.len() <= 3 * lines);
        }
    }

    #[test]
    fn nearly_csv_gives_the_same_whether_it_comes_at_once_or_byte_by_byte(
        body in "[0-9,.\"\n\r;x -]{0,2000}",
    ) {
        let text = format!("t,a,b\n0,1,2\n{body}");
        let at_once = read_ab(text.as_bytes());
        let bytewise = read_as(&plan(), &[column("a"), column("b")], Trickle(text.as_bytes()));
        prop_assert_eq!(at_once.ok(), bytewise.ok());
    }
}

#[test]
fn the_borders_of_pieces_do_not_show() {
    // Rows of all lengths, some with quotes, so that the borders fall everywhere within them.
    let mut text = "t,a,b,note\n".to_owned();
    let rows = 60_000_u32;
    for row in 0..rows {
        let note =
            if row % 1000 == 0 { "\"one\ntwo\"".to_owned() } else { "x".repeat(row as usize % 23) };
        text.push_str(&format!("{row},{}.5,{},{note}\n", row % 7, row * 3));
    }
    let columns = [column("a"), column("b")];
    let at_once = read_as(&plan(), &columns, text.as_bytes()).unwrap();
    let bytewise = read_as(&plan(), &columns, Trickle(text.as_bytes())).unwrap();
    assert_eq!(at_once, bytewise);
    assert!(at_once.refused.is_empty());
    let expected: Vec<_> = (0..rows).map(|row| Some(f64::from(row * 3))).collect();
    assert_eq!(at_once.values(1), expected);
    assert_eq!(at_once.lines.last(), Some(&u64::from(1 + rows + rows / 1000)));
}
