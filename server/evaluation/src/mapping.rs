//! Help with the mapping of a file that nobody has mapped yet.
//!
//! Nothing of it is applied: it is an offer, with its reasons, to whoever describes the recorder and sends that.

mod candidates;
mod sheet;
#[cfg(test)]
mod tests;
mod time;
mod unit_words;
mod words;

use std::collections::BTreeSet;

use programme::codes::ChannelCode;
use programme::measure::Unit;
use programme::nouns::{Channel, DecimalMark, MappedColumn, RecorderFile, TimeColumn, TimeForm};
use recordings::format::Field;
use serde::Serialize;

pub use self::candidates::Candidate;
use self::candidates::Ranked;
pub use self::sheet::{Known, Sheet};
pub use self::time::TimeSeen;
use self::unit_words::Meant;

/// Rows that are shown.
const SHOWN_ROWS: usize = 5;

/// One column of a file, and the channels that it may be.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct ColumnSeen {
    /// Its place, from 1.
    pub place: usize,
    /// What the file calls it; a mapping names it so.
    pub column: String,
    /// Its unit, as the file writes it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit_text: Option<String>,
    /// The unit that this means, or that the name ends with.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    /// What one in the file stands for, in `unit`, where that is not one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scale: Option<f64>,
    /// The least figure in what was looked at, as it stands in the file.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub least: Option<f64>,
    /// The greatest figure in what was looked at, as it stands in the file.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub greatest: Option<f64>,
    /// What is to be known of it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub remarks: Vec<String>,
    /// Channels that it may be, best first.
    pub may_be: Vec<Candidate>,
}

/// A recorder as far as it could be filled in: what a PUT wants once the gaps are filled.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct RecorderDraft {
    /// To be filled in.
    pub code: String,
    /// To be filled in.
    pub title: String,
    /// The files that it writes.
    pub file: RecorderFile,
    /// Columns whose names and units speak for one channel.
    pub columns: Vec<MappedColumn>,
}

/// What was found at the beginning of a file.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
#[schema(as = FileSeen)]
pub struct Proposal {
    /// What has to be filled in or made sure of before the draft is sent, each in a sentence.
    pub gaps: Vec<String>,
    /// What parts cells; absent where the format says it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub delimiter: Option<char>,
    /// How the fraction of a number is written; absent where the format says it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub decimal: Option<DecimalMark>,
    /// The line of the header, from 1; absent where the format says it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub header_line: Option<u32>,
    /// Whether a row of units follows the header; absent where the format says it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit_row: Option<bool>,
    /// Columns that may have the moments of rows, the likeliest first; none where the format says it.
    pub time: Vec<TimeSeen>,
    /// The first rows as they stand in the file.
    pub first_rows: Vec<Vec<String>>,
    /// Its columns, and the channels that each may be.
    pub columns: Vec<ColumnSeen>,
    /// A draft that can be sent as PUT /recorders/{recorder} once the gaps are filled.
    pub recorder: RecorderDraft,
}

/// What a file of rows offers, by its beginning.
pub fn of_rows<'a>(sheet: &Sheet, channels: impl Iterator<Item = &'a Channel> + Clone) -> Proposal {
    let time = time::columns(sheet);
    let of_time = time.first().map(|(place, _)| *place);
    let mut seen = Vec::new();
    for (place, header) in sheet.headers.iter().enumerate() {
        let (name, _) = unit_words::of_header(header);
        let unit = unit_at(sheet, place);
        let words_of_unit = words_of_unit(sheet, place);
        let span = span(sheet, place);
        let twice = sheet.headers.iter().filter(|other| *other == header).count() > 1;
        let usable = !header.is_empty() && !twice && Some(place) != of_time;
        let column = candidates::Column { name, unit, words_of_unit, span };
        let ranked = if usable && span.is_some() {
            candidates::of(column, channels.clone())
        } else {
            Vec::new()
        };
        let mut remarks = Vec::new();
        if header.is_empty() {
            remarks.push("It has no name, so that no mapping can name it.".to_owned());
        } else if twice {
            remarks.push(
                "Another column has the same name, so that a mapping cannot tell which is meant."
                    .to_owned(),
            );
        } else if Some(place) == of_time {
            remarks.push("It is likely to have the moments of the rows.".to_owned());
        } else if span.is_none() {
            remarks.push("It has no figures in what was looked at.".to_owned());
        }
        let unit_text = unit_text(sheet, place);
        seen.push((column_seen(place, header, unit_text, unit, span, remarks), ranked, unit));
    }
    let time: Vec<TimeSeen> = time.into_iter().map(|(_, time)| time).collect();
    let file = RecorderFile::Csv {
        delimiter: Some(sheet.delimiter),
        decimal: sheet.decimal,
        header_line: (sheet.header_line != 1).then_some(sheet.header_line),
        unit_row: sheet.units.is_some(),
        time: time.first().map_or_else(
            || TimeColumn { column: String::new(), form: TimeForm::Iso8601 },
            |time| TimeColumn { column: time.column.clone(), form: time.form },
        ),
    };
    let mut proposal = put_together(seen, file);
    match time.first() {
        None => proposal.gaps.push(
            "file.time: no column was found that has the moments of rows. Name it and its form."
                .to_owned(),
        ),
        Some(time) => proposal.gaps.push(format!("file.time: make sure of it: {}.", time.why)),
    }
    proposal.delimiter = Some(sheet.delimiter);
    proposal.decimal = Some(sheet.decimal);
    proposal.header_line = Some(sheet.header_line);
    proposal.unit_row = Some(sheet.units.is_some());
    proposal.time = time;
    proposal.first_rows = sheet.rows.iter().take(SHOWN_ROWS).cloned().collect();
    proposal
}

