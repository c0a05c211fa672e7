//! From a recorder's file to checked columns, in one go.

use std::io::{Read, Write};

use serde::{Deserialize, Serialize};

use crate::check::{Checked, Quality, StuckAfter};
use crate::columns::{Columns, ColumnsWriter, Parts};
use crate::format::candump::{self, CandumpPlan};
use crate::format::csv::{self, CsvPlan};
use crate::format::{PassedOver, gpx, igc, nmea};
use crate::{ChannelSpec, ColumnPlan, Sink, Unreadable};

/// The format of a recorder's files, with what has to be known to read them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "format", rename_all = "kebab-case")]
pub enum FilePlan {
    /// Comma-separated values and their kin.
    Csv(CsvPlan),
    /// Frames of a CAN bus as candump writes them, with a DBC file.
    Candump(CandumpPlan),
    /// A flight recorder for gliding.
    Igc,
    /// Sentences of a satellite receiver.
    Nmea,
    /// A track as XML.
    Gpx,
}

impl FilePlan {
    /// Reads a file of the format; gives what was passed over because it carries no channel.
    ///
    /// # Errors
    ///
    /// [`Unreadable`], as `read` of the format in [`mod@crate::format`] gives it.
    pub fn read(
        &self,
        source: impl Read + Send,
        columns: &[ColumnPlan],
        sink: &mut dyn Sink,
    ) -> Result<PassedOver, Unreadable> {
        match self {
            FilePlan::Csv(plan) => {
                csv::read(source, plan, columns, sink).map(|()| PassedOver::default())
            }
            FilePlan::Candump(plan) => candump::read(source, plan, columns, sink),
            FilePlan::Igc => igc::read(source, columns, sink),
            FilePlan::Nmea => nmea::read(source, columns, sink),
            FilePlan::Gpx => gpx::read(source, columns, sink),
        }
    }
}

/// What was found in a file: what [`intake`] writes into the footer of the columns, as JSON.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Report {
    /// What was taken, refused and missing.
    pub quality: Quality,
    /// What was passed over because it carries no channel.
    pub passed_over: PassedOver,
}

impl Report {
    /// The report of columns; absent where they have none that can be read.
    pub fn of<R: Parts + 'static>(columns: &Columns<R>) -> Option<Self> {
        serde_json::from_str(columns.report()?).ok()
    }
}

/// What became of a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Taken<W> {
    /// What was found in it.
    pub report: Report,
    /// Bytes of Parquet.
    pub bytes: u64,
    /// Where they were written to.
    pub into: W,
}

