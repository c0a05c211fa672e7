//! Recorders: what files they write, and which column of a file is which channel.

use serde::{Deserialize, Serialize};

use crate::codes::{ChannelCode, RecorderCode};
use crate::measure::Unit;
use crate::nouns::Channel;
use crate::nouns::judging::Judging;
use crate::refusal::Fault;

/// The greatest text of a CAN database, in bytes.
const LARGEST_DBC: usize = 1024 * 1024;

/// The most columns that one recorder may map.
const MOST_COLUMNS: usize = 2000;

/// The last line on which a header may stand.
const LAST_HEADER_LINE: u32 = 1000;

/// How the fraction of a number is written.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema,
)]
pub enum DecimalMark {
    /// As in 3.712.
    #[default]
    #[serde(rename = ".")]
    Point,
    /// As in 3,712.
    #[serde(rename = ",")]
    Comma,
}

impl DecimalMark {
    /// The mark itself.
    pub const fn as_char(self) -> char {
        match self {
            DecimalMark::Point => '.',
            DecimalMark::Comma => ',',
        }
    }

    const fn is_point(&self) -> bool {
        matches!(self, DecimalMark::Point)
    }
}

/// How the moment of a row is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum TimeForm {
    /// Date and time with its offset from UTC, as ISO 8601 and RFC 3339 have it.
    Iso8601,
    /// As `iso8601`, and in UTC where it has no offset.
    #[serde(rename = "iso8601-utc")]
    Iso8601Utc,
    /// Seconds since 1970-01-01 00:00 UTC.
    UnixS,
    /// Milliseconds since 1970-01-01 00:00 UTC.
    UnixMs,
    /// Seconds since the recording began; whoever uploads it says when that was.
    SecondsSinceStart,
    /// Time of the day in UTC; whoever uploads it says on which day it began.
    ClockUtc,
    /// Milliseconds since the recording began; whoever uploads it says when that was.
    MillisecondsSinceStart,
    /// Day, month and year parted by points, and the time of day, in UTC: `17.05.2026 08:30:00`.
    DottedDateUtc,
}

impl TimeForm {
    /// Every form.
    pub const ALL: [TimeForm; 8] = [
        TimeForm::Iso8601,
        TimeForm::Iso8601Utc,
        TimeForm::UnixS,
        TimeForm::UnixMs,
        TimeForm::SecondsSinceStart,
        TimeForm::ClockUtc,
        TimeForm::MillisecondsSinceStart,
        TimeForm::DottedDateUtc,
    ];

    /// Whether the file alone does not say when it was recorded.
    pub const fn needs_start(self) -> bool {
        match self {
            TimeForm::SecondsSinceStart | TimeForm::MillisecondsSinceStart | TimeForm::ClockUtc => {
                true
            }
            TimeForm::Iso8601
            | TimeForm::Iso8601Utc
            | TimeForm::DottedDateUtc
            | TimeForm::UnixS
            | TimeForm::UnixMs => false,
        }
    }
}

/// Where the moment of a row stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TimeColumn {
    /// The column, as the header has it.
    pub column: String,
    /// How the moment is written.
    pub form: TimeForm,
}

/// The files that a recorder writes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(tag = "format", rename_all = "kebab-case", deny_unknown_fields)]
pub enum RecorderFile {
    /// Rows of text with a header.
    Csv {
        /// What stands between two cells; absent: the file shows it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        delimiter: Option<char>,
        /// How the fraction of a number is written.
        #[serde(default, skip_serializing_if = "DecimalMark::is_point")]
        decimal: DecimalMark,
        /// The line of the header, from 1; absent: the first.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        header_line: Option<u32>,
        /// Whether the row after the header names units.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        unit_row: bool,
        /// Where the moment of a row stands.
        time: TimeColumn,
    },
    /// Frames of a CAN bus as text, as the tool `candump` writes its log.
    Candump {
        /// The database that says what the frames mean, in the DBC format; at most 1 MiB.
        dbc: String,
    },
    /// The flight recorder format of the International Gliding Commission.
    Igc {},
    /// Sentences of NMEA 0183.
    Nmea {},
    /// GPS exchange format.
    Gpx {},
}

