//! Cuts a file into pieces that end where rows end.

use std::io::Read;

use crate::Unreadable;

/// Bytes of a piece, unless one row is longer.
const PIECE: usize = 256 * 1024;

/// Bytes that one row may have.
pub(super) const LONGEST_ROW: usize = 1024 * 1024;

/// Signs that may stand between cells, where the plan does not say which; the first wins where two are as frequent.
pub(super) const DELIMITERS: [u8; 4] = *b";\t|,";

/// Whole rows of a file.
pub(super) struct Piece {
    /// The rows, with their line ends.
    pub bytes: Vec<u8>,
    /// The line on which it begins.
    pub first_line: u64,
    /// Whether a quote stands anywhere in it; a row may go over several lines then.
    pub quoted: bool,
    /// Whether the file ends with it, and without a line end.
    pub ends_open: bool,
}

/// What is still to be read of a file.
pub(super) struct Rest<R> {
    source: R,
    held: Vec<u8>,
    line: u64,
    ended: bool,
}

impl<R: Read> Rest<R> {
    /// A whole file.
    pub fn of(source: R) -> Self {
        Self { source, held: Vec::new(), line: 1, ended: false }
    }

    /// The number of the line that comes next.
    pub fn next_line(&self) -> u64 {
        self.line
    }

    /// The first bytes of what is left, without taking them: as many as asked for unless the file is shorter.
    pub fn peek(&mut self, bytes: usize) -> Result<&[u8], Unreadable> {
        while !self.ended && self.held.len() < bytes {
            self.more(bytes - self.held.len())?;
        }
        Ok(&self.held[..self.held.len().min(bytes)])
    }

    /// The next line with its line end, whatever quotes stand in it. Absent at the end of the file.
    pub fn line(&mut self) -> Result<Option<Vec<u8>>, Unreadable> {
        self.up_to(|held| memchr::memchr(b'\n', held).map(|at| at + 1))
    }

    /// The next row with its line end; line ends in quoted cells belong to the row. Absent at the end of the file.
    pub fn row(&mut self, delimiter: Option<u8>) -> Result<Option<Vec<u8>>, Unreadable> {
        self.up_to(|held| row_end(held, delimiter))
    }

    fn up_to(
        &mut self,
        end: impl Fn(&[u8]) -> Option<usize>,
    ) -> Result<Option<Vec<u8>>, Unreadable> {
        loop {
            let end = end(&self.held);
            let end = match end {
                Some(end) => end,
                None if self.ended && self.held.is_empty() => return Ok(None),
                None if self.ended => self.held.len(),
                None => {
                    too_long(self.held.len(), self.line)?;
                    self.more(64 * 1024)?;
                    continue;
                }
            };
            too_long(end, self.line)?;
            let behind = self.held.split_off(end);
            let row = std::mem::replace(&mut self.held, behind);
            self.line += line_ends(&row);
            return Ok(Some(row));
        }
    }

    /// The next piece; absent at the end of the file.
    pub fn piece(&mut self, delimiter: u8) -> Result<Option<Piece>, Unreadable> {
        let mut wanted = PIECE;
        loop {
            if !self.ended && self.held.len() < wanted {
                self.more(wanted - self.held.len())?;
                if !self.ended && self.held.len() < wanted {
                    continue;
                }
            }
            if self.held.is_empty() {
                return Ok(None);
            }
            let quoted = memchr::memchr(b'"', &self.held).is_some();
            let end = if self.ended {
                Some(self.held.len())
            } else if quoted {
                RowEnds { bytes: &self.held, at: 0, delimiter: Some(delimiter) }.last()
            } else {
                memchr::memrchr(b'\n', &self.held).map(|at| at + 1)
            };
            let Some(end) = end else {
                self.squeeze_nulls();
                too_long(self.held.len(), self.line)?;
                wanted = self.held.len() + PIECE;
                continue;
            };
            let behind = self.held[end..].to_vec();
            self.held.truncate(end);
            let bytes = std::mem::replace(&mut self.held, behind);
            let piece = Piece {
                first_line: self.line,
                quoted,
                ends_open: self.ended && !bytes.ends_with(b"\n"),
                bytes,
            };
            self.line += line_ends(&piece.bytes);
            return Ok(Some(piece));
        }
    }

    /// Recorders that lose power leave files that end in many zero bytes. They are no row that is too long: of a long run of
    /// them a few are kept, so that the row is refused as damaged and the rows before it are taken.
    fn squeeze_nulls(&mut self) {
        const KEPT: usize = 64;
        let nulls = self.held.iter().rev().take_while(|byte| **byte == 0).count();
        if nulls > LONGEST_ROW / 2 {
            self.held.truncate(self.held.len() - nulls + KEPT);
        }
    }

    /// Reads so many bytes more, or to the end.
    fn more(&mut self, bytes: usize) -> Result<(), Unreadable> {
        // The room is asked for once: a vector that grows by doubling would hold twice as much.
        self.held.reserve_exact(bytes);
        let before = self.held.len();
        self.source.by_ref().take(bytes as u64).read_to_end(&mut self.held)?;
        self.ended = self.held.len() - before < bytes;
        Ok(())
    }
}

/// Refuses a row of too many bytes.
pub(super) fn too_long(bytes: usize, line: u64) -> Result<(), Unreadable> {
    if bytes > LONGEST_ROW {
        return Err(Unreadable::TooMuch {
            line,
            what: "the number of bytes in one row",
            most: LONGEST_ROW as u64,
        });
    }
    Ok(())
}

fn line_ends(bytes: &[u8]) -> u64 {
    memchr::memchr_iter(b'\n', bytes).count() as u64
}

/// Where the first row ends: behind the first line end that stands in no quoted cell. The bytes begin with a row. Where the
/// delimiter is still to be found, it is any that may be.
pub(super) fn row_end(bytes: &[u8], delimiter: Option<u8>) -> Option<usize> {
    RowEnds { bytes, at: 0, delimiter }.next()
}

/// The ends of rows in bytes that begin with a row, by RFC 4180: a quote opens a cell only where the cell begins, and inside
/// a doubled quote stands for one.
struct RowEnds<'a> {
    bytes: &'a [u8],
    at: usize,
    delimiter: Option<u8>,
}

impl RowEnds<'_> {
    fn ends_a_cell(&self, byte: u8) -> bool {
        self.delimiter.map_or_else(|| DELIMITERS.contains(&byte), |delimiter| byte == delimiter)
    }
}

impl Iterator for RowEnds<'_> {
    type Item = usize;

    fn next(&mut self) -> Option<usize> {
        let first = self.at;
        loop {
            let found = self.at + memchr::memchr2(b'\n', b'"', self.bytes.get(self.at..)?)?;
            self.at = found + 1;
            if self.bytes[found] == b'\n' {
                return Some(self.at);
            }
            if found == first || self.ends_a_cell(self.bytes[found - 1]) {
                self.at += memchr::memchr(b'"', self.bytes.get(self.at..)?)? + 1;
                // A doubled quote goes on with the cell.
                while self.bytes.get(self.at) == Some(&b'"') {
                    self.at += 1;
                    self.at += memchr::memchr(b'"', self.bytes.get(self.at..)?)? + 1;
                }
            }
        }
    }
}
