//! The file of a pack as it is written: part by part, each hashed on the way.

use std::fs::File;
use std::io::{self, BufWriter, Read, Write};

use programme::record::Digest;
use sha2::{Digest as _, Sha256};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

use super::PackError;
use super::contents::SUMS;
use crate::files::pass_on_counted;
use crate::objects::Opened;

/// Beyond this a part needs the longer form of the format.
const LARGE: u64 = u32::MAX as u64 / 2;

/// So much of a file tells whether it is text, which becomes smaller, or packed already.
const LOOKED_AT: u64 = 4096;

/// Bytes that are copied at a time.
const CHUNK: usize = 256 * 1024;

/// The parts of a pack. What is written goes into the part that was begun last.
pub(super) struct Parts {
    zip: ZipWriter<BufWriter<File>>,
    sums: String,
    name: String,
    hash: Sha256,
}

impl Parts {
    pub fn new(file: File) -> Self {
        Self {
            zip: ZipWriter::new(BufWriter::new(file)),
            sums: String::new(),
            name: String::new(),
            hash: Sha256::new(),
        }
    }

    /// Begins a part whose size is not known before.
    pub fn begin(&mut self, name: &str) -> Result<(), PackError> {
        self.begin_as(name, CompressionMethod::Deflated, true)
    }

    fn begin_as(
        &mut self,
        name: &str,
        method: CompressionMethod,
        large: bool,
    ) -> Result<(), PackError> {
        self.end();
        // The time of every part is the same, so that the same contents are the same bytes.
        let options = SimpleFileOptions::default()
            .compression_method(method)
            .last_modified_time(DateTime::default())
            .unix_permissions(0o644)
            .large_file(large);
        self.zip.start_file(name, options)?;
        name.clone_into(&mut self.name);
        Ok(())
    }

    /// Notes the digest of the part that was begun last.
    fn end(&mut self) {
        let digest = Digest::from_bytes(std::mem::take(&mut self.hash).finalize().into());
        if !self.name.is_empty() {
            self.sums.push_str(&format!("{digest}  {}\n", self.name));
        }
    }

    /// Writes a whole part.
    pub fn put(&mut self, name: &str, bytes: &[u8]) -> Result<(), PackError> {
        self.begin_as(name, CompressionMethod::Deflated, bytes.len() as u64 > LARGE)?;
        Ok(self.write_all(bytes)?)
    }

    /// Copies a file in, and gives the digest of what was copied. `look` hears how much was.
    pub fn copy(
        &mut self,
        name: &str,
        mut from: Opened,
        mut look: impl FnMut(u64) -> Result<(), PackError>,
    ) -> Result<Digest, PackError> {
        let bytes = from.size();
        let mut chunk = Vec::with_capacity(CHUNK);
        Read::by_ref(&mut from).take(LOOKED_AT).read_to_end(&mut chunk)?;
        // Columns are packed already, and would only take time.
        let method =
            if is_text(&chunk) { CompressionMethod::Deflated } else { CompressionMethod::Stored };
        self.begin_as(name, method, bytes > LARGE)?;
        while !chunk.is_empty() {
            self.write_all(&chunk)?;
            look(chunk.len() as u64)?;
            chunk.clear();
            Read::by_ref(&mut from).take(CHUNK as u64).read_to_end(&mut chunk)?;
        }
        Ok(Digest::from_bytes(self.hash.clone().finalize().into()))
    }

    /// Writes the digests of all parts, and gives size and digest of the whole once it is on disk.
    pub fn finish(mut self) -> Result<(u64, Digest), PackError> {
        self.end();
        self.name.clear();
        let sums = std::mem::take(&mut self.sums);
        self.put(SUMS, sums.as_bytes())?;
        let mut file = self.zip.finish()?.into_inner().map_err(|error| error.into_error())?;
        file.sync_all()?;
        io::Seek::rewind(&mut file)?;
        Ok(pass_on_counted(&mut file, &mut io::sink())?)
    }
}

impl Write for Parts {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.zip.write(bytes)?;
        self.hash.update(&bytes[..written]);
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

fn is_text(first: &[u8]) -> bool {
    !first.is_empty() && !first.contains(&0) && first.is_ascii()
}
