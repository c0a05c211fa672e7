//! The first lines of a file: delimiter, headers, units, and what each column is for.

use std::io::Read;

use super::cells::{Cells, text};
use super::pieces::{DELIMITERS, Rest};
use super::{CsvPlan, Found, Look};
use crate::{ColumnPlan, Unreadable};

/// Columns that a file may have.
const MOST_COLUMNS: usize = 4096;

/// Headers that are named in an error.
const NAMED: usize = 200;

/// The first rows that are shown of a file nobody has mapped yet.
const SHOWN_ROWS: usize = 10;

/// Delimiter, headers and units.
pub(super) struct Head {
    pub delimiter: u8,
    pub headers: Vec<String>,
    pub units: Option<Vec<String>>,
}

/// What one column of the file is for.
#[derive(Debug, Clone, Default)]
pub(super) struct Use {
    /// Whether it has the moments.
    pub is_time: bool,
    /// The channels that it becomes.
    pub channels: Vec<Target>,
    /// Its header, shortened as [`ColumnPlan::name_in_refusals`] has it.
    pub name: String,
}

/// A channel that a column becomes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Target {
    /// Its place in the block.
    pub channel: usize,
    /// Factor and summand; absent where the cell's figure is the value, bit by bit.
    pub line: Option<(f64, f64)>,
}

impl Head {
    /// Reads the header and the row of units, so that the first row of figures comes next.
    pub fn read(rest: &mut Rest<impl Read>, look: &Look) -> Result<Self, Unreadable> {
        let given = look.checked_delimiter()?;
        refuse_other_formats(rest.peek(512)?)?;
        for _ in 1..look.header_line {
            if rest.line()?.is_none() {
                break;
            }
        }
        let line = rest.next_line();
        let not_the_format = |why: String| Unreadable::NotTheFormat { line, why };
        let Some(row) = rest.row(given)? else {
            return Err(not_the_format(format!(
                "the file ends before its header, which should be on line {}",
                look.header_line
            )));
        };
        if row.contains(&0) {
            return Err(not_the_format(
                "the header has zero bytes in it, so this is no text file; export the recording as CSV".to_owned(),
            ));
        }
        let row = without_mark(&row);
        let delimiter = given.unwrap_or_else(|| likeliest(row, look.decimal));
        let headers = texts(row, delimiter, line)?;
        if headers.iter().all(String::is_empty) {
            return Err(not_the_format(format!(
                "the header is empty; say on which line the names of the columns stand, if not on line {}",
                look.header_line
            )));
        }
        let units = if look.unit_row {
            let line = rest.next_line();
            match rest.row(Some(delimiter))? {
                Some(row) => Some(texts(&row, delimiter, line)?),
                None => Some(Vec::new()),
            }
        } else {
            None
        };
        Ok(Self { delimiter, headers, units })
    }

    /// What each column is for, by the plan.
    pub fn uses(&self, plan: &CsvPlan, columns: &[ColumnPlan]) -> Result<Vec<Use>, Unreadable> {
        let wanted = || {
            std::iter::once(plan.time.column.trim())
                .chain(columns.iter().map(|column| column.column.trim()))
        };
        let places = |name: &str| self.headers.iter().filter(|header| *header == name).count();
        let mut missing: Vec<String> =
            wanted().filter(|name| places(name) == 0).map(str::to_owned).collect();
        if !missing.is_empty() {
            missing.dedup();
            let found = self.headers.iter().take(NAMED).cloned().collect();
            return Err(Unreadable::NoSuchColumns { missing, found });
        }
        if let Some(twice) = wanted().find(|name| places(name) > 1) {
            return Err(Unreadable::NotTheFormat {
                line: plan.header_line,
                why: format!(
                    "the header has more than one column {twice}, and which one is meant would be a guess; \
                     have the recorder name its columns differently"
                ),
            });
        }
        let of = |header: &String| Use {
            is_time: header == plan.time.column.trim(),
            channels: columns
                .iter()
                .enumerate()
                .filter(|(_, column)| header == column.column.trim())
                .map(|(channel, column)| Target { channel, line: line_of(column) })
                .collect(),
            name: header.chars().take(100).collect(),
        };
        Ok(self.headers.iter().map(of).collect())
    }

    /// What people see of a file that nobody has mapped yet.
    pub fn found(self, mut rest: Rest<impl Read>) -> Result<Found, Unreadable> {
        let mut first_rows = Vec::new();
        while first_rows.len() < SHOWN_ROWS {
            let line = rest.next_line();
            match rest.row(Some(self.delimiter))? {
                // The last of the bytes that are looked at is hardly ever a whole row.
                Some(row) if row.ends_with(b"\n") || first_rows.is_empty() => {
                    first_rows.push(texts(&row, self.delimiter, line)?);
                }
                _ => break,
            }
        }
        let Self { delimiter, headers, units } = self;
        Ok(Found { delimiter: char::from(delimiter), headers, units, first_rows })
    }
}

