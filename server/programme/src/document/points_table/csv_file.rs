//! Points as comma- or semicolon-separated text.

use super::numbers::Numbers;
use super::rows::{self, Row};
use super::{COLUMNS, MOST_COLUMNS, PointsTable, notation, texts};
use crate::document::{LARGEST_DOCUMENT, MOST_POINTS};
use crate::nouns::Point;
use crate::refusal::Fault;

/// Reads points from CSV: UTF-8, with or without a byte order mark, lines ended by LF or CRLF, cells separated by
/// commas or semicolons. In a file separated by semicolons a decimal comma is read too.
///
/// # Errors
///
/// Every fault, each with its line and column.
pub fn read_csv(file: &[u8]) -> Result<PointsTable, Vec<Fault>> {
    if file.len() > LARGEST_DOCUMENT {
        return Err(vec![Fault::at(
            "file",
            format!("is larger than {} MiB; split it", LARGEST_DOCUMENT / 1024 / 1024),
        )]);
    }
    let text = std::str::from_utf8(file).map_err(|error| {
        let line = file[..error.valid_up_to()].iter().filter(|byte| **byte == b'\n').count() + 1;
        vec![Fault::at(format!("line {line}"), "is not UTF-8 text: save the sheet as CSV UTF-8")]
    })?;
    let text = text.trim_start_matches('\u{feff}');
    // Spreadsheets may write the separator in a line of its own before all else.
    let told = text.lines().next().and_then(|line| line.trim_end().strip_prefix("sep="));
    let (text, lines_before, separator) = match told {
        Some(separator) => {
            let rest = text.split_once('\n').map_or("", |(_, rest)| rest);
            (rest, 1, separator.bytes().next().unwrap_or(b','))
        }
        None => (text, 0, separator_of(text)),
    };
    if !matches!(separator, b',' | b';') {
        return Err(vec![Fault::at("line 1", "cells must be separated by commas or semicolons")]);
    }
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator)
        .from_reader(text.as_bytes());
    let mut read = Vec::new();
    let (mut line, mut counted) = (lines_before + 1, 0);
    for record in reader.records() {
        let record =
            record.map_err(|error| vec![Fault::at("file", format!("is no CSV: {error}"))])?;
        // What follows is told as too many; a sheet of nothing but separators does not fill the memory.
        if read.len() > MOST_POINTS + 1 {
            break;
        }
        // The reader's own count lags behind where lines end with CRLF, and blank lines come before a record.
        let at = record.position().map_or(0, csv::Position::byte);
        let at = usize::try_from(at).unwrap_or(usize::MAX).min(text.len());
        let blank = text.as_bytes()[at..].iter().take_while(|byte| matches!(byte, b'\r' | b'\n'));
        let begin = at + blank.count();
        line += text.as_bytes()[counted..begin].iter().filter(|byte| **byte == b'\n').count();
        counted = begin;
        if record.len() > MOST_COLUMNS {
            let why =
                format!("has more than {MOST_COLUMNS} cells; there are {} columns", COLUMNS.len());
            return Err(vec![Fault::at(format!("line {line}"), why)]);
        }
        if record.iter().any(|cell| !cell.trim().is_empty()) {
            read.push(Row { number: line, cells: record.iter().map(str::to_owned).collect() });
        }
    }
    rows::read(read, "line", Numbers { decimal_comma: separator == b';' })
}

/// The names of columns hold neither commas nor semicolons, so the first line tells the separator.
fn separator_of(text: &str) -> u8 {
    let first = text.lines().find(|line| !line.trim().is_empty()).unwrap_or_default();
    if first.contains(';') {
        b';'
    } else if first.contains('\t') && !first.contains(',') {
        b'\t'
    } else {
        b','
    }
}

/// Whether a spreadsheet could take a cell for a formula, so that it is written behind an apostrophe.
pub(super) fn needs_mark(cell: &str) -> bool {
    cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\''])
}

/// Writes points as CSV: UTF-8, commas, CRLF, every column, one row a point.
///
/// # Errors
///
/// Where the rows cannot be put together in memory.
pub fn export_csv<'p>(points: impl IntoIterator<Item = &'p Point>) -> Result<String, csv::Error> {
    let mut writer =
        csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    writer.write_record(COLUMNS)?;
    for point in points {
        writer.write_record(
            cells(point).map(|cell| if needs_mark(&cell) { format!("'{cell}") } else { cell }),
        )?;
    }
    let bytes = writer.into_inner().map_err(|error| error.into_error())?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// In the order of [`COLUMNS`].
fn cells(point: &Point) -> [String; COLUMNS.len()] {
    [
        point.code.to_string(),
        point.title.clone(),
        point.phase.to_string(),
        point.objective.clone(),
        point.technique.clone(),
        notation::write_conditions(&point.conditions),
        if point.axes_together { "yes".to_owned() } else { String::new() },
        point.duration_min.to_string(),
        point.energy_kwh.to_string(),
        notation::write_codes(&point.data_required),
        notation::write_criteria(&point.criteria),
        notation::write_codes(&point.limits),
        texts::joined(&point.stop_criteria),
        notation::write_codes(&point.hazards),
        notation::write_codes(&point.after_points),
        notation::write_codes(&point.after_checks),
        notation::write_codes(&point.after_documents),
        notation::write_crew(&point.crew),
        point.most_on_board.to_string(),
        notation::write_weather(&point.weather),
        notation::write_configuration(&point.configuration),
        notation::write_codes(&point.sensitive_to),
    ]
}
