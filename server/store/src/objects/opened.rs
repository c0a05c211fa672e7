//! A kept file, opened for reading.

use std::fs::File;
use std::io::{self, Read, Seek as _, SeekFrom};
use std::sync::{Arc, OnceLock};

use bytes::Bytes;
use programme::record::Digest;

use super::ObjectError;
use super::bucket::Bucket;
use super::near::{BLOCK, Near};

/// Bytes that are fetched together where a file is read from one end to the other.
const AHEAD: u64 = 2 * BLOCK;

/// A kept file, opened for reading, from one end to the other or part by part. Of one in a bucket only what is read comes.
#[derive(Debug)]
pub struct Opened {
    source: Source,
    bytes: u64,
    /// Where reading goes on.
    at: u64,
}

#[derive(Debug)]
enum Source {
    Disk(File),
    Bucket(Remote),
}

#[derive(Debug)]
struct Remote {
    bucket: Bucket,
    digest: Digest,
    near: Option<Arc<Near>>,
    ahead: Bytes,
    trouble: Trouble,
}

/// Tells whether a file stopped coming while it was read, so that this is not taken for damage.
#[derive(Debug, Clone, Default)]
pub struct Trouble(Arc<OnceLock<ObjectError>>);

impl Trouble {
    /// What befell it, where anything did.
    pub fn befell(self) -> Option<ObjectError> {
        match self.0.get()? {
            ObjectError::Away { place, why } => {
                Some(ObjectError::Away { place: place.clone(), why: why.clone() })
            }
            _ => None,
        }
    }
}

impl Opened {
    /// A file of this machine.
    ///
    /// # Errors
    ///
    /// Where its size cannot be looked up.
    pub fn on_disk(file: File) -> io::Result<Self> {
        let bytes = file.metadata()?.len();
        Ok(Self { source: Source::Disk(file), bytes, at: 0 })
    }

    /// A file of a bucket, with what is near of it.
    pub(super) fn in_a_bucket(
        bucket: &Bucket,
        digest: &Digest,
        bytes: u64,
        near: Option<Arc<Near>>,
    ) -> Self {
        let remote = Remote {
            bucket: bucket.clone(),
            digest: digest.clone(),
            near,
            ahead: Bytes::new(),
            trouble: Trouble::default(),
        };
        Self { source: Source::Bucket(remote), bytes, at: 0 }
    }

    /// How large it is.
    pub fn size(&self) -> u64 {
        self.bytes
    }

    /// Tells later whether the file stopped coming.
    pub fn trouble(&self) -> Trouble {
        match &self.source {
            Source::Disk(_) => Trouble::default(),
            Source::Bucket(remote) => remote.trouble.clone(),
        }
    }

    /// A part of it. One reading at a time has a file.
    ///
    /// # Errors
    ///
    /// Where it is shorter, or cannot be read.
    pub fn part(&self, start: u64, length: usize) -> io::Result<Bytes> {
        let end = start.checked_add(length as u64).filter(|end| *end <= self.bytes);
        let end = end.ok_or(io::ErrorKind::UnexpectedEof)?;
        match &self.source {
            Source::Disk(file) => {
                let mut file = file;
                file.seek(SeekFrom::Start(start))?;
                let mut part = vec![0; length];
                file.read_exact(&mut part)?;
                Ok(part.into())
            }
            Source::Bucket(remote) => remote.part(start, end, self.bytes),
        }
    }
}

impl Read for Opened {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        match &mut self.source {
            Source::Disk(file) => file.read(into),
            Source::Bucket(remote) => {
                if remote.ahead.is_empty() {
                    let end = self.bytes.min(self.at + AHEAD);
                    remote.ahead = remote.fetch(self.at, end)?;
                }
                let length = into.len().min(remote.ahead.len());
                into[..length].copy_from_slice(&remote.ahead.split_to(length));
                self.at += length as u64;
                Ok(length)
            }
        }
    }
}

impl Remote {
    fn fetch(&self, start: u64, end: u64) -> io::Result<Bytes> {
        let fetched = self.bucket.part(&self.digest, start..end).map_err(|error| {
            let told = io::Error::other(error.to_string());
            // The first is told.
            let _ = self.trouble.0.set(error);
            told
        })?;
        if fetched.len() as u64 != end - start {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        Ok(fetched)
    }

    /// Reads a part out of the blocks that it touches. Those that are missing side by side are fetched at once.
    fn part(&self, start: u64, end: u64, bytes: u64) -> io::Result<Bytes> {
        if start >= end {
            return Ok(Bytes::new());
        }
        let Some(near) = &self.near else { return self.fetch(start, end) };
        let (mut number, last) = (start / BLOCK, (end - 1) / BLOCK);
        while number <= last {
            let missing = near.missing(number, last);
            if missing > 0 {
                let to = bytes.min((number + missing) * BLOCK);
                near.keep(number, &self.fetch(number * BLOCK, to)?)?;
            }
            number += missing.max(1);
        }
        let mut part = vec![0; (end - start) as usize];
        near.read(start, &mut part)?;
        Ok(part.into())
    }
}
