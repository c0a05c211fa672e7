//! The directory that holds everything, and the lock that keeps a second process out of it.

use std::fs::{self, DirBuilder, File, OpenOptions, TryLockError};
use std::io;
use std::path::{Path, PathBuf};

use parking_lot::Mutex;

const DATABASE: &str = "rungbook.db";
const LOCK: &str = "rungbook.lock";

/// A data directory that cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum DataDirError {
    /// Another process has it.
    #[error(
        "{path} is in use by another process; stop that one first, or choose another directory"
    )]
    InUse {
        /// The directory.
        path: PathBuf,
    },
    /// It cannot be made, read or written.
    #[error("{path} cannot be used as the data directory")]
    Unusable {
        /// What could not be used.
        path: PathBuf,
        /// Why.
        #[source]
        source: io::Error,
    },
}

/// An open data directory.
#[derive(Debug)]
pub(crate) struct DataDir {
    path: PathBuf,
    lock: Mutex<Option<File>>,
}

/// Whether a directory holds a store, so that a mistyped path is not quietly made into a new one.
pub fn holds_data(path: &Path) -> bool {
    database_in(path).is_file()
}

pub(crate) fn database_in(directory: &Path) -> PathBuf {
    directory.join(DATABASE)
}

impl DataDir {
    /// Makes the directory where needed, takes its lock, and makes an empty database file that only its owner reads.
    pub fn open(path: &Path) -> Result<Self, DataDirError> {
        make_private_directory(path).map_err(|source| unusable(path, source))?;
        let place = Self::lock(path)?;
        let database = place.database();
        private_file(&database).map_err(|source| unusable(&database, source))?;
        sync_directory(path).map_err(|source| unusable(path, source))?;
        Ok(place)
    }

    /// Makes the directory where needed, and takes its lock; for a store whose database is elsewhere.
    pub fn open_without_database(path: &Path) -> Result<Self, DataDirError> {
        make_private_directory(path).map_err(|source| unusable(path, source))?;
        Self::lock(path)
    }

    /// Takes the lock of a directory that exists.
    pub fn lock(path: &Path) -> Result<Self, DataDirError> {
        let lock_path = path.join(LOCK);
        let lock = private_file(&lock_path).map_err(|source| unusable(&lock_path, source))?;
        match lock.try_lock() {
            Ok(()) => Ok(Self { path: path.to_owned(), lock: Mutex::new(Some(lock)) }),
            Err(TryLockError::WouldBlock) => Err(DataDirError::InUse { path: path.to_owned() }),
            Err(TryLockError::Error(source)) => Err(unusable(&lock_path, source)),
        }
    }

    /// A folder in it.
    pub fn folder(&self, name: &str) -> PathBuf {
        self.path.join(name)
    }

    pub fn lock_file(&self) -> PathBuf {
        self.path.join(LOCK)
    }

    pub fn database(&self) -> PathBuf {
        database_in(&self.path)
    }

    /// Lets another process in.
    pub fn unlock(&self) {
        self.lock.lock().take();
    }
}

fn unusable(path: &Path, source: io::Error) -> DataDirError {
    DataDirError::Unusable { path: path.to_owned(), source }
}

/// Makes a directory that only its owner may look into, and those above it.
///
/// # Errors
///
/// Where the file system does not allow it.
pub fn make_private_directory(path: &Path) -> io::Result<()> {
    let mut builder = DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(path)
}

/// Opens or makes a file that only its owner may read, since the database holds password hashes and secrets. What is in it
/// stays.
///
/// # Errors
///
/// Where the file system does not allow it.
pub fn private_file(path: &Path) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.read(true).write(true).create(true).truncate(false);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let file = options.open(path)?;
    #[cfg(unix)]
    file.set_permissions(std::os::unix::fs::PermissionsExt::from_mode(0o600))?;
    Ok(file)
}

/// Waits until a directory is on disk: a new name in it is only safe then.
///
/// # Errors
///
/// Where the file system says that it is not.
pub fn sync_directory(path: &Path) -> io::Result<()> {
    #[cfg(unix)]
    fs::File::open(path)?.sync_all()?;
    #[cfg(not(unix))]
    fs::metadata(path)?;
    Ok(())
}
