//! Cells of one row, by RFC 4180.

use std::borrow::Cow;

/// Characters of a cell that are kept where it is refused.
const SHOWN: usize = 40;

/// One cell as it stands in the file.
#[derive(Debug, Clone, Copy)]
pub(super) enum Cell<'a> {
    /// Without quotes.
    Plain(&'a [u8]),
    /// What stands between two quotes; doubled ones are not yet made one.
    Quoted(&'a [u8]),
    /// A quote opens it and none closes it, or something follows the quote that closes it.
    Broken(&'a [u8]),
}

impl<'a> Cell<'a> {
    /// What the cell says.
    pub fn content(self) -> Cow<'a, [u8]> {
        match self {
            Self::Quoted(bytes) if memchr::memchr(b'"', bytes).is_some() => {
                let mut single = Vec::with_capacity(bytes.len());
                let mut bytes = bytes.iter();
                while let Some(byte) = bytes.next() {
                    single.push(*byte);
                    if *byte == b'"' {
                        bytes.next();
                    }
                }
                Cow::Owned(single)
            }
            Self::Plain(bytes) | Self::Quoted(bytes) | Self::Broken(bytes) => Cow::Borrowed(bytes),
        }
    }
}

/// The cells of a row, one after the other.
pub(super) struct Cells<'a> {
    /// Absent behind the last cell.
    rest: Option<&'a [u8]>,
    delimiter: u8,
}

impl<'a> Cells<'a> {
    /// A row with or without its line end.
    pub fn of(row: &'a [u8], delimiter: u8) -> Self {
        Self { rest: Some(without_line_end(row)), delimiter }
    }

    /// Whether nothing is left but, at most, one empty cell: many recorders end their rows with a delimiter.
    pub fn is_spent(&self) -> bool {
        self.rest.is_none_or(|rest| rest.trim_ascii().is_empty())
    }
}

impl<'a> Iterator for Cells<'a> {
    type Item = Cell<'a>;

    fn next(&mut self) -> Option<Cell<'a>> {
        let rest = self.rest?;
        let (cell, length) = match rest.split_first() {
            Some((b'"', inside)) => quoted(inside, self.delimiter),
            _ => {
                let length = memchr::memchr(self.delimiter, rest).unwrap_or(rest.len());
                (Cell::Plain(&rest[..length]), length)
            }
        };
        self.rest = rest.get(length + 1..);
        Some(cell)
    }
}

/// The cell behind the quote that opens it, and its length with both quotes.
fn quoted(inside: &[u8], delimiter: u8) -> (Cell<'_>, usize) {
    let mut at = 0;
    while let Some(found) = memchr::memchr(b'"', &inside[at..]) {
        let quote = at + found;
        match inside.get(quote + 1) {
            Some(b'"') => at = quote + 2,
            behind if behind.is_none() || behind == Some(&delimiter) => {
                return (Cell::Quoted(&inside[..quote]), quote + 2);
            }
            _ => {
                let rest = &inside[quote..];
                let end = quote + memchr::memchr(delimiter, rest).unwrap_or(rest.len());
                return (Cell::Broken(&inside[..end]), end + 1);
            }
        }
    }
    (Cell::Broken(inside), inside.len() + 1)
}

/// A row without `\n` or `\r\n`.
pub(super) fn without_line_end(row: &[u8]) -> &[u8] {
    let row = row.strip_suffix(b"\n").unwrap_or(row);
    row.strip_suffix(b"\r").unwrap_or(row)
}

/// Text in UTF-8, or in Latin-1 where it is no UTF-8: older recorders write the degree sign so.
pub(super) fn text(bytes: &[u8]) -> Cow<'_, str> {
    match std::str::from_utf8(bytes) {
        Ok(text) => Cow::Borrowed(text),
        Err(_) => Cow::Owned(bytes.iter().copied().map(char::from).collect()),
    }
}

/// The beginning of what stood in a refused cell or row.
pub(super) fn shown(bytes: &[u8]) -> String {
    // Forty characters of UTF-8 have at most 160 bytes; a character cut by this bound is behind the fortieth.
    let most = bytes.len().min(SHOWN * 4);
    let cut = &bytes[..most];
    match std::str::from_utf8(cut) {
        Ok(text) => text.chars().take(SHOWN).collect(),
        Err(error) if most < bytes.len() && error.error_len().is_none() => {
            text(&cut[..error.valid_up_to()]).chars().take(SHOWN).collect()
        }
        Err(_) => text(cut).chars().take(SHOWN).collect(),
    }
}
