//! Columns of a recorder's files and how their rows are read, as a form offers them.

use evaluation::mapping::ColumnSeen;
use programme::nouns::{DecimalMark, MappedColumn, RecorderFile, TimeForm};

use crate::pages::words::rounded;

/// A column that can be mapped.
#[derive(Debug, Clone, Default)]
pub(crate) struct Column {
    pub name: String,
    /// What is known of it: unit, span, remarks.
    pub about: String,
    /// The channel that is offered at first.
    pub channel: String,
    pub unit: String,
    pub scale: Option<f64>,
    pub inverted: bool,
    /// Channels that it may be, and why.
    pub may_be: Vec<(String, String)>,
}

/// How rows of text are read.
#[derive(Debug, Clone)]
pub(crate) struct Rows {
    pub delimiter: Option<char>,
    pub decimal: DecimalMark,
    pub header_line: u32,
    pub unit_row: bool,
    pub time_column: String,
    pub time_form: TimeForm,
}

pub(super) fn rows_of(file: &RecorderFile) -> Option<Rows> {
    match file {
        RecorderFile::Csv { delimiter, decimal, header_line, unit_row, time } => Some(Rows {
            delimiter: *delimiter,
            decimal: *decimal,
            header_line: header_line.unwrap_or(1),
            unit_row: *unit_row,
            time_column: time.column.clone(),
            time_form: time.form,
        }),
        _ => None,
    }
}

pub(super) fn json(file: &RecorderFile) -> String {
    serde_json::to_string(file).unwrap_or_default()
}

pub(super) fn mapped(column: &MappedColumn) -> Column {
    Column {
        name: column.column.clone(),
        channel: column.channel.to_string(),
        unit: column.unit.as_str().to_owned(),
        scale: Some(column.scale),
        inverted: column.inverted,
        ..Column::default()
    }
}

pub(super) fn seen(column: &ColumnSeen, draft: Option<&MappedColumn>) -> Column {
    let mut about = Vec::new();
    if let Some(text) = &column.unit_text {
        about.push(format!("the file calls its unit \"{text}\""));
    }
    if let (Some(least), Some(greatest)) = (column.least, column.greatest) {
        about.push(format!("figures from {} to {}", rounded(least), rounded(greatest)));
    }
    about.extend(column.remarks.iter().cloned());
    let may_be = column.may_be.iter().map(|it| (it.channel.to_string(), it.why.join(" ")));
    let first_unit = column.unit.or_else(|| column.may_be.first().map(|it| it.unit));
    Column {
        name: column.column.clone(),
        about: about.join("; "),
        channel: draft.map(|it| it.channel.to_string()).unwrap_or_default(),
        unit: draft
            .map(|it| it.unit)
            .or(first_unit)
            .map(|unit| unit.as_str().to_owned())
            .unwrap_or_default(),
        scale: draft.map(|it| it.scale).or(column.scale),
        inverted: draft.is_some_and(|it| it.inverted),
        may_be: may_be.collect(),
    }
}

/// The word of a form of moments as forms send it.
pub(super) fn word(form: TimeForm) -> String {
    let word = serde_json::to_value(form).ok();
    word.and_then(|word| word.as_str().map(str::to_owned)).unwrap_or_default()
}

pub(super) fn told(form: TimeForm) -> String {
    let words = match form {
        TimeForm::Iso8601 => "date and time with its offset, 2026-05-02T09:04:40Z",
        TimeForm::Iso8601Utc => "date and time, in UTC where no offset stands there",
        TimeForm::UnixS => "seconds since 1970-01-01 00:00 UTC",
        TimeForm::UnixMs => "milliseconds since 1970-01-01 00:00 UTC",
        TimeForm::SecondsSinceStart => "seconds since the recording began",
        TimeForm::ClockUtc => "time of the day in UTC, 09:04:40",
        TimeForm::MillisecondsSinceStart => "milliseconds since the recording began",
        TimeForm::DottedDateUtc => "day.month.year and time, in UTC: 17.05.2026 08:30:00",
    };
    words.to_owned()
}
