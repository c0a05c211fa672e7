//! Rows of text, as recorders write them.

use std::fmt::Write as _;

use super::flights::Flight;

/// One column of a sheet.
#[derive(Debug, Clone, Copy)]
pub struct Column {
    /// Its header.
    pub name: &'static str,
    /// Its unit, where the sheet has a unit row.
    pub unit: &'static str,
    /// Digits after the decimal mark.
    pub decimals: usize,
    /// Standard deviation of its sensor's noise, in its unit.
    pub noise: f64,
    /// Whether its sensor never reads below zero.
    pub from_zero: bool,
}

impl Column {
    /// A column whose sensor never reads below zero.
    pub const fn from_zero(
        name: &'static str,
        unit: &'static str,
        decimals: usize,
        noise: f64,
    ) -> Self {
        Self { name, unit, decimals, noise, from_zero: true }
    }

    /// A column whose sensor reads either sign.
    pub const fn signed(
        name: &'static str,
        unit: &'static str,
        decimals: usize,
        noise: f64,
    ) -> Self {
        Self { name, unit, decimals, noise, from_zero: false }
    }
}

/// How a recorder writes its sheets.
#[derive(Debug, Clone, Copy)]
pub struct Style {
    /// What stands between two cells.
    pub delimiter: char,
    /// Decimal mark.
    pub decimal: char,
    /// End of a line.
    pub line_end: &'static str,
}

/// A sheet that grows row by row.
pub struct Sheet<'f> {
    text: String,
    style: Style,
    recorder: &'static str,
    columns: &'static [Column],
    flight: &'f Flight,
}

impl<'f> Sheet<'f> {
    /// A sheet that begins with this text.
    pub fn begun(
        text: String,
        style: Style,
        recorder: &'static str,
        columns: &'static [Column],
        flight: &'f Flight,
    ) -> Self {
        Self { text, style, recorder, columns, flight }
    }

    /// Adds one row of texts: the first cell, and what `of` says for each column.
    pub fn heading(&mut self, first: &str, of: impl Fn(&Column) -> &'static str) {
        self.text.push_str(first);
        for column in self.columns {
            self.text.push(self.style.delimiter);
            self.text.push_str(of(column));
        }
        self.text.push_str(self.style.line_end);
    }

    /// Adds a row, unless the recorder wrote none: the moment, and a value for each column. NaN is an empty cell.
    pub fn row(&mut self, t_s: f64, moment: &str, values: &[f64]) {
        let dropouts = &self.flight.dropouts;
        let mut off = dropouts
            .iter()
            .filter(|dropout| dropout.recorder == self.recorder && dropout.covers(t_s))
            .peekable();
        let some_off = off.peek().is_some();
        if off.any(|dropout| dropout.columns.is_empty()) {
            return;
        }
        self.text.push_str(moment);
        for (column, value) in self.columns.iter().zip(values) {
            self.text.push(self.style.delimiter);
            let off = some_off
                .then(|| {
                    dropouts.iter().find(|dropout| {
                        dropout.recorder == self.recorder
                            && dropout.covers(t_s)
                            && dropout.columns.iter().any(|name| name == column.name)
                    })
                })
                .flatten();
            match off {
                Some(dropout) => self.text.push_str(&dropout.text),
                None if value.is_nan() => {}
                None => self.figure(*value, column.decimals),
            }
        }
        self.text.push_str(self.style.line_end);
    }

    fn figure(&mut self, value: f64, decimals: usize) {
        let before = self.text.len();
        // Writing to a string cannot fail.
        let _ = write!(self.text, "{value:.decimals$}");
        if self.style.decimal != '.'
            && let Some(mark) = self.text.get(before..).and_then(|figure| figure.find('.'))
        {
            let mark = before + mark;
            self.text.replace_range(mark..=mark, self.style.decimal.encode_utf8(&mut [0; 4]));
        }
    }

    /// The sheet's bytes.
    pub fn finish(self) -> Vec<u8> {
        self.text.into_bytes()
    }
}