/// Reads a file, checks it and writes its columns as Parquet. Memory does not grow with the file. What was written is of no
/// use where this gives an error.
///
/// # Errors
///
/// [`Unreadable`], where nothing can be made of the file, or the columns could not be written.
pub fn intake<W: Write + Send>(
    source: impl Read + Send,
    plan: &FilePlan,
    columns: &[ColumnPlan],
    stuck_after: &StuckAfter,
    into: W,
) -> Result<Taken<W>, Unreadable> {
    let channels: Vec<ChannelSpec> = columns.iter().map(|column| column.channel.clone()).collect();
    let mut checked = Checked::new(columns, stuck_after, ColumnsWriter::new(&channels, into)?);
    let passed_over = plan.read(source, columns, &mut checked)?;
    let (quality, writer) = checked.finish();
    if quality.rows == 0 {
        return Err(Unreadable::NoRows);
    }
    let report = Report { quality, passed_over };
    // Every figure in it is finite or absent, so it has a JSON form.
    let written = writer.finish_with(serde_json::to_string(&report).ok())?;
    Ok(Taken { report, bytes: written.bytes, into: written.into })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::Rule;

    const DBC: &str = "BO_ 5 Pack: 8 Pack\n SG_ Voltage : 0|16@1+ (0.1,0) [0|900] \"V\" Pack\n";

    fn candump() -> FilePlan {
        FilePlan::Candump(CandumpPlan { dbc: DBC.to_owned() })
    }

    fn column(name: &str, highest: f64) -> ColumnPlan {
        let channel = ChannelSpec {
            code: "channel".to_owned(),
            unit: String::new(),
            lowest: None,
            highest: Some(highest),
            accuracy: None,
        };
        ColumnPlan { column: name.to_owned(), channel, scale: 1.0, offset: 0.0 }
    }

    fn take(
        plan: &FilePlan,
        file: &str,
        column: &ColumnPlan,
    ) -> Result<Taken<Vec<u8>>, Unreadable> {
        intake(
            file.as_bytes(),
            plan,
            std::slice::from_ref(column),
            &StuckAfter::default(),
            Vec::new(),
        )
    }

    #[test]
    fn a_plan_is_written_with_its_format_and_what_has_to_be_known() {
        let written = [
            (candump(), serde_json::json!({ "format": "candump", "dbc": DBC })),
            (FilePlan::Igc, serde_json::json!({ "format": "igc" })),
            (FilePlan::Nmea, serde_json::json!({ "format": "nmea" })),
            (FilePlan::Gpx, serde_json::json!({ "format": "gpx" })),
        ];
        for (plan, json) in written {
            assert_eq!(serde_json::to_value(&plan).expect("plain data"), json);
            assert_eq!(serde_json::from_value::<FilePlan>(json).expect("a plan"), plan);
        }
        let unknown = serde_json::json!({ "format": "candump", "dbc": DBC, "rate": 1 });
        assert!(serde_json::from_value::<FilePlan>(unknown).is_err());
    }

    #[test]
    fn a_file_of_each_format_is_checked_and_kept_and_tells_what_it_passed_over() {
        let files = [
            (
                candump(),
                "Pack.Voltage",
                "(1.0) c 005#A00F\n(2.0) c 005#0000\n(3.0) c 006#00\n",
                "frames without a mapped signal",
            ),
            (
                FilePlan::Igc,
                "pressure_altitude",
                "AXXX\nHFDTE150724\nB0941145152265N00032642WA0039900116\nB0941155152265N00032642WA0000000116\n",
                "A records",
            ),
            (
                FilePlan::Nmea,
                "track",
                "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,390.4,230394,003.1,W*6C\n\
                 $GPRMC,123520,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*60\n$GPGSA,A*2F\n",
                "GSA",
            ),
            (
                FilePlan::Gpx,
                "elevation",
                "<gpx><wpt/><trk><trkseg><trkpt lat='1' lon='1'><ele>399</ele><time>2024-07-15T09:10:11Z</time></trkpt>\
                 <trkpt lat='1' lon='1'><ele>1</ele><time>2024-07-15T09:10:12Z</time></trkpt></trkseg></trk></gpx>",
                "way points",
            ),
        ];
        for (plan, name, file, passed_over) in files {
            let taken = take(&plan, file, &column(name, 380.0)).expect("a file that can be read");

            assert_eq!(taken.report.quality.rows, 2, "{plan:?}");
            let channel = &taken.report.quality.channels[0];
            assert_eq!((channel.present, channel.missing), (1, 1), "{plan:?}");
            let refused: Vec<_> = channel.refused_by_rule.iter().collect();
            assert_eq!(refused, [(&Rule::AboveHighest, &1)], "{plan:?}");
            assert_eq!(taken.report.passed_over.of(passed_over), 1, "{plan:?}");
            assert!(taken.into.starts_with(b"PAR1"));
        }
    }

    proptest! {
        #[test]
        fn whatever_bytes_come_a_file_of_any_format_is_taken_or_told_why_not(
            bytes in proptest::collection::vec(any::<u8>(), 0..1_000),
        ) {
            let plans =
                [(candump(), "Pack.Voltage"), (FilePlan::Igc, "latitude"), (FilePlan::Nmea, "track"), (FilePlan::Gpx, "speed")];
            for (plan, name) in plans {
                let column = [column(name, 380.0)];
                let taken = intake(bytes.as_slice(), &plan, &column, &StuckAfter::default(), Vec::new());
                prop_assert!(taken.is_err() || taken.is_ok_and(|taken| taken.report.quality.rows > 0));
            }
        }
    }

    fn csv() -> FilePlan {
        let plan = serde_json::json!({
            "format": "csv", "time": { "column": "t", "form": { "form": "unix-seconds" } }
        });
        serde_json::from_value(plan).expect("a plan")
    }

    #[test]
    fn a_plan_for_csv_is_short_where_the_file_is_as_usual_and_refuses_what_it_does_not_know() {
        let whole = serde_json::json!({
            "format": "csv", "delimiter": null, "decimal": ".", "header_line": 1, "unit_row": false,
            "time": { "column": "t", "form": { "form": "unix-seconds" } }
        });
        assert_eq!(serde_json::to_value(csv()).expect("plain data"), whole);
        let mut unknown = whole;
        unknown["decimals"] = serde_json::json!(",");
        assert!(serde_json::from_value::<FilePlan>(unknown).is_err());
    }

    #[test]
    fn what_reading_and_checking_refuse_is_told_in_the_order_of_the_file() {
        let tenths = ColumnPlan { scale: 0.1, ..column("oil", 150.0) };
        let text = "t,oil\n10,900\n11,hot\n11,910\n12,1501\n13,920\n";
        let taken = take(&csv(), text, &tenths).expect("a file");
        let told: Vec<_> =
            taken.report.quality.refused.iter().map(|one| (one.line, one.rule)).collect();
        assert_eq!(told, [(3, Rule::NotANumber), (4, Rule::TimeDoubled), (5, Rule::AboveHighest)]);
        let channel = &taken.report.quality.channels[0];
        assert_eq!((taken.report.quality.rows, channel.present, channel.missing), (4, 2, 2));

        let columns = Columns::open(bytes::Bytes::from(taken.into)).expect("columns");
        let (first, last) = columns.span().expect("rows");
        let window = columns.read(&["channel"], first, last).expect("a window");
        let series = window.series(0).expect("one channel");
        let present: Vec<_> = series.present().map(|(at, value)| (at.0, value)).collect();
        assert_eq!(present, [(10_000_000, 90.0), (13_000_000, 92.0)]);
    }

    #[test]
    fn a_file_without_any_row_is_refused() {
        assert!(matches!(take(&csv(), "t,oil\n", &column("oil", 1.0)), Err(Unreadable::NoRows)));
    }
}
