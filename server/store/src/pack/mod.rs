//! Packs: evidence of a programme, or of a part of it, in one file that anybody can check without this server, and mostly
//! without this program: `readme.txt` tells how.
//!
//! The same checkpoint and scope give the same bytes, so that two people who ask for the same have the same digest.

mod check;
mod contents;
mod import;
mod lines;
mod parts;
mod write;
mod zipped;

use std::io;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use programme::codes::{PersonHandle, ProgrammeId};
use programme::entry::UnreadableEntry;
use programme::ledger::NodeHash;
use programme::record::Digest;
use programme::scope::{NothingInScope, Scope};

use crate::objects::ObjectError;

pub use check::{Held, PackFault, PackVerdict, check_pack};
pub use contents::RecordingsIn;
pub use import::{ImportPackError, Moved, looks_like_a_pack, move_in};

/// What somebody wants packed.
#[derive(Debug, Clone)]
pub struct PackOrder {
    /// The programme.
    pub programme: ProgrammeId,
    /// Which part of it.
    pub scope: Scope,
    /// Whether the files of recordings come along.
    pub recordings: RecordingsIn,
    /// Further files at the top of the pack, such as a document to read. Nothing binds them to the ledger, and the pack says so.
    pub besides: Vec<NamedFile>,
}

/// A file that comes along.
#[derive(Debug, Clone)]
pub struct NamedFile {
    /// Its name: letters, digits, dots, dashes and underscores, and none of the pack's own names.
    pub name: String,
    /// Its bytes; the same state and scope have to give the same ones.
    pub bytes: Vec<u8>,
}

/// A pack that was made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackMade {
    /// Its size in bytes.
    pub bytes: u64,
    /// SHA-256 of it.
    pub digest: Digest,
    /// How many records are in it.
    pub records: u64,
    /// How many records the ledger has up to its checkpoint.
    pub size: u64,
    /// The root over those.
    pub root: NodeHash,
}

/// How far a pack has come; whoever asked for it can stop it.
#[derive(Debug, Default)]
pub struct Progress {
    done: AtomicU64,
    of: AtomicU64,
    stopped: AtomicBool,
}

impl Progress {
    /// How much is done, from 0 to 1.
    pub fn share(&self) -> f64 {
        let (done, of) = self.done_of();
        if of == 0 { 0.0 } else { done as f64 / of as f64 }
    }

    /// How much is done, and of how much, in a measure of its own that is about bytes. What is expected can grow.
    pub fn done_of(&self) -> (u64, u64) {
        let (done, of) = (self.done.load(Ordering::Relaxed), self.of.load(Ordering::Relaxed));
        (done.min(of), of)
    }

    /// Has the work end soon, and leave nothing behind.
    pub fn stop(&self) {
        self.stopped.store(true, Ordering::Relaxed);
    }

    fn expect(&self, work: u64) {
        self.of.fetch_add(work, Ordering::Relaxed);
    }

    fn advance(&self, work: u64) -> Result<(), PackError> {
        self.done.fetch_add(work, Ordering::Relaxed);
        if self.stopped.load(Ordering::Relaxed) { Err(PackError::Stopped) } else { Ok(()) }
    }
}

/// A pack that was not made. Nothing of it is left.
#[derive(Debug, thiserror::Error)]
pub enum PackError {
    /// There is no such programme.
    #[error("there is no programme {0}")]
    UnknownProgramme(ProgrammeId),
    /// There is no such part of it.
    #[error(transparent)]
    Nothing(#[from] NothingInScope),
    /// No checkpoint was signed yet.
    #[error("no checkpoint of this ledger was signed yet; record something, and ask again")]
    NotSigned,
    /// A further file has a name that is taken or not allowed.
    #[error("{name} cannot be the name of a file in a pack")]
    Name {
        /// The name.
        name: String,
    },
    /// A record cannot be read.
    #[error("record {seq} cannot be read")]
    Unreadable {
        /// Which.
        seq: u64,
        /// Why.
        #[source]
        source: UnreadableEntry,
    },
    /// A record is not there, or its text not the one that was hashed.
    #[error("record {seq} is not there as it was; run rungbook verify")]
    Altered {
        /// Which.
        seq: u64,
    },
    /// A file that a record speaks of is not there as it was.
    #[error("the file {digest} that record {seq} speaks of is not there as it was")]
    Lost {
        /// The record.
        seq: u64,
        /// The file.
        digest: Digest,
    },
    /// The recordings are in an object store that cannot be reached.
    #[error("the object store in which recordings are cannot be reached")]
    Away(#[source] ObjectError),
    /// It was stopped before it was done.
    #[error("it was stopped before it was done")]
    Stopped,
    /// The disk is full.
    #[error("the disk is full; make room, and ask again")]
    DiskFull,
    /// The file exists.
    #[error("{path} exists already; choose another name")]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// The file cannot be written, or the recordings not read.
    #[error("the pack cannot be written")]
    Disk(#[source] io::Error),
    /// The database cannot be read.
    #[error(transparent)]
    Read(#[from] crate::fault::ReadError),
}

impl From<io::Error> for PackError {
    fn from(error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => PackError::DiskFull,
            _ => PackError::Disk(error),
        }
    }
}

impl From<zip::result::ZipError> for PackError {
    fn from(error: zip::result::ZipError) -> Self {
        io::Error::from(error).into()
    }
}

impl From<sqlx::Error> for PackError {
    fn from(error: sqlx::Error) -> Self {
        PackError::Read(error.into())
    }
}

/// A person whom the records of a programme name.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PersonNamed {
    /// The handle.
    pub handle: PersonHandle,
    /// The name as last listed; else the handle.
    pub name: String,
}
