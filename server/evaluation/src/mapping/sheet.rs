//! The beginning of a file of rows: what parts its cells, on which line its header stands, whether a row of units follows.

use programme::nouns::DecimalMark;
use recordings::format::csv;

use super::unit_words;

/// Lines that are looked at.
const MOST_LINES: usize = 2_000;

/// The last line on which a header is looked for.
const LAST_HEADER_LINE: usize = 100;

/// What may part cells; the first is taken where two do equally well.
const DELIMITERS: [char; 4] = [';', '\t', '|', ','];

/// What somebody knows of a file before it is looked at.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Known {
    /// What parts cells.
    pub delimiter: Option<char>,
    /// How the fraction of a number is written.
    pub decimal: Option<DecimalMark>,
    /// The line of the header, from 1.
    pub header_line: Option<u32>,
    /// Whether a row of units follows.
    pub unit_row: Option<bool>,
}

/// The beginning of a file as cells.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// What parts its cells.
    pub delimiter: char,
    /// How the fraction of a number is written.
    pub decimal: DecimalMark,
    /// The line of the header, from 1.
    pub header_line: u32,
    /// The names of the columns.
    pub headers: Vec<String>,
    /// The row of units, where one follows.
    pub units: Option<Vec<String>>,
    /// Rows of figures.
    pub rows: Vec<Vec<String>>,
}

impl Sheet {
    /// Looks at the beginning of a file. A last line without its end is left out, since it may have been cut. Absent where
    /// no line has two cells.
    pub fn of(begins: &[u8], known: Known) -> Option<Self> {
        let lines = lines(begins);
        let candidates = known.delimiter.map_or_else(|| DELIMITERS.to_vec(), |given| vec![given]);
        let mut best: Option<(usize, Self)> = None;
        for delimiter in candidates {
            let cells: Vec<Vec<String>> =
                lines.iter().map(|line| csv::cells(line, delimiter)).collect();
            if let Some((worth, sheet)) = Self::parted(&cells, delimiter, known)
                && best.as_ref().is_none_or(|(before, _)| worth > *before)
            {
                best = Some((worth, sheet));
            }
        }
        best.map(|(_, sheet)| sheet)
    }

    /// The sheet that a delimiter gives, and how many cells stand in rows that fit its header.
    fn parted(cells: &[Vec<String>], delimiter: char, known: Known) -> Option<(usize, Self)> {
        let wide = usual_width(cells)?;
        let (place, named) = match known.header_line {
            Some(line) => {
                ((line as usize).checked_sub(1).filter(|place| *place < cells.len())?, true)
            }
            None => header_place(cells, wide)?,
        };
        let headers = trimmed(&cells[place]);
        let width = headers.len();
        let mut below: Vec<&Vec<String>> = cells[place + 1..].iter().collect();
        below.retain(|row| row.iter().any(|cell| !cell.is_empty()));
        let units = match known.unit_row {
            Some(true) => below.first().map(|row| trimmed(row)),
            Some(false) => None,
            None => below.first().filter(|row| names_units(row)).map(|row| trimmed(row)),
        };
        let rows: Vec<Vec<String>> = below
            .into_iter()
            .skip(usize::from(units.is_some()))
            .filter(|row| trimmed(row).len() <= width)
            .cloned()
            .collect();
        let decimal = known.decimal.unwrap_or_else(|| decimal_of(&rows, delimiter));
        let cells = rows.iter().filter(|row| row.len() >= width).count().max(1) * width;
        // A decimal comma parts figures as well as a delimiter would, but there is no header then.
        let worth = if named { cells * 10 } else { cells };
        let header_line = u32::try_from(place + 1).ok()?;
        (width > 1)
            .then_some((worth, Self { delimiter, decimal, header_line, headers, units, rows }))
    }

    /// The cells of one column.
    pub fn column(&self, place: usize) -> impl Iterator<Item = &str> {
        self.rows.iter().map(move |row| row.get(place).map_or("", String::as_str))
    }

    /// The figure of a cell.
    pub fn number(&self, cell: &str) -> Option<f64> {
        csv::number(cell, self.decimal.as_char())
    }
}

/// Whole lines, without a mark of the byte order and without their ends.
fn lines(begins: &[u8]) -> Vec<&[u8]> {
    let begins = begins.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(begins);
    let mut lines: Vec<&[u8]> = begins.split(|byte| *byte == b'\n').take(MOST_LINES + 1).collect();
    // Behind the last line end is nothing, or a line that may go on. Of a file that is one line, that line is all there is.
    if lines.len() > 1 {
        lines.pop();
    }
    lines.iter().map(|line| line.strip_suffix(b"\r").unwrap_or(line)).collect()
}

/// Cells without the empty one that many recorders end their rows with.
fn trimmed(row: &[String]) -> Vec<String> {
    let row = match row {
        [rest @ .., last] if last.is_empty() && rest.len() > 1 => rest,
        row => row,
    };
    row.to_vec()
}

/// The number of cells that most lines have; absent where no line has two.
fn usual_width(cells: &[Vec<String>]) -> Option<usize> {
    let mut counts = std::collections::BTreeMap::<usize, usize>::new();
    for row in cells {
        let width = trimmed(row).len();
        if width > 1 {
            *counts.entry(width).or_default() += 1;
        }
    }
    counts.into_iter().max_by_key(|(width, count)| (*count, *width)).map(|(width, _)| width)
}

/// The first line as wide as most that has names in it, which are more texts than figures; else the first as wide as most.
/// Says whether it has names.
fn header_place(cells: &[Vec<String>], wide: usize) -> Option<(usize, bool)> {
    let of_width = |row: &&Vec<String>| trimmed(row).len() == wide;
    let mut places = cells.iter().enumerate().take(LAST_HEADER_LINE);
    let named = places.find(|(_, row)| of_width(row) && has_names(&trimmed(row)));
    match named {
        Some((place, _)) => Some((place, true)),
        None => Some((cells.iter().position(|row| of_width(&row))?, false)),
    }
}

fn has_names(row: &[String]) -> bool {
    let figures = row.iter().filter(|cell| is_figure(cell)).count();
    let texts = row.iter().filter(|cell| !cell.is_empty() && !is_figure(cell)).count();
    texts > figures
}

/// Whether a cell is a number of either notation, or begins with a digit as moments do.
fn is_figure(cell: &str) -> bool {
    cell.starts_with(|first: char| first.is_ascii_digit())
        || csv::number(cell, '.').is_some()
        || csv::number(cell, ',').is_some()
}

/// Whether a row has units: no figure, and known units in at least half of what is not empty.
fn names_units(row: &[String]) -> bool {
    let filled: Vec<&String> =
        row.iter().filter(|cell| !matches!(cell.as_str(), "" | "-" | "--" | "[-]")).collect();
    let known = filled.iter().filter(|cell| unit_words::meant(cell).is_some()).count();
    let figure = |cell: &&String| is_figure(cell) && unit_words::meant(cell).is_none();
    known > 0 && known * 2 >= filled.len() && !filled.iter().any(figure)
}

/// The decimal sign that more figures have.
fn decimal_of(rows: &[Vec<String>], delimiter: char) -> DecimalMark {
    if delimiter == ',' {
        return DecimalMark::Point;
    }
    let with = |sign: char| {
        let has = |cell: &&String| cell.contains(sign) && csv::number(cell, sign).is_some();
        rows.iter().flatten().filter(has).count()
    };
    if with(',') > with('.') { DecimalMark::Comma } else { DecimalMark::Point }
}
