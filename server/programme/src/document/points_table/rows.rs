//! Rows into points: the same for text files and sheets.

use std::collections::HashMap;

use super::notation::{self, Read};
use super::numbers::Numbers;
use super::{COLUMNS, PointsTable, RowPlaces, texts};
use crate::document::MOST_POINTS;
use crate::nouns::Point;
use crate::refusal::Fault;

/// The most faults that are told at once.
const MOST_FAULTS: usize = 1000;

/// A row with its number in the file.
pub(super) struct Row {
    pub(super) number: usize,
    pub(super) cells: Vec<String>,
}

impl Row {
    fn is_blank(&self) -> bool {
        self.cells.iter().all(|cell| cell.trim().is_empty())
    }
}

/// Reads points: the first row that is not blank names the columns.
pub(super) fn read(
    rows: impl IntoIterator<Item = Row>,
    word: &'static str,
    numbers: Numbers,
) -> Result<PointsTable, Vec<Fault>> {
    let mut rows = rows.into_iter().filter(|row| !row.is_blank());
    let header = rows.next().ok_or_else(|| vec![Fault::at("file", "is empty")])?;
    let columns = columns(&header, word)?;
    let mut faults = Vec::new();
    let mut table =
        PointsTable { points: Vec::new(), places: RowPlaces { word, rows: Vec::new() } };
    for row in rows {
        if faults.len() > MOST_FAULTS {
            faults.push(Fault::at("file", "has more faults than these; mend these first"));
            break;
        }
        if table.points.len() >= MOST_POINTS {
            faults.push(Fault::at("file", format!("has more than {MOST_POINTS} points")));
            break;
        }
        if row.cells.iter().skip(header.cells.len()).any(|cell| !cell.trim().is_empty()) {
            faults.push(Fault::at(
                format!("{word} {}", row.number),
                "has more cells than there are columns",
            ));
            continue;
        }
        let reading = Cells { row: &row, columns: &columns, word, faults: &mut faults };
        if let Some(point) = reading.point(numbers) {
            let places = RowPlaces { word, rows: vec![row.number] };
            faults.extend(places.told(point.faults("points[0]")));
            table.places.rows.push(row.number);
            table.points.push(point);
        }
    }
    if faults.is_empty() { Ok(table) } else { Err(faults) }
}

fn columns(header: &Row, word: &str) -> Result<HashMap<&'static str, usize>, Vec<Fault>> {
    let at = format!("{word} {}", header.number);
    let mut columns = HashMap::new();
    let mut faults = Vec::new();
    for (place, cell) in header.cells.iter().enumerate() {
        let name = cell.trim().trim_start_matches('\u{feff}');
        if name.is_empty() {
            continue;
        }
        match COLUMNS.iter().find(|column| **column == name) {
            None => faults.push(Fault::at(
                format!("{at}, column {name}"),
                format!("is no column of points: use {}", COLUMNS.join(", ")),
            )),
            Some(column) => {
                if columns.insert(*column, place).is_some() {
                    faults.push(Fault::at(format!("{at}, column {name}"), "is there twice"));
                }
            }
        }
    }
    for column in COLUMNS.iter().filter(|column| !columns.contains_key(**column)) {
        faults.push(Fault::at(
            format!("{at}, column {column}"),
            "is missing; a column may be empty, and all must be there so that nothing is lost",
        ));
    }
    if faults.is_empty() { Ok(columns) } else { Err(faults) }
}

struct Cells<'r> {
    row: &'r Row,
    columns: &'r HashMap<&'static str, usize>,
    word: &'static str,
    faults: &'r mut Vec<Fault>,
}

impl<'r> Cells<'r> {
    /// A cell without the mark that keeps spreadsheets from taking it for a formula.
    fn cell(&self, column: &str) -> &'r str {
        let cell = self.columns.get(column).and_then(|place| self.row.cells.get(*place));
        let cell = cell.map_or("", String::as_str);
        match cell.strip_prefix('\'') {
            Some(marked) if super::csv_file::needs_mark(marked) => marked,
            _ => cell,
        }
    }

    fn fault(&mut self, column: &str, why: impl Into<String>) {
        let at = format!("{} {}, column {column}", self.word, self.row.number);
        self.faults.push(Fault::at(at, why));
    }

    fn one<T>(&mut self, column: &str, read: impl Fn(&str) -> Result<T, String>) -> Option<T> {
        let cell = self.cell(column);
        if cell.trim().is_empty() {
            self.fault(column, "must not be empty");
            return None;
        }
        read(cell).map_err(|why| self.fault(column, why)).ok()
    }

    fn many<T>(&mut self, column: &str, read: impl Fn(&str) -> Read<T>) -> Option<T> {
        match read(self.cell(column)) {
            Ok(read) => Some(read),
            Err(faults) => {
                for why in faults {
                    self.fault(column, why);
                }
                None
            }
        }
    }

    fn point(mut self, numbers: Numbers) -> Option<Point> {
        let text = |cell: &str| Ok(cell.to_owned());
        // All are read before any is missed, so that every fault of the row is told.
        let code = self.one("code", notation::code);
        let title = self.one("title", text);
        let phase = self.one("phase", notation::phase);
        let objective = self.one("objective", text);
        let technique = self.one("technique", text);
        let conditions = self.many("conditions", |cell| notation::conditions(cell, numbers));
        let together =
            self.many("axes_together", |cell| notation::yes_or_no(cell).map_err(|why| vec![why]));
        let duration = self.one("duration_min", |cell| numbers.number(cell));
        let energy = self.one("energy_kwh", |cell| numbers.number(cell));
        let data_required = self.many("data_required", notation::codes);
        let criteria = self.many("criteria", |cell| notation::criteria(cell, numbers));
        let limits = self.many("limits", notation::codes);
        let stop_criteria = self.many("stop_criteria", |cell| Ok(texts::parts(cell)));
        let hazards = self.many("hazards", notation::codes);
        let after_points = self.many("after_points", notation::codes);
        let after_checks = self.many("after_checks", notation::codes);
        let after_documents = self.many("after_documents", notation::codes);
        let crew = self.many("crew", notation::crew);
        let most_on_board = self.one("most_on_board", |cell| {
            cell.trim().parse().map_err(|_| format!("\"{cell}\" is no number of people"))
        });
        let weather = self.many("weather", |cell| notation::weather(cell, numbers));
        let configuration = self.many("configuration", notation::configuration);
        let sensitive_to = self.many("sensitive_to", notation::codes);
        Some(Point {
            code: code?,
            title: title?,
            phase: phase?,
            objective: objective?,
            technique: technique?,
            conditions: conditions?,
            axes_together: together?,
            duration_min: duration?,
            energy_kwh: energy?,
            data_required: data_required?,
            criteria: criteria?,
            limits: limits?,
            stop_criteria: stop_criteria?,
            hazards: hazards?,
            after_points: after_points?,
            after_checks: after_checks?,
            after_documents: after_documents?,
            crew: crew?,
            most_on_board: most_on_board?,
            weather: weather?,
            configuration: configuration?,
            sensitive_to: sensitive_to?,
        })
    }
}
