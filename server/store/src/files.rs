//! The files that a ledger speaks of: held against their digests, and copied with it.

use std::collections::BTreeSet;
use std::fs;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use programme::entry::Entry;
use programme::record::{Digest, Record};
use sha2::Digest as _;
use sha2::Sha256;

use crate::data_dir::{make_private_directory, private_file, sync_directory};
use crate::objects::{FilesAt, ObjectError, path_in};

/// Bytes that are copied at a time.
const PART: usize = 256 * 1024;

/// A file that a record speaks of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileOfRecord {
    /// The record.
    pub seq: u64,
    /// SHA-256 of the file.
    pub digest: Digest,
    /// What it is.
    pub what: &'static str,
}

/// A file that a record speaks of and that is not there as it was.
#[derive(Debug, thiserror::Error)]
#[error("record {} speaks of {} {}, which is not there as it was", file.seq, file.what, file.digest)]
pub struct LostFile {
    /// Which.
    pub file: FileOfRecord,
    /// What is wrong with it.
    #[source]
    pub why: Lost,
}

/// What is wrong with a file.
#[derive(Debug, thiserror::Error)]
pub enum Lost {
    /// It is not there.
    #[error("it is not there")]
    Missing,
    /// Its bytes are others.
    #[error("it was altered: its bytes have the digest {computed}")]
    Altered {
        /// Of the bytes as they are.
        computed: Digest,
    },
    /// It cannot be read, or its copy not written.
    #[error("it cannot be read or copied")]
    Unreadable(#[source] io::Error),
}

/// The files that a record speaks of.
pub(crate) fn named_by(entry: &Entry) -> Vec<FileOfRecord> {
    let file =
        |digest: &Digest, what| FileOfRecord { seq: entry.seq, digest: digest.clone(), what };
    match &entry.record {
        Record::RecordingTaken(taken) => vec![
            file(&taken.recording, "a recorder's file"),
            file(&taken.columns, "the columns of a recording"),
        ],
        Record::ReductionMade(made) => vec![file(&made.given, "the input of a reduction")],
        _ => Vec::new(),
    }
}

/// How many files agree with their digests, and those that do not.
pub(crate) type Looked = (u64, Vec<LostFile>);

/// Holds files against their digests.
///
/// # Errors
///
/// [`ObjectError::Away`] where nothing can be told of them.
pub(crate) fn check(at: &FilesAt, files: &[FileOfRecord]) -> Result<Looked, ObjectError> {
    through(files, |file| digest_at(at, &file.digest))
}

/// Copies files to another place. What is there already and whole is not copied again.
///
/// # Errors
///
/// [`ObjectError::Away`] where one of the places cannot be used.
pub(crate) fn copy(
    from: &FilesAt,
    to: &FilesAt,
    files: &[FileOfRecord],
) -> Result<Looked, ObjectError> {
    through(files, |file| match digest_at(to, &file.digest) {
        Ok(there) if there == file.digest => Ok(there),
        Err(away @ ObjectError::Away { .. }) => Err(away),
        Ok(_) | Err(_) => copy_one(from, to, &file.digest),
    })
}

/// Goes through files, each digest once; `digest_of` gives the digest of the bytes.
fn through(
    files: &[FileOfRecord],
    digest_of: impl Fn(&FileOfRecord) -> Result<Digest, ObjectError>,
) -> Result<Looked, ObjectError> {
    let mut seen = BTreeSet::new();
    let (mut agreed, mut lost) = (0, Vec::new());
    for file in files.iter().filter(|file| seen.insert(&file.digest)) {
        let why = match digest_of(file) {
            Ok(computed) if computed == file.digest => {
                agreed += 1;
                continue;
            }
            Ok(computed) => Lost::Altered { computed },
            Err(ObjectError::Missing { .. }) => Lost::Missing,
            Err(away @ ObjectError::Away { .. }) => return Err(away),
            Err(ObjectError::Disk(error)) => Lost::Unreadable(error),
            Err(other) => Lost::Unreadable(io::Error::other(other)),
        };
        lost.push(LostFile { file: file.clone(), why });
    }
    Ok((agreed, lost))
}

fn digest_at(at: &FilesAt, digest: &Digest) -> Result<Digest, ObjectError> {
    let mut file = at.open(digest)?;
    let trouble = file.trouble();
    let computed = pass_on(&mut file, &mut io::sink());
    computed.map_err(|error| trouble.befell().unwrap_or(ObjectError::Disk(error)))
}

/// Gives bytes on, and the digest of them.
pub(crate) fn pass_on(from: &mut impl Read, to: &mut impl Write) -> io::Result<Digest> {
    Ok(pass_on_counted(from, to)?.1)
}

/// Gives bytes on: how many they were, and the digest of them.
pub(crate) fn pass_on_counted(
    from: &mut impl Read,
    to: &mut impl Write,
) -> io::Result<(u64, Digest)> {
    let mut hash = Sha256::new();
    let mut part = vec![0; PART];
    let mut bytes = 0;
    loop {
        match from.read(&mut part) {
            Ok(0) => return Ok((bytes, Digest::from_bytes(hash.finalize().into()))),
            Ok(read) => {
                bytes += read as u64;
                hash.update(&part[..read]);
                to.write_all(&part[..read])?;
            }
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
}

fn copy_one(from: &FilesAt, to: &FilesAt, digest: &Digest) -> Result<Digest, ObjectError> {
    let mut source = from.open(digest)?;
    let trouble = source.trouble();
    let copied = match to {
        FilesAt::Folder(folder) => {
            copy_into(&mut source, &path_in(folder, digest), digest).map_err(ObjectError::Disk)
        }
        FilesAt::Bucket(bucket) => {
            let bytes = source.size();
            bucket.put(digest, &mut source, bytes, &mut |_| Ok(()))
        }
    };
    copied.map_err(|error| trouble.befell().unwrap_or(error))
}

fn copy_into(source: &mut impl Read, target: &Path, digest: &Digest) -> io::Result<Digest> {
    let folder = target.parent().unwrap_or(Path::new("."));
    make_private_directory(folder)?;
    // Under a name of its own, since another backup may be copying the same file to the same folder.
    let mut part = target.as_os_str().to_owned();
    part.push(format!(".{}.part", uuid::Uuid::now_v7()));
    let part = PathBuf::from(part);
    let written = (|| {
        let mut copy = private_file(&part)?;
        let computed = pass_on(source, &mut copy)?;
        if computed == *digest {
            copy.sync_all()?;
            fs::rename(&part, target)?;
            // The folder may be new, and so may be the one that it stands in.
            for above in folder.ancestors().take(3).filter(|it| !it.as_os_str().is_empty()) {
                sync_directory(above)?;
            }
        }
        Ok(computed)
    })();
    // It has its name by now, or is of no use.
    let _ = fs::remove_file(&part);
    written
}
