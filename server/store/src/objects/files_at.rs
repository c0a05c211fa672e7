//! Where files are kept: in a folder, or in a bucket.
//!
//! Everything here waits for disk or network: call it where a thread may wait.

use std::collections::HashSet;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use programme::record::Digest;

use super::{Bucket, INCOMING, Incoming, ObjectError, Opened, folder_in, mark, path_in};
use crate::data_dir::{make_private_directory, sync_directory};
use crate::whereabouts::Whereabouts;

/// Where files are kept.
#[derive(Debug, Clone)]
pub(crate) enum FilesAt {
    /// In a folder of this machine.
    Folder(PathBuf),
    /// In a bucket of an object store.
    Bucket(Bucket),
}

impl FilesAt {
    /// Where the files of a store are.
    ///
    /// # Errors
    ///
    /// [`ObjectError`], where the environment does not tell how to reach the object store, or they are known to be elsewhere.
    pub fn of(whereabouts: &Whereabouts) -> Result<Self, ObjectError> {
        mark::check(&whereabouts.data, whereabouts.recordings.as_ref())?;
        match &whereabouts.recordings {
            None => Ok(FilesAt::Folder(folder_in(&whereabouts.data))),
            Some(url) => Ok(FilesAt::Bucket(Bucket::of_the_environment(url)?)),
        }
    }

    /// Where the files of a store are that is about to be opened. An object store that does not answer is tried again with each
    /// use; one that does not let this machine in is told at once, before anything is made.
    ///
    /// # Errors
    ///
    /// As [`FilesAt::of`], and [`ObjectError::Away`].
    pub fn to_open(whereabouts: &Whereabouts) -> Result<Self, ObjectError> {
        let at = Self::of(whereabouts)?;
        if let FilesAt::Bucket(bucket) = &at
            && let Err(ObjectError::Away { place, why }) = bucket.reach()
            && why.is_lasting()
        {
            return Err(ObjectError::Away { place, why });
        }
        Ok(at)
    }

    /// A file, opened for reading.
    ///
    /// # Errors
    ///
    /// [`ObjectError::Missing`], or where it cannot be read.
    pub fn open(&self, digest: &Digest) -> Result<Opened, ObjectError> {
        let missing = || ObjectError::Missing { digest: digest.clone() };
        match self {
            FilesAt::Folder(root) => match File::open(path_in(root, digest)) {
                Ok(file) => Ok(Opened::on_disk(file)?),
                Err(error) if error.kind() == io::ErrorKind::NotFound => Err(missing()),
                Err(error) => Err(error.into()),
            },
            FilesAt::Bucket(bucket) => {
                let found = bucket.found(digest)?.ok_or_else(missing)?;
                let near = bucket.near(digest, &found)?;
                Ok(Opened::in_a_bucket(bucket, digest, found.size, near))
            }
        }
    }

    /// The size of a file; none where there is none of that digest.
    ///
    /// # Errors
    ///
    /// [`ObjectError`], where it cannot be looked up.
    pub fn bytes_of(&self, digest: &Digest) -> Result<Option<u64>, ObjectError> {
        match self {
            FilesAt::Folder(root) => match fs::metadata(path_in(root, digest)) {
                Ok(found) => Ok(Some(found.len())),
                Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
                Err(error) => Err(error.into()),
            },
            FilesAt::Bucket(bucket) => Ok(bucket.found(digest)?.map(|found| found.size)),
        }
    }
}

/// Gives a file that is being written its name in a folder, on disk; tells whether there was one of that name.
pub(super) fn keep(root: &Path, incoming: &Incoming, digest: &Digest) -> io::Result<bool> {
    incoming.file.sync_all()?;
    let path = path_in(root, digest);
    let was_there = path.exists();
    let group = path.parent().unwrap_or(root);
    make_private_directory(group)?;
    fs::rename(&incoming.path, &path)?;
    // The folder may be new as well.
    sync_directory(group)?;
    sync_directory(root)?;
    Ok(was_there)
}

/// Removes the files of a folder that are none of these; anything else in it stays.
pub(super) fn remove_all_but(root: &Path, named: &HashSet<Digest>) -> io::Result<u64> {
    let mut removed = 0;
    for group in fs::read_dir(root)? {
        let group = group?;
        if group.file_name() == INCOMING || !group.file_type()?.is_dir() {
            continue;
        }
        for file in fs::read_dir(group.path())? {
            let path = file?.path();
            let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
            // What does not stand where a file of this digest is kept is none of ours.
            if let Ok(digest) = Digest::try_from(name.to_owned())
                && path_in(root, &digest) == path
                && !named.contains(&digest)
            {
                fs::remove_file(&path)?;
                removed += 1;
            }
        }
    }
    Ok(removed)
}