impl RecorderFile {
    /// The word for the format.
    pub const fn as_str(&self) -> &'static str {
        match self {
            RecorderFile::Csv { .. } => "csv",
            RecorderFile::Candump { .. } => "candump",
            RecorderFile::Igc {} => "igc",
            RecorderFile::Nmea {} => "nmea",
            RecorderFile::Gpx {} => "gpx",
        }
    }

    fn judge(&self, judging: &mut Judging<'_>) {
        match self {
            RecorderFile::Csv { delimiter, decimal, header_line, unit_row: _, time } => {
                if let Some(delimiter) = delimiter {
                    judge_delimiter(*delimiter, *decimal, judging);
                }
                if let Some(line) = header_line {
                    judging.must(
                        (1..=LAST_HEADER_LINE).contains(line),
                        "file.header_line",
                        format!("must be from 1 to {LAST_HEADER_LINE}, and {line} was given"),
                    );
                }
                judging.title("file.time.column", &time.column);
            }
            RecorderFile::Candump { dbc } => {
                judging.must(!dbc.trim().is_empty(), "file.dbc", "must not be empty");
                judging.must(
                    dbc.len() <= LARGEST_DBC,
                    "file.dbc",
                    format!("must be at most {} KiB of text", LARGEST_DBC / 1024),
                );
                judging.must(
                    !dbc.chars().any(|c| c.is_control() && !matches!(c, '\n' | '\t' | '\r')),
                    "file.dbc",
                    "must be plain text without control characters",
                );
            }
            RecorderFile::Igc {} | RecorderFile::Nmea {} | RecorderFile::Gpx {} => {}
        }
    }
}

fn judge_delimiter(delimiter: char, decimal: DecimalMark, judging: &mut Judging<'_>) {
    let field = "file.delimiter";
    judging.must(
        delimiter != decimal.as_char(),
        field,
        format!("must be another than the decimal mark, which is {} too", decimal.as_char()),
    );
    // Letters, digits, signs and quotes stand inside cells.
    let stands_between = delimiter == '\t'
        || (delimiter.is_ascii() && !delimiter.is_ascii_control())
            && !delimiter.is_ascii_alphanumeric()
            && !matches!(delimiter, '"' | '\'' | '-' | '+' | '.' | '_');
    judging.must(
        stands_between,
        field,
        "must be one sign that stands in no cell, such as a semicolon, a comma or a tab",
    );
}

const fn one() -> f64 {
    1.0
}

fn is_one(scale: &f64) -> bool {
    *scale == 1.0
}

/// One column of a file, and the channel that it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MappedColumn {
    /// What the file calls it: a header of CSV, `Message.Signal` or `interface:Message.Signal` of CAN, a field that the
    /// format defines.
    pub column: String,
    /// The channel.
    pub channel: ChannelCode,
    /// The unit of the file's figures after `scale`; of the channel's kind. Kelvins of a temperature are absolute.
    pub unit: Unit,
    /// What one in the file stands for, in `unit`.
    #[serde(default = "one", skip_serializing_if = "is_one")]
    pub scale: f64,
    /// Whether the file has the opposite sign.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub inverted: bool,
}

/// How a cell's figure becomes a value in the channel's unit: `cell × scale + offset`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LinearPlan {
    /// Factor from the cell's figure to the channel's unit.
    pub scale: f64,
    /// Added after scaling, in the channel's unit.
    pub offset: f64,
}

impl MappedColumn {
    /// How its cells become values in the channel's unit; absent where the units do not compare.
    pub fn plan(&self, channel: &Channel) -> Option<LinearPlan> {
        let conversion = self.unit.conversion_of_readings(channel.unit)?;
        let sign = if self.inverted { -1.0 } else { 1.0 };
        Some(LinearPlan { scale: sign * self.scale * conversion.factor, offset: conversion.offset })
    }
}

/// A recorder, and the mapping of its files' columns to channels.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Recorder {
    /// Its code.
    pub code: RecorderCode,
    /// What it is.
    pub title: String,
    /// The files that it writes.
    pub file: RecorderFile,
    /// Which column is which channel.
    pub columns: Vec<MappedColumn>,
}

impl Recorder {
    /// What is wrong with it when it is looked at alone; `at` is its place in what was given.
    pub fn faults(&self, at: &str) -> Vec<Fault> {
        let mut judging = Judging::of(at);
        judging.title("title", &self.title);
        self.file.judge(&mut judging);
        judging.must(!self.columns.is_empty(), "columns", "must map at least one column");
        if self.columns.len() > MOST_COLUMNS {
            judging.fault("columns", format!("are more than {MOST_COLUMNS}"));
            return judging.done();
        }
        for (place, mapped) in self.columns.iter().enumerate() {
            let field = |name: &str| format!("columns[{place}].{name}");
            judging.title(&field("column"), &mapped.column);
            judging.positive(&field("scale"), mapped.scale);
            let again = |earlier: &MappedColumn| earlier.channel == mapped.channel;
            if self.columns[..place].iter().any(again) {
                let why = format!("{} is already mapped to another column", mapped.channel);
                judging.fault(&field("channel"), why);
            }
        }
        judging.done()
    }

