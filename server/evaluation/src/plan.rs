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
        TimeForm::MillisecondsSinceStart => {
            csv::TimeForm::MillisSinceStart { start: Micros(began()?.timestamp_micros()) }
        }
        TimeForm::DottedDateUtc => csv::TimeForm::DottedDateUtc,
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
        unit: channel.unit.as_str().to_owned(),
        lowest: channel.lowest,
        highest: channel.highest,
        accuracy: channel.accuracy,
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic)]
    use programme::codes::RecorderCode;
    use programme::measure::Unit;
    use programme::nouns::{DecimalMark, TimeColumn};

    use super::*;

    fn channel(name: &str, unit: Unit) -> Channel {
        Channel {
            code: ChannelCode::new(name).unwrap(),
            title: name.to_owned(),
            unit,
            lowest: Some(-40.0),
            highest: Some(250.0),
            accuracy: Some(1.5),
            derived_from: None,
        }
    }

    fn column(column: &str, channel: &str, unit: Unit) -> MappedColumn {
        MappedColumn {
            column: column.to_owned(),
            channel: ChannelCode::new(channel).unwrap(),
            unit,
            scale: 0.1,
            inverted: true,
        }
    }

    fn state() -> State {
        let mut state = State::default();
        for known in [channel("winding", Unit::Celsius), channel("pack", Unit::Volt)] {
            state.channels.insert(known.code.clone(), known);
        }
        state
    }

    fn csv(form: TimeForm) -> RecorderFile {
        RecorderFile::Csv {
            delimiter: Some(';'),
            decimal: DecimalMark::Comma,
            header_line: Some(3),
            unit_row: true,
            time: TimeColumn { column: "t".to_owned(), form },
        }
    }

    fn recorder(file: RecorderFile, columns: Vec<MappedColumn>) -> Recorder {
        let code = RecorderCode::new("R-motor").unwrap();
        Recorder { code, title: "Motor controller".to_owned(), file, columns }
    }

    #[test]
    fn a_mapping_becomes_a_plan_with_unit_scale_and_sign_worked_in() {
        let mapped =
            vec![column("w", "winding", Unit::Kelvin), column("u", "pack", Unit::Millivolt)];
        let plan = plan(&recorder(csv(TimeForm::Iso8601), mapped), &state(), None).unwrap();

        let FilePlan::Csv(file) = plan.file else { panic!("a plan for CSV") };
        assert_eq!((file.delimiter, file.decimal, file.header_line), (Some(';'), ',', 3));
        assert!(file.unit_row);
        let [winding, pack] = &plan.columns[..] else { panic!("two columns") };
        assert_eq!((winding.scale, winding.offset), (-0.1, -273.15));
        assert!((pack.scale + 0.0001).abs() < 1e-18);
        assert_eq!((winding.channel.lowest, winding.channel.accuracy), (Some(-40.0), Some(1.5)));
        assert_eq!(winding.channel.unit, "degC");
    }

    #[test]
    fn a_file_that_does_not_tell_its_day_is_read_only_with_the_moment_it_began() {
        let began: DateTime<Utc> = "2026-05-02T08:00:00Z".parse().unwrap();
        let mapped = vec![column("w", "winding", Unit::Celsius)];
        for form in TimeForm::ALL {
            let recorder = recorder(csv(form), mapped.clone());
            let without = plan(&recorder, &state(), None);
            if form.needs_start() {
                assert_eq!(without, Err(vec![NoPlan::NeedsStart]), "{form:?}");
            } else {
                assert!(without.is_ok(), "{form:?}");
            }
            let FilePlan::Csv(file) = plan(&recorder, &state(), Some(began)).unwrap().file else {
                panic!("a plan for CSV")
            };
            match file.time.form {
                csv::TimeForm::SecondsSinceStart { start }
                | csv::TimeForm::MillisSinceStart { start } => {
                    assert_eq!(start.to_utc(), Some(began));
                }
                csv::TimeForm::ClockUtc { date } => assert_eq!(date, began.date_naive()),
                csv::TimeForm::Iso8601 { utc_without_offset } => {
                    assert_eq!(utc_without_offset, form == TimeForm::Iso8601Utc);
                }
                csv::TimeForm::UnixSeconds => assert_eq!(form, TimeForm::UnixS),
                csv::TimeForm::UnixMillis => assert_eq!(form, TimeForm::UnixMs),
                csv::TimeForm::DottedDateUtc => assert_eq!(form, TimeForm::DottedDateUtc),
            }
        }
    }

    #[test]
    fn everything_that_is_wrong_with_a_mapping_is_told_at_once() {
        let mapped = vec![column("w", "winding", Unit::Volt), column("x", "nothing", Unit::Volt)];
        let told = plan(&recorder(csv(TimeForm::ClockUtc), mapped), &state(), None).unwrap_err();
        let said: Vec<String> = told.iter().map(ToString::to_string).collect();
        assert_eq!(said.len(), 3, "{said:?}");
        assert!(matches!(told[0], NoPlan::NeedsStart));
        assert!(said[1].contains("\"w\" is mapped to winding"), "{}", said[1]);
        assert!(said[2].contains("nothing, which is no channel"), "{}", said[2]);
    }

    #[test]
    fn more_columns_than_memory_allows_for_are_refused() {
        let many = |count: usize| {
            let columns = vec![column("w", "winding", Unit::Celsius); count];
            plan(&recorder(RecorderFile::Igc {}, columns), &state(), None)
        };
        assert!(many(MOST_COLUMNS).is_ok());
        assert_eq!(many(MOST_COLUMNS + 1), Err(vec![NoPlan::TooMany { found: MOST_COLUMNS + 1 }]));
    }
}
