//! Checksums of the bytes of a file, so that a damaged figure is never taken for a measured one.
//!
//! Parquet has room for a checksum of each page, but what writes the pages here leaves it empty, and a figure packed with
//! zstd may change without anybody seeing it. So the footer has, under `crc32`, the checksums of every 64 KiB before it.

use std::fs::File;
use std::io::{self, Read, Seek as _, SeekFrom, Write};
use std::sync::{Arc, Mutex};

use bytes::{Buf, Bytes};
use parquet::errors::{ParquetError, Result};
use parquet::file::reader::{ChunkReader, Length};

/// Bytes under one checksum.
const SEGMENT: usize = 64 * 1024;

/// The key of the checksums in the footer: eight hexadecimal digits each, in the order of the file.
pub(super) const SUMS: &str = "crc32";

/// Counts and sums the bytes on their way.
pub(super) struct Summed<W> {
    pub into: W,
    pub bytes: u64,
    open: crc32fast::Hasher,
    in_open: usize,
    sums: String,
}

impl<W> Summed<W> {
    pub fn new(into: W) -> Self {
        Self { into, bytes: 0, open: crc32fast::Hasher::new(), in_open: 0, sums: String::new() }
    }

    /// The checksums of all bytes so far, after their number in hexadecimal digits and a colon.
    pub fn sums(&self) -> String {
        let last = (self.in_open > 0).then(|| format!("{:08x}", self.open.clone().finalize()));
        format!("{:x}:{}{}", self.bytes, self.sums, last.unwrap_or_default())
    }

    fn sum(&mut self, mut bytes: &[u8]) {
        self.bytes += bytes.len() as u64;
        while !bytes.is_empty() {
            let (now, later) = bytes.split_at(bytes.len().min(SEGMENT - self.in_open));
            self.open.update(now);
            self.in_open += now.len();
            if self.in_open == SEGMENT {
                let sum = std::mem::take(&mut self.open).finalize();
                self.sums.push_str(&format!("{sum:08x}"));
                self.in_open = 0;
            }
            bytes = later;
        }
    }
}

impl<W: Write> Write for Summed<W> {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        let written = self.into.write(bytes)?;
        self.sum(bytes.get(..written).unwrap_or(bytes));
        Ok(written)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        self.into.flush()
    }
}

/// The checksums of a file.
#[derive(Debug, Default)]
pub(super) struct Sums {
    bytes: u64,
    sums: Vec<u32>,
}

impl Sums {
    /// Reads what [`Summed::sums`] gave; absent where it is something else.
    pub fn parse(text: &str) -> Option<Self> {
        let (bytes, sums) = text.split_once(':')?;
        let bytes = u64::from_str_radix(bytes, 16).ok()?;
        let digits = sums.as_bytes().chunks(8).map(std::str::from_utf8);
        let sums: Vec<u32> =
            digits.map(|sum| u32::from_str_radix(sum.ok()?, 16).ok()).collect::<Option<_>>()?;
        (sums.len() as u64 == bytes.div_ceil(SEGMENT as u64)).then_some(Self { bytes, sums })
    }
}

/// A source that many readings share, and whose bytes are held against their checksums as they are read.
///
/// A file has only one place at which it is read, so that one reading at a time has it. Unpacking goes on side by side.
#[derive(Debug)]
pub(super) struct Checked<R> {
    pub source: Arc<Mutex<R>>,
    pub sums: Arc<Sums>,
}

impl<R> Clone for Checked<R> {
    fn clone(&self) -> Self {
        Self { source: Arc::clone(&self.source), sums: Arc::clone(&self.sums) }
    }
}

/// Bytes that are read part by part: of a file, or of what is kept elsewhere.
pub trait Parts: Send {
    /// How many there are.
    ///
    /// # Errors
    ///
    /// Where that cannot be looked up.
    fn bytes(&self) -> io::Result<u64>;