    /// Whether a channel comes from its files.
    pub fn gives(&self, channel: &ChannelCode) -> bool {
        self.columns.iter().any(|mapped| mapped.channel == *channel)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::story::{code, recorder};

    fn places(change: impl FnOnce(&mut Recorder)) -> Vec<String> {
        let mut changed = recorder("R-bms");
        change(&mut changed);
        changed.faults("").into_iter().map(|fault| fault.field).collect()
    }

    fn csv(delimiter: Option<char>, decimal: DecimalMark) -> RecorderFile {
        let time = TimeColumn { column: "time".to_owned(), form: TimeForm::UnixMs };
        RecorderFile::Csv { delimiter, decimal, header_line: None, unit_row: false, time }
    }

    #[test]
    fn no_channel_is_mapped_twice_and_every_column_is_named_and_scaled() {
        assert!(places(|_| {}).is_empty());
        let again = |it: &mut Recorder| it.columns.push(it.columns[0].clone());
        assert_eq!(places(again), ["columns[2].channel"]);
        assert_eq!(places(|it| it.columns.clear()), ["columns"]);
        assert_eq!(places(|it| it.columns[1].column.clear()), ["columns[1].column"]);
        for scale in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(places(|it| it.columns[0].scale = scale), ["columns[0].scale"], "{scale}");
        }
        assert_eq!(places(|it| it.title = " ".to_owned()), ["title"]);
    }

    #[test]
    fn cells_are_parted_by_a_sign_that_stands_in_none_of_them() {
        let found = |delimiter, decimal| places(|it| it.file = csv(Some(delimiter), decimal));
        for good in [';', '\t', '|', ' ', ','] {
            assert!(found(good, DecimalMark::Point).is_empty(), "{good:?}");
        }
        assert_eq!(found(',', DecimalMark::Comma), ["file.delimiter"]);
        for bad in ['"', '5', 'e', '-', 'ä', '\n', '\0'] {
            assert_eq!(found(bad, DecimalMark::Point), ["file.delimiter"], "{bad:?}");
        }
    }

    #[test]
    fn a_header_stands_on_a_line_and_a_database_of_frames_says_something_within_a_mebibyte() {
        let header = |line| {
            places(|it| {
                if let RecorderFile::Csv { header_line, .. } = &mut it.file {
                    *header_line = Some(line);
                }
            })
        };
        assert!(header(1).is_empty() && header(1000).is_empty());
        assert_eq!((header(0), header(1001)), (header(1001), header(0)));
        assert_eq!(header(0), ["file.header_line"]);
        let database = |dbc: String| places(|it| it.file = RecorderFile::Candump { dbc });
        assert!(database("x".repeat(1024 * 1024)).is_empty());
        assert_eq!(database("x".repeat(1024 * 1024 + 1)), ["file.dbc"]);
        assert_eq!(database("\n".to_owned()), ["file.dbc"]);
        assert_eq!(database("BO_\u{7}".to_owned()), ["file.dbc"]);
    }

    #[test]
    fn a_column_becomes_its_channel_by_unit_scale_and_sign() {
        let channel = |unit| Channel {
            code: code("c"),
            title: "A channel".to_owned(),
            unit,
            lowest: None,
            highest: None,
            accuracy: None,
            derived_from: None,
        };
        let column = |unit, scale, inverted| MappedColumn {
            column: "x".to_owned(),
            channel: code("c"),
            unit,
            scale,
            inverted,
        };
        // Tenths of an ampere, positive into the pack; the channel is positive out of it.
        let plan = column(Unit::Ampere, 0.1, true).plan(&channel(Unit::Ampere)).unwrap();
        assert_eq!(plan, LinearPlan { scale: -0.1, offset: 0.0 });
        let plan = column(Unit::Millivolt, 1.0, false).plan(&channel(Unit::Volt)).unwrap();
        assert_eq!(plan, LinearPlan { scale: 0.001, offset: 0.0 });
        // Hundredths of a kelvin.
        let plan = column(Unit::Kelvin, 0.01, false).plan(&channel(Unit::Celsius)).unwrap();
        assert_eq!(plan, LinearPlan { scale: 0.01, offset: -273.15 });
        assert_eq!(column(Unit::Volt, 1.0, false).plan(&channel(Unit::Celsius)), None);
    }
}
