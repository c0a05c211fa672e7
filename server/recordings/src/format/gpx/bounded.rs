//! Bytes for the XML reader, so many between two events and no more.

use std::io::{BufRead, BufReader, Error, Read, Result};

/// Bytes of one event (a tag, a text, a comment) that are taken at most; the reader keeps one in memory.
pub(super) const MOST_BYTES_OF_EVENT: usize = 1 << 18;

/// A source that fails where one event is longer than [`MOST_BYTES_OF_EVENT`], and counts lines.
pub(super) struct Bounded<R> {
    source: BufReader<R>,
    left: usize,
    /// The line that the next byte is in; the first is 1.
    pub(super) line: u64,
    /// Whether it failed because an event was too long.
    pub(super) overrun: bool,
}

impl<R: Read> Bounded<R> {
    pub(super) fn of(source: R) -> Self {
        let source = BufReader::with_capacity(1 << 16, source);
        Self { source, left: MOST_BYTES_OF_EVENT, line: 1, overrun: false }
    }

    /// Another event begins.
    pub(super) fn begin_event(&mut self) {
        self.left = MOST_BYTES_OF_EVENT;
    }
}

impl<R: Read> BufRead for Bounded<R> {
    fn fill_buf(&mut self) -> Result<&[u8]> {
        let bytes = self.source.fill_buf()?;
        if self.left == 0 && !bytes.is_empty() {
            self.overrun = true;
            return Err(Error::other("an event is too long"));
        }
        Ok(bytes.get(..self.left).unwrap_or(bytes))
    }

    fn consume(&mut self, amount: usize) {
        let taken = self.source.buffer().get(..amount).unwrap_or_default();
        self.line += memchr::memchr_iter(b'\n', taken).count() as u64;
        self.left = self.left.saturating_sub(amount);
        self.source.consume(amount);
    }
}

impl<R: Read> Read for Bounded<R> {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize> {
        let taken = self.fill_buf()?.read(buffer)?;
        self.consume(taken);
        Ok(taken)
    }
}