/// The line from figure to value. Without scale and offset nothing is calculated, so that -0 stays what it is.
#[expect(clippy::float_cmp, reason = "exactly one and exactly zero change nothing")]
fn line_of(column: &ColumnPlan) -> Option<(f64, f64)> {
    (column.scale != 1.0 || column.offset != 0.0).then_some((column.scale, column.offset))
}

impl Look {
    fn checked_delimiter(&self) -> Result<Option<u8>, Unreadable> {
        let refused = |why: String| Err(Unreadable::NotTheFormat { line: self.header_line, why });
        if self.header_line == 0 {
            return refused(
                "lines are counted from 1, so that the header cannot be on line 0".to_owned(),
            );
        }
        if !matches!(self.decimal, '.' | ',') {
            return refused(format!(
                "the decimal sign is a point or a comma, not {}",
                self.decimal
            ));
        }
        match self.delimiter {
            None => Ok(None),
            Some(sign @ ('\t' | ' '..='~'))
                if !sign.is_ascii_alphanumeric() && !"\"+-.".contains(sign) =>
            {
                Ok(Some(sign as u8))
            }
            Some(sign) => refused(format!(
                "{sign:?} cannot stand between cells; the delimiter is one sign such as ; , | or a tab"
            )),
        }
    }
}

/// The delimiter that stands most often outside quotes. A decimal comma is no delimiter where there is any other.
fn likeliest(row: &[u8], decimal: char) -> u8 {
    let mut counts = [0_usize; DELIMITERS.len()];
    let mut quoted = false;
    for byte in row {
        quoted ^= *byte == b'"';
        for (delimiter, count) in DELIMITERS.iter().zip(&mut counts) {
            *count += usize::from(byte == delimiter && !quoted);
        }
    }
    let mut best = (if decimal == ',' { b';' } else { b',' }, 0);
    for (delimiter, count) in DELIMITERS.into_iter().zip(counts) {
        let yields = decimal == ',' && delimiter == b',' && best.1 > 0;
        if count > best.1 && !yields {
            best = (delimiter, count);
        }
    }
    best.0
}

/// The cells of a row as text, at most one more than a file may have.
pub(super) fn cells_of(row: &[u8], delimiter: u8) -> Vec<String> {
    let cells = Cells::of(row, delimiter).take(MOST_COLUMNS + 1);
    cells.map(|cell| text(&cell.content()).trim().to_owned()).collect()
}

/// The cells of a row as text.
fn texts(row: &[u8], delimiter: u8, line: u64) -> Result<Vec<String>, Unreadable> {
    let cells = cells_of(row, delimiter);
    if cells.len() > MOST_COLUMNS {
        return Err(Unreadable::TooMuch {
            line,
            what: "the number of columns",
            most: MOST_COLUMNS as u64,
        });
    }
    Ok(cells)
}

/// The row without the byte order mark that some programs put in front of UTF-8.
fn without_mark(row: &[u8]) -> &[u8] {
    row.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(row)
}

/// Says what a file is that is no text.
fn refuse_other_formats(first: &[u8]) -> Result<(), Unreadable> {
    const UNPACK: &str = "unpack it and upload the CSV file that is inside";
    const EXPORT: &str = "export the recording as CSV";
    const KNOWN: [(&[u8], &str, &str); 12] = [
        (b"\x1F\x8B", "packed with gzip", UNPACK),
        (
            b"PK\x03\x04",
            "a ZIP archive or a spreadsheet",
            "upload the CSV file that is inside, or save the sheet as CSV",
        ),
        (b"\x28\xB5\x2F\xFD", "packed with zstd", UNPACK),
        (b"\xFD7zXZ\x00", "packed with xz", UNPACK),
        (b"BZh", "packed with bzip2", UNPACK),
        (b"7z\xBC\xAF\x27\x1C", "a 7z archive", UNPACK),
        (b"PAR1", "a Parquet file", EXPORT),
        (b"\x89HDF", "an HDF5 file", EXPORT),
        (b"MDF     ", "an MDF file", EXPORT),
        (b"%PDF", "a PDF document", EXPORT),
        (b"\xFF\xFE", "text in UTF-16", "save it as UTF-8"),
        (b"\xFE\xFF", "text in UTF-16", "save it as UTF-8"),
    ];
    let is = KNOWN.iter().find(|(magic, ..)| first.starts_with(magic));
    let why = match is {
        Some((_, what, then)) => format!("the file is {what}, not CSV; {then}"),
        None if first.split(|byte| *byte == b'\n').next().is_some_and(|line| line.contains(&0)) => {
            format!("the file begins with zero bytes among others, so it is no text file; {EXPORT}")
        }
        None => return Ok(()),
    };
    Err(Unreadable::NotTheFormat { line: 1, why })
}