    /// So many from one place on.
    ///
    /// # Errors
    ///
    /// Where there are fewer, or they cannot be read.
    fn part(&self, start: u64, length: usize) -> io::Result<Bytes>;
}

impl Parts for File {
    fn bytes(&self) -> io::Result<u64> {
        Ok(self.metadata()?.len())
    }

    fn part(&self, start: u64, length: usize) -> io::Result<Bytes> {
        let mut file = self;
        file.seek(SeekFrom::Start(start))?;
        let mut part = Vec::with_capacity(length);
        let read = file.take(length as u64).read_to_end(&mut part)?;
        if read < length {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        Ok(part.into())
    }
}

impl Parts for Bytes {
    fn bytes(&self) -> io::Result<u64> {
        Ok(self.len() as u64)
    }

    fn part(&self, start: u64, length: usize) -> io::Result<Bytes> {
        let start = usize::try_from(start).unwrap_or(usize::MAX);
        let end = start.checked_add(length).filter(|end| *end <= self.len());
        end.map(|end| self.slice(start..end)).ok_or_else(|| io::ErrorKind::UnexpectedEof.into())
    }
}

impl<R: Parts> Checked<R> {
    fn bytes(&self, start: u64, length: usize) -> Result<Bytes> {
        let source = self.source.lock().map_err(|_| {
            ParquetError::General("another reading of the file has failed".to_owned())
        })?;
        Ok(source.part(start, length)?)
    }

    /// Bytes from one place on; those of every segment that they touch are checked.
    fn checked(&self, start: u64, length: usize) -> Result<Bytes> {
        let segment = SEGMENT as u64;
        let end = start.saturating_add(length as u64);
        if start >= self.sums.bytes || length == 0 {
            return self.bytes(start, length);
        }
        let first = start / segment * segment;
        let to = end.div_ceil(segment).saturating_mul(segment).min(self.sums.bytes).max(end);
        let bytes = self.bytes(first, (to - first) as usize)?;
        let covered = bytes.get(..(self.sums.bytes.min(to) - first) as usize).unwrap_or(&bytes);
        let sums = self.sums.sums.iter().skip((first / segment) as usize);
        for (place, (bytes, sum)) in covered.chunks(SEGMENT).zip(sums).enumerate() {
            if crc32fast::hash(bytes) != *sum {
                let at = first + place as u64 * segment;
                return Err(ParquetError::General(format!(
                    "the checksum of the {} bytes from byte {at} on does not fit",
                    bytes.len()
                )));
            }
        }
        let skipped = (start - first) as usize;
        Ok(bytes.slice(skipped.min(bytes.len())..(skipped + length).min(bytes.len())))
    }
}

impl<R: Parts> Length for Checked<R> {
    fn len(&self) -> u64 {
        self.source.lock().map_or(0, |source| source.bytes().unwrap_or(0))
    }
}

impl<R: Parts> ChunkReader for Checked<R> {
    type T = InTurn<R>;

    fn get_read(&self, start: u64) -> Result<Self::T> {
        Ok(InTurn { source: self.clone(), at: start, held: Bytes::new() })
    }

    fn get_bytes(&self, start: u64, length: usize) -> Result<Bytes> {
        self.checked(start, length)
    }
}

/// Reads one segment after the other.
pub(super) struct InTurn<R> {
    source: Checked<R>,
    at: u64,
    held: Bytes,
}

impl<R: Parts> Read for InTurn<R> {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        if self.held.is_empty() {
            let left = self.source.len().saturating_sub(self.at);
            let to_border = SEGMENT as u64 - self.at % SEGMENT as u64;
            let length = left.min(to_border) as usize;
            self.held = self.source.checked(self.at, length).map_err(std::io::Error::other)?;
            self.at += length as u64;
        }
        let length = into.len().min(self.held.len());
        if let (Some(to), Some(from)) = (into.get_mut(..length), self.held.get(..length)) {
            to.copy_from_slice(from);
        }
        self.held.advance(length);
        Ok(length)
    }
}
