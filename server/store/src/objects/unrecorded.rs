//! What this server put into a bucket and no record speaks of, because it was killed or its record was refused.
//!
//! Other servers put files there too, and another one may just be recording the same file. So nothing is looked for in the
//! bucket: a note on this machine's disk tells of each file that was new there, and which upload in parts is under way. When the
//! program starts, what a note tells of and no record speaks of is removed, unless somebody has put it again since.

use std::collections::HashSet;
use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use chrono::{DateTime, SecondsFormat, Utc};
use programme::record::Digest;

use super::bucket::UploadId;
use super::{Bucket, Incoming, ObjectError};
use crate::data_dir::{private_file, sync_directory};

/// What the name of a note ends with.
const NOTE: &str = "note";

/// Whether a file is a note.
pub(super) fn is_note(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ending == NOTE)
}

/// What a note tells of.
#[derive(Debug, PartialEq, Eq)]
enum Told {
    /// An upload in parts, which may be under way.
    Upload(UploadId),
    /// A file that was not there before, and when it was put.
    Put(DateTime<Utc>),
}

fn write(folder: &Path, path: &Path, digest: &Digest, told: &Told) -> io::Result<()> {
    let text = match told {
        Told::Upload(id) => format!("{digest} upload {id}\n"),
        Told::Put(at) => {
            format!("{digest} put {}\n", at.to_rfc3339_opts(SecondsFormat::Millis, true))
        }
    };
    let mut file = private_file(path)?;
    file.set_len(0)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    sync_directory(folder)
}

fn read(path: &Path) -> Option<(Digest, Told)> {
    let text = fs::read_to_string(path).ok()?;
    let mut words = text.trim_end().splitn(3, ' ');
    let digest = Digest::try_from(words.next()?.to_owned()).ok()?;
    let told = match (words.next()?, words.next()?) {
        ("upload", id) => Told::Upload(id.to_owned()),
        ("put", at) => Told::Put(at.parse().ok()?),
        _ => return None,
    };
    Some((digest, told))
}

/// Puts a file into a bucket, and leaves a note of it; tells whether there was one of that digest.
pub(super) fn keep(
    folder: &Path,
    bucket: &Bucket,
    incoming: &Incoming,
    digest: &Digest,
) -> Result<bool, ObjectError> {
    let was_there = bucket.found(digest)?.is_some();
    let note: PathBuf = incoming.path.with_extension(NOTE);
    let mut in_parts = |upload: Option<&UploadId>| match upload {
        Some(id) => write(folder, &note, digest, &Told::Upload(id.clone())),
        None => fs::remove_file(&note),
    };
    let computed = bucket.put(digest, &mut incoming.reader()?, incoming.bytes, &mut in_parts)?;
    if computed != *digest {
        return Err(ObjectError::Altered { digest: digest.clone(), computed });
    }
    match bucket.found(digest)? {
        Some(found) if found.size == incoming.bytes && was_there => {
            // There is one after an upload in parts alone.
            let _ = fs::remove_file(&note);
        }
        Some(found) if found.size == incoming.bytes => {
            write(folder, &note, digest, &Told::Put(found.last_modified))?;
        }
        Some(_) | None => return Err(ObjectError::Missing { digest: digest.clone() }),
    }
    Ok(was_there)
}

/// Removes what notes tell of and no record speaks of; how many files that were. A note that cannot be followed yet, since the
/// object store does not answer, stays for the next time.
pub(super) fn settle(
    folder: &Path,
    bucket: &Bucket,
    named: &HashSet<Digest>,
) -> Result<u64, ObjectError> {
    let mut removed = 0;
    for found in fs::read_dir(folder)? {
        let path = found?.path();
        if !is_note(&path) {
            continue;
        }
        let settled = match read(&path) {
            // It was cut while it was written, so that nothing had been sent.
            None => Ok(false),
            Some((digest, Told::Upload(id))) => bucket.abandon(&digest, &id).map(|()| false),
            Some((digest, Told::Put(_))) if named.contains(&digest) => Ok(false),
            Some((digest, Told::Put(at))) => match bucket.found(&digest) {
                Ok(Some(found)) if found.last_modified == at => {
                    bucket.remove(&digest).map(|()| true)
                }
                Ok(_) => Ok(false),
                Err(error) => Err(error),
            },
        };
        match settled {
            Ok(was_removed) => {
                removed += u64::from(was_removed);
                fs::remove_file(&path)?;
            }
            Err(error) => {
                tracing::warn!(
                    error = &error as &dyn std::error::Error,
                    "what an earlier run left in the object store is looked at when the program starts next"
                );
                // The others would wait as long.
                break;
            }
        }
    }
    Ok(removed)
}
