//! Files that records speak of, each under the SHA-256 of its bytes: recorder files as they came, and their columns.
//!
//! A file is written beside the others first, hashed on the way, and gets its name only once it is whole and on disk. What
//! breaks off before leaves nothing behind.

use std::collections::HashSet;
use std::fs::{self, File};
use std::io::{self, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use object_store::local::LocalFileSystem;
use object_store::path::Path as Key;
use object_store::{GetResultPayload, ObjectStoreExt};
use programme::record::Digest;
use sha2::Digest as _;
use sha2::Sha256;

use crate::data_dir::{make_private_directory, private_file};
use crate::files::pass_on;

/// The folder of the files in a data directory.
const FOLDER: &str = "recordings";

/// The folder in it for what is being written.
const INCOMING: &str = "incoming";

/// A file that could not be kept or read.
#[derive(Debug, thiserror::Error)]
pub enum ObjectError {
    /// There is none of this digest.
    #[error("there is no file {digest}")]
    Missing {
        /// The digest.
        digest: Digest,
    },
    /// Its bytes are not those that were kept.
    #[error("file {digest} was altered: its bytes have the digest {computed}")]
    Altered {
        /// The digest it is kept under.
        digest: Digest,
        /// Of its bytes.
        computed: Digest,
    },
    /// The disk is full.
    #[error("the disk is full")]
    DiskFull,
    /// The folder cannot be used.
    #[error("the folder of the files cannot be used")]
    Disk(#[source] io::Error),
    /// The object store cannot be used.
    #[error("the object store cannot be used")]
    Store(#[source] object_store::Error),
}

impl From<io::Error> for ObjectError {
    fn from(error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => ObjectError::DiskFull,
            _ => ObjectError::Disk(error),
        }
    }
}

/// The files of one data directory. Clones are handles to the same files.
#[derive(Debug, Clone)]
pub struct Objects {
    root: PathBuf,
    store: Arc<LocalFileSystem>,
}

/// A file that is being written. Dropped before it is kept, it is removed.
#[derive(Debug)]
pub struct Incoming {
    file: File,
    path: PathBuf,
    name: String,
    hash: Sha256,
    bytes: u64,
}

/// A file that is on disk under its digest.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    /// SHA-256 of its bytes.
    pub digest: Digest,
    /// Its size.
    pub bytes: u64,
    /// Whether the same bytes were there before.
    pub was_there: bool,
}

/// Where the files of a data directory are.
pub(crate) fn folder_in(data_dir: &Path) -> PathBuf {
    data_dir.join(FOLDER)
}

impl Objects {
    /// Opens the files of a data directory, and removes what was being written when the program last ended.
    ///
    /// # Errors
    ///
    /// [`ObjectError`], where the folder cannot be used.
    pub(crate) fn open(data_dir: &Path) -> Result<Self, ObjectError> {
        let root = folder_in(data_dir);
        let incoming = root.join(INCOMING);
        make_private_directory(&incoming)?;
        for left in fs::read_dir(&incoming)? {
            fs::remove_file(left?.path())?;
        }
        let store = LocalFileSystem::new_with_prefix(&root).map_err(ObjectError::Store)?;
        Ok(Self { root, store: Arc::new(store.with_fsync(true)) })
    }

    /// Opens the files of a data directory whose folder of files other servers may share. What is being written there may be
    /// theirs, so only what nobody has written to for a day is removed.
    ///
    /// # Errors
    ///
    /// [`ObjectError`], where the folder cannot be used.
    pub(crate) fn open_beside_others(data_dir: &Path) -> Result<Self, ObjectError> {
        const LEFT_FOR: Duration = Duration::from_secs(24 * 3600);
        let root = folder_in(data_dir);
        let incoming = root.join(INCOMING);
        make_private_directory(&incoming)?;
        for left in fs::read_dir(&incoming)? {
            let left = left?;
            let age = left.metadata().and_then(|found| found.modified()).map(|at| at.elapsed());
            if age.is_ok_and(|age| age.is_ok_and(|age| age > LEFT_FOR)) {
                fs::remove_file(left.path())?;
            }
        }
        let store = LocalFileSystem::new_with_prefix(&root).map_err(ObjectError::Store)?;
        Ok(Self { root, store: Arc::new(store.with_fsync(true)) })
    }

    /// Removes the files that no record speaks of: those whose record could not be written after they were kept. Call it
    /// only while nothing is being taken in, with all digests that records speak of. Anything else in the folder stays.
    ///
    /// # Errors
    ///
    /// [`ObjectError`], where the folder cannot be read or a file not be removed.
    pub(crate) fn remove_all_but(&self, named: &HashSet<Digest>) -> Result<u64, ObjectError> {
        let mut removed = 0;
        for group in fs::read_dir(&self.root)? {
            let group = group?;
            if group.file_name() == INCOMING || !group.file_type()?.is_dir() {
                continue;
            }
            for file in fs::read_dir(group.path())? {
                let path = file?.path();
                let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
                // What does not stand where a file of this digest is kept is none of ours.
                if let Ok(digest) = Digest::try_from(name.to_owned())
                    && path_in(&self.root, &digest) == path
                    && !named.contains(&digest)
                {
                    fs::remove_file(&path)?;
                    removed += 1;
                }
            }
        }
        Ok(removed)
    }

    /// Begins a file. Blocks on the disk.
    ///
    /// # Errors
    ///
    /// [`ObjectError`], where it cannot be written.
    pub fn begin(&self) -> Result<Incoming, ObjectError> {
        let name = uuid::Uuid::now_v7().to_string();
        let path = self.root.join(INCOMING).join(&name);
        let file = private_file(&path)?;
        Ok(Incoming { file, path, name, hash: Sha256::new(), bytes: 0 })
    }

    /// Keeps a file that is whole. Once this has succeeded it is on disk.
    ///
    /// # Errors
    ///
    /// [`ObjectError`]; nothing was kept.
    pub async fn keep(&self, incoming: Incoming) -> Result<Kept, ObjectError> {
        let (incoming, synced) = tokio::task::spawn_blocking(move || {
            let synced = incoming.file.sync_all();
            (incoming, synced)
        })
        .await
        .map_err(|error| ObjectError::Disk(io::Error::other(error)))?;
        synced?;
        let digest = incoming.digest();
        let bytes = incoming.bytes;
        let was_there = self.bytes_of(&digest).await?.is_some();
        let from = Key::from(format!("{INCOMING}/{}", incoming.name));
        // Where the same bytes are there already they are written over by themselves: were they damaged, they are whole again.
        self.store.rename(&from, &key(&digest)).await.map_err(of_store)?;
        Ok(Kept { digest, bytes, was_there })
    }

    /// A file by its digest, opened for reading.
    ///
    /// # Errors
    ///
    /// [`ObjectError::Missing`], or where it cannot be read.
    pub async fn open_file(&self, digest: &Digest) -> Result<File, ObjectError> {
        match self.store.get(&key(digest)).await {
            Ok(found) => match found.payload {
                GetResultPayload::File(file, _) => Ok(file),
                GetResultPayload::Stream(_) => {
                    Err(ObjectError::Disk(io::Error::other("a folder gave no file")))
                }
            },
            Err(object_store::Error::NotFound { .. }) => {
                Err(ObjectError::Missing { digest: digest.clone() })
            }
            Err(other) => Err(of_store(other)),
        }
    }

    /// Whether a file is there, byte for byte as it was kept: all of it is read.
    ///
    /// # Errors
    ///
    /// [`ObjectError`], where the folder cannot be used. A file that cannot be read is not whole.
    pub async fn is_whole(&self, digest: &Digest) -> Result<bool, ObjectError> {
        let mut file = match self.open_file(digest).await {
            Ok(file) => file,
            Err(ObjectError::Missing { .. }) => return Ok(false),
            Err(other) => return Err(other),
        };
        tokio::task::spawn_blocking(move || pass_on(&mut file, &mut io::sink()).ok())
            .await
            .map(|computed| computed.as_ref() == Some(digest))
            .map_err(|error| ObjectError::Disk(io::Error::other(error)))
    }

    /// The size of a file; none where there is none of that digest.
    ///
    /// # Errors
    ///
    /// [`ObjectError`], where the folder cannot be read.
    pub async fn bytes_of(&self, digest: &Digest) -> Result<Option<u64>, ObjectError> {
        match self.store.head(&key(digest)).await {
            Ok(found) => Ok(Some(found.size)),
            Err(object_store::Error::NotFound { .. }) => Ok(None),
            Err(other) => Err(of_store(other)),
        }
    }
}

fn of_store(error: object_store::Error) -> ObjectError {
    ObjectError::Store(error)
}

/// Where a file of a digest is: under its first two signs, so that no folder grows without end.
fn key(digest: &Digest) -> Key {
    let text = digest.to_string();
    Key::from(format!("{}/{text}", &text[..2]))
}

/// Where a file of a digest is in a folder of files.
pub(crate) fn path_in(folder: &Path, digest: &Digest) -> PathBuf {
    let text = digest.to_string();
    folder.join(&text[..2]).join(text)
}

/// Where the files are that belong to a database: beside it.
pub(crate) fn folder_beside(database: &Path) -> PathBuf {
    folder_in(database.parent().filter(|it| !it.as_os_str().is_empty()).unwrap_or(Path::new(".")))
}

impl Incoming {
    /// SHA-256 of what was written so far.
    pub fn digest(&self) -> Digest {
        Digest::from_bytes(self.hash.clone().finalize().into())
    }

    /// How much was written so far.
    pub fn bytes(&self) -> u64 {
        self.bytes
    }

    /// What was written so far, to be read from its beginning.
    ///
    /// # Errors
    ///
    /// Where it cannot be opened.
    pub fn reader(&self) -> io::Result<File> {
        let mut file = File::open(&self.path)?;
        file.seek(SeekFrom::Start(0))?;
        Ok(file)
    }
}

impl Write for Incoming {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.file.write(bytes)?;
        self.hash.update(&bytes[..written]);
        self.bytes += written as u64;
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl Drop for Incoming {
    fn drop(&mut self) {
        // Once it is kept it is no longer there.
        let _ = fs::remove_file(&self.path);
    }
}
