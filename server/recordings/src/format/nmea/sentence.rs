//! One sentence of NMEA 0183: its frame, its checksum and its fields.

use crate::format::digits::{degrees, figure, hemisphere, millionths, time_of_day};

/// A line that could be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Line<'a> {
    Sentence(Sentence<'a>),
    /// A maker's own sentence, `$P…`.
    Proprietary,
    /// An encapsulated sentence, `!…`.
    Encapsulated,
}

/// A sentence whose checksum fits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Sentence<'a> {
    /// Three letters: `RMC`, `GGA` …
    pub(super) kind: &'a [u8],
    /// What follows the address, up to the checksum.
    data: &'a [u8],
}

/// A cell of a sentence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Cell<'a> {
    Figure(f64),
    Empty,
    /// It cannot be read; what stands there.
    Not(&'a [u8]),
}

impl<'a> Line<'a> {
    /// Reads a line; absent where it is no sentence, or its checksum is not there or does not fit.
    pub(super) fn read(line: &'a [u8]) -> Option<Self> {
        let line = without_tag_block(line.trim_ascii());
        let (begins, rest) = line.split_first()?;
        let end = rest.len().checked_sub(3)?;
        let (content, checksum) = (&rest[..end], &rest[end..]);
        let [b'*', high, low] = *checksum else { return None };
        let written = hexadecimal(high)? << 4 | hexadecimal(low)?;
        let printable = content.iter().all(|byte| (b' '..=b'~').contains(byte));
        if !printable || content.iter().fold(0, |sum, byte| sum ^ byte) != written {
            return None;
        }
        let comma = content.iter().position(|byte| *byte == b',').unwrap_or(content.len());
        let (address, data) = content.split_at(comma);
        let data = data.strip_prefix(b",").unwrap_or(data);
        match (begins, address) {
            (b'!', _) => Some(Self::Encapsulated),
            (b'$', [b'P', ..]) => Some(Self::Proprietary),
            (b'$', [_, _, kind @ ..]) if kind.len() == 3 => {
                Some(Self::Sentence(Sentence { kind, data }))
            }
            _ => None,
        }
    }
}

impl<'a> Sentence<'a> {
    /// How many fields it has.
    pub(super) fn fields(&self) -> usize {
        self.data.split(|byte| *byte == b',').count()
    }

    /// A field, counted from 1 as descriptions of sentences do; one that is not there is empty.
    pub(super) fn field(&self, number: usize) -> &'a [u8] {
        let mut fields = self.data.split(|byte| *byte == b',');
        fields.nth(number.saturating_sub(1)).unwrap_or_default()
    }

    /// The figure of a field.
    pub(super) fn figure(&self, number: usize) -> Cell<'a> {
        let written = self.field(number);
        if written.is_empty() {
            return Cell::Empty;
        }
        figure(written).map_or(Cell::Not(written), Cell::Figure)
    }

    /// The degrees in one field (`ddmm.mm`, `dddmm.mm`) with the hemisphere in the next.
    pub(super) fn latitude(&self, number: usize) -> Cell<'a> {
        self.angle(number, 2, 90, (b'N', b'S'))
    }

    /// As [`Self::latitude`].
    pub(super) fn longitude(&self, number: usize) -> Cell<'a> {
        self.angle(number, 3, 180, (b'E', b'W'))
    }

    fn angle(&self, number: usize, width: usize, most: i64, letters: (u8, u8)) -> Cell<'a> {
        let (written, letter) = (self.field(number), self.field(number + 1));
        if written.is_empty() && letter.is_empty() {
            return Cell::Empty;
        }
        let digits = match written.get(width + 2) {
            Some(b'.') => [&written[..width + 2], &written[width + 3..]].concat(),
            Some(_) => return Cell::Not(written),
            None => written.to_vec(),
        };
        let found = degrees(&digits, width, most);
        let found = found.and_then(|found| hemisphere(found, letter, letters.0, letters.1));
        found.map_or(Cell::Not(written), Cell::Figure)
    }

    /// The time of day `hhmmss.ss` in a field, in microseconds; absent where it cannot be read.
    pub(super) fn time_of_day(&self, number: usize) -> Option<i64> {
        let written = self.field(number);
        let (whole, decimals) = written.split_at_checked(6)?;
        let decimals = match decimals {
            [] => decimals,
            [b'.', decimals @ ..] => decimals,
            _ => return None,
        };
        Some(time_of_day(whole)? + millionths(decimals)?)
    }
}

/// A block between two backslashes may stand before a sentence (NMEA 0183 version 4, from memory).
fn without_tag_block(line: &[u8]) -> &[u8] {
    let Some(inside) = line.strip_prefix(b"\\") else { return line };
    match inside.iter().position(|byte| *byte == b'\\') {
        Some(end) => &inside[end + 1..],
        None => line,
    }
}

fn hexadecimal(digit: u8) -> Option<u8> {
    char::from(digit).to_digit(16).and_then(|value| u8::try_from(value).ok())
}