/// What a file of another format offers, by the fields that its format has.
pub fn of_fields<'a>(
    fields: &[Field],
    file: RecorderFile,
    channels: impl Iterator<Item = &'a Channel> + Clone,
) -> Proposal {
    let seen = fields.iter().enumerate().map(|(place, field)| {
        let unit = field.unit.as_deref().and_then(unit_words::meant);
        // What a signal is called stands behind the message.
        let name = field.name.rsplit_once('.').map_or(field.name.as_str(), |(_, signal)| signal);
        let column = candidates::Column { name, unit, words_of_unit: 0, span: None };
        let ranked = candidates::of(column, channels.clone());
        let span = field.lowest.zip(field.highest);
        let text = field.unit.clone();
        (column_seen(place, &field.name, text, unit, span, Vec::new()), ranked, unit)
    });
    put_together(seen.collect(), file)
}

fn column_seen(
    place: usize,
    header: &str,
    unit_text: Option<String>,
    unit: Option<Meant>,
    span: Option<(f64, f64)>,
    remarks: Vec<String>,
) -> ColumnSeen {
    ColumnSeen {
        place: place + 1,
        column: header.to_owned(),
        unit_text,
        unit: unit.map(|meant| meant.unit),
        scale: unit.map(|meant| meant.scale).filter(|scale| *scale != 1.0),
        least: span.map(|(least, _)| least),
        greatest: span.map(|(_, greatest)| greatest),
        remarks,
        may_be: Vec::new(),
    }
}

/// The answer, with a draft in which no channel comes twice: the column for which most speaks has it.
fn put_together(
    seen: Vec<(ColumnSeen, Vec<Ranked>, Option<Meant>)>,
    file: RecorderFile,
) -> Proposal {
    let mut order: Vec<(i32, usize, ChannelCode)> = seen
        .iter()
        .enumerate()
        .flat_map(|(place, (_, ranked, _))| {
            let likely = ranked.iter().filter(|ranked| ranked.candidate.likely);
            likely.map(move |ranked| (-ranked.points, place, ranked.candidate.channel.clone()))
        })
        .collect();
    order.sort();
    let (mut placed, mut given) = (BTreeSet::new(), BTreeSet::new());
    let mut mapped = Vec::new();
    for (_, place, channel) in order {
        if placed.contains(&place) || given.contains(&channel) {
            continue;
        }
        let (column, _, Some(unit)) = &seen[place] else { continue };
        placed.insert(place);
        given.insert(channel.clone());
        mapped.push((
            place,
            MappedColumn {
                column: column.column.clone(),
                channel,
                unit: unit.unit,
                scale: unit.scale,
                inverted: false,
            },
        ));
    }
    mapped.sort_by_key(|(place, _)| *place);
    let mut gaps = vec!["code and title: say how the recorder is called.".to_owned()];
    if mapped.is_empty() {
        gaps.push("columns: no column speaks for one channel. Map at least one.".to_owned());
    } else {
        gaps.push(
            "columns: make sure of each, also of its sign, and add what is missing.".to_owned(),
        );
    }
    let columns = seen.into_iter().map(|(mut column, ranked, _)| {
        column.may_be = ranked.into_iter().map(|ranked| ranked.candidate).collect();
        column
    });
    Proposal {
        gaps,
        delimiter: None,
        decimal: None,
        header_line: None,
        unit_row: None,
        time: Vec::new(),
        first_rows: Vec::new(),
        columns: columns.collect(),
        recorder: RecorderDraft {
            code: String::new(),
            title: String::new(),
            file,
            columns: mapped.into_iter().map(|(_, column)| column).collect(),
        },
    }
}

/// The unit of a column: of the row of units, else in brackets of the header, else what its name ends with.
fn unit_at(sheet: &Sheet, place: usize) -> Option<Meant> {
    let header = sheet.headers.get(place)?;
    let of_row = || unit_words::meant(sheet.units.as_ref()?.get(place)?);
    let ending = || unit_words::of_ending(&words::of(header)).map(|(meant, _)| meant);
    of_row().or_else(|| unit_words::of_header(header).1).or_else(ending)
}

/// How many of the last words of a header are its unit.
fn words_of_unit(sheet: &Sheet, place: usize) -> usize {
    let Some(header) = sheet.headers.get(place) else { return 0 };
    let (name, in_brackets) = unit_words::of_header(header);
    let ending = unit_words::of_ending(&words::of(name));
    match (in_brackets, ending) {
        (None, Some((meant, count))) if unit_at(sheet, place) == Some(meant) => count,
        _ => 0,
    }
}

/// A column's unit as the file writes it.
fn unit_text(sheet: &Sheet, place: usize) -> Option<String> {
    let text = sheet.units.as_ref()?.get(place)?;
    (!text.is_empty()).then(|| text.clone())
}

/// The least and the greatest figure of a column.
fn span(sheet: &Sheet, place: usize) -> Option<(f64, f64)> {
    let figures = sheet.column(place).filter_map(|cell| sheet.number(cell));
    figures.fold(None, |span, figure| match span {
        None => Some((figure, figure)),
        Some((least, greatest)) => Some((figure.min(least), figure.max(greatest))),
    })
}
