//! Files that records speak of, each under the SHA-256 of its bytes: recorder files as they came, and their columns.
//!
//! They are kept in a folder of the data directory, or in a bucket of an object store. A file is written on this machine's disk
//! first, hashed on the way, and gets its name only once it is whole: by a rename that is on disk, or by an answer of the object
//! store. What breaks off before leaves nothing behind.

mod away;
mod bucket;
mod connecting;
mod engine;
mod files_at;
mod mark;
mod near;
mod opened;
mod place;
mod transport;
mod unrecorded;

use std::collections::HashSet;
use std::fs::{self, File};
use std::io::{self, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

use programme::record::Digest;
use sha2::Digest as _;
use sha2::Sha256;

use crate::data_dir::{make_private_directory, private_file};
use crate::files::pass_on;
use crate::whereabouts::Whereabouts;
pub use away::{Away, NotSet, Reason};
pub(crate) use bucket::Bucket;
pub(crate) use files_at::FilesAt;
pub use opened::{Opened, Trouble};
pub use place::{BadBucketUrl, BucketUrl};

/// The folder of the files in a data directory.
const FOLDER: &str = "recordings";

/// The folder for what is being written: in that of the files, or in the data directory where they are in a bucket.
const INCOMING: &str = "incoming";

/// What nobody has written to for so long is none of what another server is writing.
const LEFT_FOR: Duration = Duration::from_secs(24 * 3600);

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
    /// The object store does not do what it is asked.
    #[error("the recordings are in {place}, which cannot be used")]
    Away {
        /// Which.
        place: BucketUrl,
        /// Why.
        #[source]
        why: Away,
    },
    /// The environment does not tell how to reach the object store.
    #[error("the object store cannot be reached")]
    NotSet(#[from] NotSet),
    /// They are kept in another place than the one that was named.
    #[error(
        "the recordings of this ledger are kept in {kept_in}, as {} says, and not in {named}: name the right place with --recordings, or bring everything over with rungbook move; if you have brought the files over yourself, remove that file",
        path.display()
    )]
    Elsewhere {
        /// Where they are.
        kept_in: String,
        /// Where they were said to be.
        named: String,
        /// What says so.
        path: PathBuf,
    },
    /// They are in the folder, and a bucket was named.
    #[error(
        "{} has recordings of this ledger, and {named} was named for them: leave out --recordings, or bring everything over with rungbook move --recordings-to {named}",
        path.display()
    )]
    InTheFolder {
        /// The folder.
        path: PathBuf,
        /// The bucket.
        named: BucketUrl,
    },
}

impl From<io::Error> for ObjectError {
    fn from(error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => ObjectError::DiskFull,
            _ => ObjectError::Disk(error),
        }
    }
}

/// The files of one store. Clones are handles to the same files.
#[derive(Debug, Clone)]
pub struct Objects {
    incoming: PathBuf,
    at: FilesAt,
}

/// A file that is being written. Dropped before it is kept, it is removed.
#[derive(Debug)]
pub struct Incoming {
    file: File,
    path: PathBuf,
    hash: Sha256,
    bytes: u64,
}

/// A file that is kept under its digest.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    /// SHA-256 of its bytes.
    pub digest: Digest,
    /// Its size.
    pub bytes: u64,
    /// Whether there was a file under that digest before.
    pub was_there: bool,
}

impl Objects {
    /// Opens the files of a store, and removes what was being written when the program last ended. Where other servers may have
    /// the same folder, what is being written there may be theirs, so only what nobody has written to for a day is removed.
    ///
    /// # Errors
    ///
    /// [`ObjectError`], where the folders cannot be used.
    pub(crate) fn open(whereabouts: &Whereabouts, at: FilesAt) -> Result<Self, ObjectError> {
        let (incoming, is_shared) = match &at {
            FilesAt::Folder(folder) => (folder.join(INCOMING), whereabouts.database.is_some()),
            FilesAt::Bucket(_) => (whereabouts.data.join(INCOMING), false),
        };
        make_private_directory(&incoming)?;
        for left in fs::read_dir(&incoming)? {
            let left = left?;
            let age = left.metadata().and_then(|found| found.modified()).map(|at| at.elapsed());
            let is_left = !is_shared || age.is_ok_and(|age| age.is_ok_and(|age| age > LEFT_FOR));
            if is_left && !unrecorded::is_note(&left.path()) {
                fs::remove_file(left.path())?;
            }
        }
        if let FilesAt::Bucket(bucket) = &at {
            mark::set(&whereabouts.data, bucket.url())?;
            bucket.keeps_near_in(&incoming);
        }
        Ok(Self { incoming, at })
    }

    /// Removes the files that no record speaks of: those whose record could not be written after they were kept. Call it only
    /// while nothing is being taken in, with all digests that records speak of. From a folder, which this server alone must
    /// have, every other file is removed that stands where one is kept. From a bucket only what this server itself put there,
    /// and nobody else since.
    ///
    /// # Errors
    ///
    /// [`ObjectError`], where the folder cannot be read or a file not be removed.
    pub(crate) fn remove_all_but(&self, named: &HashSet<Digest>) -> Result<u64, ObjectError> {
        match &self.at {
            FilesAt::Folder(root) => Ok(files_at::remove_all_but(root, named)?),
            FilesAt::Bucket(bucket) => unrecorded::settle(&self.incoming, bucket, named),
        }
    }

