//! Points as an Office Open XML workbook.

use std::io::{Cursor, Read};

use calamine::{DataRef, Reader, Xlsx};

use super::numbers::Numbers;
use super::rows::{self, Row};
use super::{MOST_COLUMNS, PointsTable};
use crate::document::{LARGEST_DOCUMENT, MOST_POINTS};
use crate::refusal::Fault;

/// The most that a workbook may unfold to, in bytes.
const LARGEST_UNFOLDED: u64 = 64 * 1024 * 1024;

/// The most parts that a workbook may have.
const MOST_PARTS: usize = 1000;

/// Reads points from the first sheet of a workbook. Numbers and texts are read as they stand, of formulas the values
/// that were saved.
///
/// # Errors
///
/// Every fault, each with its row and column; also a workbook that unfolds to more than 64 MiB.
pub fn read_xlsx(file: &[u8]) -> Result<PointsTable, Vec<Fault>> {
    let fault = |why: String| vec![Fault::at("file", why)];
    if file.len() > LARGEST_DOCUMENT {
        return Err(fault(format!(
            "is larger than {} MiB; split it",
            LARGEST_DOCUMENT / 1024 / 1024
        )));
    }
    unfolds_within_bounds(file).map_err(fault)?;
    let mut workbook: Xlsx<_> = Xlsx::new(Cursor::new(file))
        .map_err(|error| fault(format!("is no workbook that can be read: {error}")))?;
    let sheet =
        workbook.sheet_names().first().cloned().ok_or_else(|| fault("has no sheet".to_owned()))?;
    let rows = rows_of(&mut workbook, &sheet)?;
    rows::read(rows, "row", Numbers { decimal_comma: false })
}

/// Sizes told by a file can lie, so each part is unfolded and counted before anything is built from it.
fn unfolds_within_bounds(file: &[u8]) -> Result<(), String> {
    let no_workbook = "is no workbook: save the sheet as .xlsx";
    let mut archive =
        zip::ZipArchive::new(Cursor::new(file)).map_err(|_| no_workbook.to_owned())?;
    if archive.len() > MOST_PARTS {
        return Err(format!("has more than {MOST_PARTS} parts"));
    }
    let mut left = LARGEST_UNFOLDED;
    for place in 0..archive.len() {
        let part = archive.by_index(place).map_err(|_| no_workbook.to_owned())?;
        let unfolded = std::io::copy(&mut part.take(left + 1), &mut std::io::sink())
            .map_err(|_| "is damaged: save it again".to_owned())?;
        left = left.checked_sub(unfolded).ok_or_else(|| {
            format!("unfolds to more than {} MiB", LARGEST_UNFOLDED / 1024 / 1024)
        })?;
    }
    Ok(())
}

/// Cell by cell, so that one far cell does not lay out a whole sheet in memory.
fn rows_of(workbook: &mut Xlsx<Cursor<&[u8]>>, sheet: &str) -> Result<Vec<Row>, Vec<Fault>> {
    let unreadable = |error: calamine::XlsxError| {
        vec![Fault::at("file", format!("the first sheet cannot be read: {error}"))]
    };
    let mut cells = workbook.worksheet_cells_reader(sheet).map_err(unreadable)?;
    let mut rows: Vec<Row> = Vec::new();
    let mut faults = Vec::new();
    let mut left = LARGEST_UNFOLDED;
    while let Some(cell) = cells.next_cell().map_err(unreadable)? {
        let (row, column) = cell.get_position();
        let number = row as usize + 1;
        let at = || format!("row {number}, column {}", letters(column));
        let text = match cell.get_value() {
            DataRef::Empty => continue,
            DataRef::String(text) => text.clone(),
            DataRef::SharedString(text) => (*text).to_owned(),
            DataRef::Float(figure) => figure.to_string(),
            DataRef::Int(figure) => figure.to_string(),
            DataRef::Bool(value) => value.to_string(),
            DataRef::DateTime(_) | DataRef::DateTimeIso(_) | DataRef::DurationIso(_) => {
                faults.push(Fault::at(at(), "is a date or time: format the cell as text"));
                continue;
            }
            DataRef::Error(error) => {
                faults.push(Fault::at(at(), format!("holds the error {error}")));
                continue;
            }
        };
        if text.trim().is_empty() {
            continue;
        }
        if column as usize >= MOST_COLUMNS {
            faults.push(Fault::at(at(), "lies outside the columns of points"));
            continue;
        }
        left = left.checked_sub(text.len() as u64).ok_or_else(|| {
            vec![Fault::at(
                "file",
                format!("holds more than {} MiB", LARGEST_UNFOLDED / 1024 / 1024),
            )]
        })?;
        if rows.last().is_none_or(|last| last.number != number) {
            if rows.len() > MOST_POINTS + 1 || faults.len() > MOST_POINTS {
                break;
            }
            rows.push(Row { number, cells: Vec::new() });
        }
        if let Some(last) = rows.last_mut() {
            let place = column as usize;
            if last.cells.len() <= place {
                last.cells.resize(place + 1, String::new());
            }
            last.cells[place] = text;
        }
    }
    if faults.is_empty() { Ok(rows) } else { Err(faults) }
}

/// A column as sheets name it: A to Z, AA, AB …
fn letters(column: u32) -> String {
    let mut left = column + 1;
    let mut letters = Vec::new();
    while left > 0 {
        let digit = u8::try_from((left - 1) % 26).unwrap_or(0);
        letters.push(char::from(b'A' + digit));
        left = (left - 1) / 26;
    }
    letters.iter().rev().collect()
}
