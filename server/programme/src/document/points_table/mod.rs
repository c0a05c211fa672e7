//! Points in a spreadsheet: one row a point, one column a field.
//!
//! Columns carry the names of a point's fields and may stand in any order; all must be there, so that no plan loses
//! its hazards because a column was hidden. A cell is empty where a field is absent. Fields with parts are written flat:
//!
//! | column | example |
//! |---|---|
//! | `conditions` | `speed=55±2 kt; power=40±2 kW` |
//! | `criteria` | `motor_temp max <= 110 degC; ias mean in 50..60 kt` |
//! | `crew` | `1 pilot on board [test-pilot, hv]; 2 crew` |
//! | `weather` | `wind<=12 kt; visibility>=5 km; dry` |
//! | `configuration` | `motor=M2 serial 7; pack` |
//! | lists of codes | `GR-01; GR-02` |
//! | `stop_criteria` | `Smoke or smell; any red warning` |
//!
//! In lists of texts a semicolon or backslash that belongs to the text has a backslash before it.

mod csv_file;
mod notation;
mod numbers;
mod rows;
mod texts;
mod xlsx_file;

pub use csv_file::{export_csv, read_csv};
pub use xlsx_file::read_xlsx;

use crate::nouns::Point;
use crate::refusal::Fault;

/// Every column, in the order in which they are written.
pub const COLUMNS: [&str; 22] = [
    "code",
    "title",
    "phase",
    "objective",
    "technique",
    "conditions",
    "axes_together",
    "duration_min",
    "energy_kwh",
    "data_required",
    "criteria",
    "limits",
    "stop_criteria",
    "hazards",
    "after_points",
    "after_checks",
    "after_documents",
    "crew",
    "most_on_board",
    "weather",
    "configuration",
    "sensitive_to",
];

/// Cells further to the right than this are not read; there are far fewer columns.
const MOST_COLUMNS: usize = 200;

/// Points read from a spreadsheet.
#[derive(Debug, Clone, PartialEq)]
pub struct PointsTable {
    /// The points, in the order of the rows.
    pub points: Vec<Point>,
    /// Where each stands.
    pub places: RowPlaces,
}

/// In which line or row each point stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RowPlaces {
    /// `line` of a text file or `row` of a sheet.
    word: &'static str,
    rows: Vec<usize>,
}

impl RowPlaces {
    /// Puts row and column in the place of each fault's field: `line 4, column conditions`.
    pub fn told(&self, faults: Vec<Fault>) -> Vec<Fault> {
        faults.into_iter().map(|fault| self.one_told(fault)).collect()
    }

    fn one_told(&self, fault: Fault) -> Fault {
        let inside = fault.field.strip_prefix("points[").and_then(|rest| rest.split_once(']'));
        let row = inside
            .and_then(|(place, field)| Some((self.rows.get(place.parse::<usize>().ok()?)?, field)));
        match row {
            Some((row, field)) => {
                let column = field.trim_start_matches('.').split(['.', '[']).next();
                match column.filter(|column| !column.is_empty()) {
                    Some(column) => {
                        Fault::at(format!("{} {row}, column {column}", self.word), fault.why)
                    }
                    None => Fault::at(format!("{} {row}", self.word), fault.why),
                }
            }
            None => fault,
        }
    }
}
