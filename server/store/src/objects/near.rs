//! Parts of a file in a bucket that were fetched, kept on this machine's disk while somebody may read them again.
//!
//! Reading one channel after the other goes through the same columns again and again; without this most of them would be fetched as
//! often as there are channels. The file has no name, so that nothing is left of it.

use std::collections::{BTreeSet, VecDeque};
use std::fs::{self, File};
use std::io::{self, Read as _, Seek as _, SeekFrom, Write as _};
use std::path::Path;
use std::sync::Arc;

use chrono::{DateTime, Utc};
use parking_lot::Mutex;
use programme::record::Digest;

use crate::data_dir::private_file;

/// Bytes that are fetched together, so that what lies side by side comes at once.
pub(super) const BLOCK: u64 = 512 * 1024;

/// Files of which parts are kept.
const FILES: usize = 4;

/// Parts of one file.
#[derive(Debug)]
pub(super) struct Near(Mutex<Blocks>);

#[derive(Debug)]
struct Blocks {
    file: File,
    there: BTreeSet<u64>,
}

/// Which file, as it was put at which moment: one that was healed since is another.
type Version = (Digest, DateTime<Utc>, u64);

/// The files that were read last.
#[derive(Debug, Default)]
pub(super) struct Lately(Mutex<VecDeque<(Version, Arc<Near>)>>);

impl Lately {
    /// What is near of a file.
    pub fn of(&self, folder: &Path, version: Version) -> io::Result<Arc<Near>> {
        let mut lately = self.0.lock();
        let place = lately.iter().position(|(known, _)| *known == version);
        let found = match place.and_then(|place| lately.remove(place)) {
            Some((_, near)) => near,
            None => Arc::new(Near::begun_in(folder)?),
        };
        lately.push_back((version, Arc::clone(&found)));
        while lately.len() > FILES {
            lately.pop_front();
        }
        Ok(found)
    }
}

impl Near {
    fn begun_in(folder: &Path) -> io::Result<Self> {
        let path = folder.join(uuid::Uuid::now_v7().to_string());
        let file = private_file(&path)?;
        // It is there as long as somebody has it open.
        fs::remove_file(&path)?;
        Ok(Self(Mutex::new(Blocks { file, there: BTreeSet::new() })))
    }

    /// A run of blocks beginning with this one that are all missing, at most up to `last`; none where this one is there.
    pub fn missing(&self, first: u64, last: u64) -> u64 {
        let blocks = self.0.lock();
        (first..=last).take_while(|number| !blocks.there.contains(number)).count() as u64
    }

    /// Keeps whole blocks from this one on; only that of the end of the file may be shorter.
    pub fn keep(&self, first: u64, bytes: &[u8]) -> io::Result<()> {
        let mut blocks = self.0.lock();
        blocks.file.seek(SeekFrom::Start(first * BLOCK))?;
        blocks.file.write_all(bytes)?;
        let count = (bytes.len() as u64).div_ceil(BLOCK);
        blocks.there.extend(first..first + count);
        Ok(())
    }

    /// Reads what is there.
    pub fn read(&self, start: u64, into: &mut [u8]) -> io::Result<()> {
        let mut blocks = self.0.lock();
        blocks.file.seek(SeekFrom::Start(start))?;
        blocks.file.read_exact(into)
    }
}