    /// Whether they are in a bucket, from which [`Objects::remove_all_but`] takes nothing of other servers.
    pub(crate) fn are_in_a_bucket(&self) -> bool {
        matches!(self.at, FilesAt::Bucket(_))
    }

    /// Begins a file. Blocks on the disk.
    ///
    /// # Errors
    ///
    /// [`ObjectError`], where it cannot be written.
    pub fn begin(&self) -> Result<Incoming, ObjectError> {
        let path = self.incoming.join(uuid::Uuid::now_v7().to_string());
        let file = private_file(&path)?;
        Ok(Incoming { file, path, hash: Sha256::new(), bytes: 0 })
    }

    /// Keeps a file that is whole. Once this has succeeded it is on disk, or the object store has said that it has it.
    ///
    /// # Errors
    ///
    /// [`ObjectError`]; nothing was kept.
    pub async fn keep(&self, incoming: Incoming) -> Result<Kept, ObjectError> {
        self.aside(move |objects| {
            let digest = incoming.digest();
            let bytes = incoming.bytes;
            // Where the same bytes are there already they are written over by themselves: were they damaged, they are whole
            // again.
            let was_there = match &objects.at {
                FilesAt::Folder(root) => files_at::keep(root, &incoming, &digest)?,
                FilesAt::Bucket(bucket) => {
                    unrecorded::keep(&objects.incoming, bucket, &incoming, &digest)?
                }
            };
            Ok(Kept { digest, bytes, was_there })
        })
        .await
    }

    /// A file by its digest, opened for reading.
    ///
    /// # Errors
    ///
    /// [`ObjectError::Missing`], or where it cannot be read.
    pub async fn open_file(&self, digest: &Digest) -> Result<Opened, ObjectError> {
        let digest = digest.clone();
        self.aside(move |objects| objects.at.open(&digest)).await
    }

    /// Whether a file is there, byte for byte as it was kept: all of it is read.
    ///
    /// # Errors
    ///
    /// [`ObjectError`], where the folder or object store cannot be used. A file that cannot be read is not whole.
    pub async fn is_whole(&self, digest: &Digest) -> Result<bool, ObjectError> {
        let digest = digest.clone();
        self.aside(move |objects| {
            let mut file = match objects.at.open(&digest) {
                Ok(file) => file,
                Err(ObjectError::Missing { .. }) => return Ok(false),
                Err(other) => return Err(other),
            };
            let trouble = file.trouble();
            let computed = pass_on(&mut file, &mut io::sink()).ok();
            trouble.befell().map_or(Ok(computed == Some(digest)), Err)
        })
        .await
    }

    /// The size of a file; none where there is none of that digest.
    ///
    /// # Errors
    ///
    /// [`ObjectError`], where it cannot be looked up.
    pub async fn bytes_of(&self, digest: &Digest) -> Result<Option<u64>, ObjectError> {
        let digest = digest.clone();
        self.aside(move |objects| objects.at.bytes_of(&digest)).await
    }

    /// Whether files can be kept and read now. A folder always counts as there; an object store is asked, unless it has
    /// answered within the last seconds.
    ///
    /// # Errors
    ///
    /// [`ObjectError::Away`], where it does not answer.
    pub async fn reach(&self) -> Result<(), ObjectError> {
        match &self.at {
            FilesAt::Folder(_) => Ok(()),
            FilesAt::Bucket(bucket) => {
                let bucket = bucket.clone();
                self.aside(move |_| bucket.reach()).await
            }
        }
    }

    /// The bucket that they are in; none where they are in the folder.
    pub fn bucket(&self) -> Option<&BucketUrl> {
        match &self.at {
            FilesAt::Folder(_) => None,
            FilesAt::Bucket(bucket) => Some(bucket.url()),
        }
    }

    /// Does something where a thread may wait for disk and network.
    async fn aside<T: Send + 'static>(
        &self,
        work: impl FnOnce(&Self) -> Result<T, ObjectError> + Send + 'static,
    ) -> Result<T, ObjectError> {
        let objects = self.clone();
        tokio::task::spawn_blocking(move || work(&objects))
            .await
            .map_err(|error| ObjectError::Disk(io::Error::other(error)))?
    }
}

/// Whether the place of a store's recordings can be used as it is named.
///
/// # Errors
///
/// [`ObjectError`], where the environment does not tell how to reach the object store, it does not answer or does not let this
/// machine in, or the recordings are known to be elsewhere.
pub fn reach_recordings(whereabouts: &Whereabouts) -> Result<(), ObjectError> {
    match FilesAt::of(whereabouts)? {
        FilesAt::Folder(_) => Ok(()),
        FilesAt::Bucket(bucket) => bucket.reach(),
    }
}

/// What a file of a digest is called: under its first two signs, so that no folder grows without end.
fn name_of(digest: &Digest) -> String {
    let text = digest.to_string();
    format!("{}/{text}", &text[..2])
}

/// Where a file of a digest is in a folder of files.
pub(crate) fn path_in(folder: &Path, digest: &Digest) -> PathBuf {
    folder.join(name_of(digest))
}

/// Where the files of a data directory are, unless they are in a bucket.
pub(crate) fn folder_in(data_dir: &Path) -> PathBuf {
    data_dir.join(FOLDER)
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

    /// The same, as any kept file is read.
    ///
    /// # Errors
    ///
    /// Where it cannot be opened.
    pub fn opened(&self) -> io::Result<Opened> {
        Opened::on_disk(self.reader()?)
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
        // Once it is kept in the folder it is no longer there.
        let _ = fs::remove_file(&self.path);
    }
}
