//! Lines of a file, one at a time, in memory that does not grow with the file.

use std::io::{BufRead, BufReader, Read};

use crate::Unreadable;

/// The longest line that is taken, in bytes; lines of these recorders have at most some hundreds.
pub(super) const LONGEST_LINE: u64 = 65_536;
/// Lines in which a file must show that it is of its format.
pub(super) const LINES_TO_RECOGNISE: u64 = 1_000;
/// Lines that are looked at to tell what a file offers.
pub(super) const LINES_TO_LOOK_AT: u64 = 100_000;

/// The lines of a source.
pub(super) struct Lines<R> {
    source: BufReader<R>,
    line: Vec<u8>,
    number: u64,
    ends_open: bool,
}

impl<R: Read> Lines<R> {
    pub(super) fn of(source: R) -> Self {
        Self {
            source: BufReader::with_capacity(1 << 16, source),
            line: Vec::new(),
            number: 0,
            ends_open: false,
        }
    }

    /// Whether the last line has no end, so that it may have been cut.
    pub(super) fn ends_open(&self) -> bool {
        self.ends_open
    }

    /// The next line with its number, without its ending (line feed, with or without carriage return).
    ///
    /// # Errors
    ///
    /// [`Unreadable::Cut`] where the source fails, [`Unreadable::TooMuch`] at a line over [`LONGEST_LINE`].
    pub(super) fn next(&mut self) -> Result<Option<(u64, &[u8])>, Unreadable> {
        self.line.clear();
        let mut bounded = (&mut self.source).take(LONGEST_LINE + 1);
        if bounded.read_until(b'\n', &mut self.line)? == 0 {
            return Ok(None);
        }
        self.number += 1;
        if self.line.len() as u64 > LONGEST_LINE {
            let what = "the number of bytes in one line";
            return Err(Unreadable::TooMuch { line: self.number, what, most: LONGEST_LINE });
        }
        let mut line = self.line.as_slice();
        self.ends_open = !line.ends_with(b"\n");
        line = line.strip_suffix(b"\n").unwrap_or(line);
        line = line.strip_suffix(b"\r").unwrap_or(line);
        if self.number == 1 {
            line = line.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(line);
        }
        Ok(Some((self.number, line)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all(bytes: &[u8]) -> Vec<(u64, Vec<u8>)> {
        let mut lines = Lines::of(bytes);
        let mut found = Vec::new();
        while let Some((number, line)) = lines.next().expect("short lines") {
            found.push((number, line.to_vec()));
        }
        found
    }

    #[test]
    fn lines_end_with_or_without_carriage_return_and_the_last_without_either() {
        let found = all(b"\xEF\xBB\xBFa\r\n\nb\nc");

        let wanted: [(u64, &[u8]); 4] = [(1, b"a"), (2, b""), (3, b"b"), (4, b"c")];
        assert_eq!(found, wanted.map(|(number, line)| (number, line.to_vec())));
    }

    #[test]
    fn a_line_is_taken_up_to_the_longest_and_not_one_byte_more() {
        let longest = LONGEST_LINE as usize;
        assert_eq!(all(&vec![b'x'; longest]).len(), 1);
        let one_more = vec![b'x'; longest + 1];
        let refused = Lines::of(one_more.as_slice()).next().map(|_| ());
        assert!(matches!(refused, Err(Unreadable::TooMuch { line: 1, most: LONGEST_LINE, .. })));
    }
}
