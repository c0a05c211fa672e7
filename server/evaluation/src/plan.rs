//! From a recorder's mapping to a plan by which its files are read.

use chrono::{DateTime, Utc};
use programme::codes::ChannelCode;
use programme::nouns::{Channel, MappedColumn, Recorder, RecorderFile, TimeForm};
use programme::state::State;
use recordings::format::candump::CandumpPlan;
use recordings::format::csv::{self, CsvPlan, TimePlan};
use recordings::{ChannelSpec, ColumnPlan, FilePlan, Micros};

/// The most columns that are read at a time: with more, what is packed grows beyond what a server has to spare.
pub const MOST_COLUMNS: usize = 800;

/// How the files of a recorder are read.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadingPlan {
    /// The format.
    pub file: FilePlan,
    /// Which column becomes which channel.
    pub columns: Vec<ColumnPlan>,
}

/// Why no file of a recorder can be read as things stand.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoPlan {
    /// The files tell no date.
    #[error(
        "the files of this recorder do not say when they were recorded: give the moment at which the file began"
    )]
    NeedsStart,
    /// A channel of the mapping is not defined, or has another kind of unit by now.
    #[error(
        "column \"{column}\" is mapped to {channel}, whose unit does not compare with the mapping's"
    )]
    Unit {
        /// The column.
        column: String,
        /// The channel.
        channel: ChannelCode,
    },
    /// A channel of the mapping is not defined.
    #[error("column \"{column}\" is mapped to {channel}, which is no channel of the programme")]
    NoChannel {
        /// The column.
        column: String,
        /// The channel.
        channel: ChannelCode,
    },
    /// More columns than are read at a time.
    #[error(
        "the recorder maps {found} columns, and at most {MOST_COLUMNS} are read: part it into two recorders"
    )]
    TooMany {
        /// How many.
        found: usize,
    },
}

/// How a recorder's file is read. `began` is the moment at which the file begins, for those that do not say so.
///
/// # Errors
///
/// Every [`NoPlan`].
pub fn plan(
    recorder: &Recorder,
    state: &State,
    began: Option<DateTime<Utc>>,
) -> Result<ReadingPlan, Vec<NoPlan>> {
    let mut faults = Vec::new();
    if recorder.columns.len() > MOST_COLUMNS {
        faults.push(NoPlan::TooMany { found: recorder.columns.len() });
    }
    let file = file_plan(&recorder.file, began).map_err(|fault| faults.push(fault)).ok();
    let mut columns = Vec::with_capacity(recorder.columns.len());
    for mapped in &recorder.columns {
        match column_plan(mapped, state.channels.get(&mapped.channel)) {
            Ok(column) => columns.push(column),
            Err(fault) => faults.push(fault),
        }
    }
    match file {
        Some(file) if faults.is_empty() => Ok(ReadingPlan { file, columns }),
        _ => Err(faults),
    }
}

/// The format of a recorder's files.
///
/// # Errors
///
/// [`NoPlan::NeedsStart`].
fn file_plan(file: &RecorderFile, began: Option<DateTime<Utc>>) -> Result<FilePlan, NoPlan> {
    Ok(match file {
        RecorderFile::Csv { delimiter, decimal, header_line, unit_row, time } => {
            FilePlan::Csv(CsvPlan {
                delimiter: *delimiter,
                decimal: decimal.as_char(),
                header_line: u64::from(header_line.unwrap_or(1)),
                unit_row: *unit_row,
                time: TimePlan { column: time.column.clone(), form: time_form(time.form, began)? },
            })
        }
        RecorderFile::Candump { dbc } => FilePlan::Candump(CandumpPlan { dbc: dbc.clone() }),
        RecorderFile::Igc {} => FilePlan::Igc,
        RecorderFile::Nmea {} => FilePlan::Nmea,
        RecorderFile::Gpx {} => FilePlan::Gpx,
    })
}

fn time_form(form: TimeForm, began: Option<DateTime<Utc>>) -> Result<csv::TimeForm, NoPlan> {
    let began = || began.ok_or(NoPlan::NeedsStart);
    Ok(match form {
        TimeForm::Iso8601 => csv::TimeForm::Iso8601 { utc_without_offset: false },
        TimeForm::Iso8601Utc => csv::TimeForm::Iso8601 { utc_without_offset: true },
        TimeForm::UnixS => csv::TimeForm::UnixSeconds,
        TimeForm::UnixMs => csv::TimeForm::UnixMillis,
        TimeForm::SecondsSinceStart => {
            csv::TimeForm::SecondsSinceStart { start: Micros(began()?.timestamp_micros()) }
        }
        TimeForm::ClockUtc => csv::TimeForm::ClockUtc { date: began()?.date_naive() },
    })
}

fn column_plan(mapped: &MappedColumn, channel: Option<&Channel>) -> Result<ColumnPlan, NoPlan> {
    let (column, code) = (mapped.column.clone(), mapped.channel.clone());
    let Some(channel) = channel else {
        return Err(NoPlan::NoChannel { column, channel: code });
    };
    let Some(linear) = mapped.plan(channel) else {
        return Err(NoPlan::Unit { column, channel: code });
    };
    Ok(ColumnPlan {
        column,
        channel: channel_spec(channel),
        scale: linear.scale,
        offset: linear.offset,
    })
}

/// A channel of the programme as it is wanted of a file.
pub fn channel_spec(channel: &Channel) -> ChannelSpec {
    ChannelSpec {
        code: channel.code.to_string(),
        unit: channel.unit.to_string(),
        lowest: channel.lowest,
        highest: channel.highest,
        accuracy: channel.accuracy,
    }
}
