//! A copy of everything in one file, and the way back.
//!
//! A backup holds password hashes and the server's secrets: keep it as you keep a key.

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use programme::entry::UnreadableEntry;
use sqlx::Connection;

use crate::data_dir::{
    DataDir, DataDirError, database_in, make_private_directory, private_file, sync_directory,
};
use crate::fence::{self, CopyFound, Marks};
use crate::files::{self, LostFile};
use crate::objects::{FilesAt, ObjectError, folder_beside};
use crate::secret;
use crate::sql;
use crate::sql::Link;
use crate::stepwise;
use crate::verify::{FirstFailure, ProgrammeVerdict, VerifyError, verify_ledger};
use crate::whereabouts::Whereabouts;

/// A backup that was not made.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// There is nothing to copy.
    #[error("there is no database in {path}")]
    NoDatabase {
        /// The data directory.
        path: PathBuf,
    },
    /// The file exists.
    #[error("{path} exists already; choose another name")]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// SQLite takes no such file name.
    #[error("{path} is not a name in Unicode; choose another")]
    Name {
        /// The file.
        path: PathBuf,
    },
    /// The file cannot be written.
    #[error("{path} cannot be written")]
    File {
        /// The file.
        path: PathBuf,
        /// Why.
        #[source]
        source: io::Error,
    },
    /// The folder cannot be used, or another process keeps a backup in it.
    #[error(transparent)]
    Folder(#[from] DataDirError),
    /// The folder holds something else than the beginning of this ledger.
    #[error(
        "{folder} holds {records} records of programme \"{programme}\" that are not the beginning of the ledger here, so nothing was changed in it; keep that folder, and name another one"
    )]
    OtherLedger {
        /// The folder.
        folder: PathBuf,
        /// Which programme.
        programme: String,
        /// How many records of it the folder holds.
        records: u64,
    },
    /// A record cannot be read.
    #[error("a record cannot be read, so no backup was made of it; run: rungbook verify")]
    Unreadable(#[source] UnreadableEntry),
    /// The database could not be copied.
    #[error("the database could not be copied")]
    Database(#[from] sqlx::Error),
    /// The copy could not be checked.
    #[error("the copy could not be checked")]
    Unchecked(#[from] VerifyError),
    /// The copy does not pass the check, so neither does the ledger.
    #[error("the ledger of programme \"{programme}\" fails its check, so no backup was made of it")]
    Fails {
        /// Which programme.
        programme: String,
        /// The first record that fails, and how.
        #[source]
        failure: FirstFailure,
    },
    /// A file that a record speaks of is not there as it was.
    #[error("a file of programme \"{programme}\" is lost, so no backup was made of it")]
    Lost {
        /// Which programme.
        programme: String,
        /// The file.
        #[source]
        lost: LostFile,
    },
    /// The place of the recordings cannot be used.
    #[error("the recordings could not be copied, so no backup was made")]
    Recordings(#[from] ObjectError),
}

/// A backup that was not restored. Nothing was changed.
#[derive(Debug, thiserror::Error)]
pub enum RestoreError {
    /// There is something in the directory.
    #[error("{path} is not empty; restore into a new or empty directory")]
    NotEmpty {
        /// The directory.
        path: PathBuf,
    },
    /// The directory holds no backup.
    #[error(
        "{path} holds no backup; name the file that was made, or the folder in which a backup is kept up"
    )]
    NoBackup {
        /// The directory.
        path: PathBuf,
    },
    /// The backup or the directory cannot be used.
    #[error("{path} cannot be used")]
    File {
        /// The file or directory.
        path: PathBuf,
        /// Why.
        #[source]
        source: io::Error,
    },
    /// The directory cannot be used.
    #[error(transparent)]
    DataDir(#[from] DataDirError),
    /// The copy is not a database of this program.
    #[error("the backup cannot be read as a database")]
    Database(#[from] sqlx::Error),
    /// The copy could not be checked.
    #[error("the backup could not be checked")]
    Unchecked(#[from] VerifyError),
    /// A record in the backup fails the check.
    #[error(
        "the ledger of programme \"{programme}\" in the backup fails its check, so it was not restored"
    )]
    Fails {
        /// Which programme.
        programme: String,
        /// The first record that fails, and how.
        #[source]
        failure: FirstFailure,
    },
    /// A file that a record speaks of is not there as it was.
    #[error("a file of programme \"{programme}\" is lost, so the backup was not restored")]
    Lost {
        /// Which programme.
        programme: String,
        /// The file.
        #[source]
        lost: LostFile,
    },
    /// The place of the recordings cannot be used.
    #[error("the recordings could not be brought back, so the backup was not restored")]
    Recordings(#[from] ObjectError),
}

/// Copies the database of a data directory into a new file, as of one moment, and checks the copy; works beside a
/// running server. The files that its records speak of are copied into the folder `recordings` beside it; several backups
/// may share that folder, and what is there already is not copied again. The backup appears under its name only once all of
/// it is whole and on disk.
///
/// # Errors
///
/// [`BackupError`]; no file was made.
pub async fn backup(data_dir: &Path, to: &Path) -> Result<Vec<ProgrammeVerdict>, BackupError> {
    backup_at(&data_dir.into(), to).await
}

/// The same, also where the files are in a bucket: they are copied from there, so that the backup has everything.
///
/// # Errors
///
/// [`BackupError`]; no file was made.
pub async fn backup_at(
    whereabouts: &Whereabouts,
    to: &Path,
) -> Result<Vec<ProgrammeVerdict>, BackupError> {
    let data_dir = &whereabouts.data;
    let database = database_in(data_dir);
    if !database.is_file() {
        return Err(BackupError::NoDatabase { path: data_dir.to_owned() });
    }
    if to.exists() {
        return Err(BackupError::Exists { path: to.to_owned() });
    }
    backup_over(&database, &FilesAt::of(whereabouts)?, to).await
}

/// The same, in the place of what may have that name.
pub(crate) async fn backup_over(
    database: &Path,
    files: &FilesAt,
    to: &Path,
) -> Result<Vec<ProgrammeVerdict>, BackupError> {
    let mut part = to.as_os_str().to_owned();
    part.push(".part");
    let part = PathBuf::from(part);
    let outcome = copy_and_check(database, files, &part, to).await;
    if outcome.is_err() {
        // It may not have been made at all.
        let _ = fs::remove_file(&part);
    }
    outcome
}

async fn copy_and_check(
    database: &Path,
    files: &FilesAt,
    part: &Path,
    to: &Path,
) -> Result<Vec<ProgrammeVerdict>, BackupError> {
    let unusable = |source| BackupError::File { path: to.to_owned(), source };
    let name = part.to_str().ok_or_else(|| BackupError::Name { path: to.to_owned() })?;
    private_file(part).and_then(|file| file.set_len(0)).map_err(unusable)?;
    let mut connection = sql::sqlite::connect_to_copy(database).await?;
    sql::sqlite::copy_into(&mut connection, name).await?;
    connection.close().await?;
    let verdicts = verify_ledger(part, &[]).await?;
    let mut verdicts = all_pass(verdicts)
        .map_err(|(programme, failure)| BackupError::Fails { programme, failure })?;
    let copies = FilesAt::Folder(folder_beside(to));
    copy_files(files, &copies, &mut verdicts)?
        .map_err(|(programme, lost)| BackupError::Lost { programme, lost })?;
    File::open(part).and_then(|file| file.sync_all()).map_err(unusable)?;
    fs::rename(part, to).map_err(unusable)?;
    sync_parent(to).map_err(unusable)?;
    Ok(verdicts)
}

/// Makes a data directory of a backup, be it one file or a folder that [`crate::StepwiseBackup`] kept up: copies it, checks the copy, ends every session in it, and only then gives it its
/// name. Everybody signs in anew, since sessions that were ended after the backup was made would otherwise live again.
///
/// # Errors
///
/// [`RestoreError`]; the directory is then empty, as it was.
pub async fn restore(
    from: &Path,
    data_dir: &Path,
    at: DateTime<Utc>,
) -> Result<Vec<ProgrammeVerdict>, RestoreError> {
    restore_at(from, &data_dir.into(), at).await
}

/// The same, also where the files go into a bucket. What is there already and whole is not put there again, and nothing is
/// removed there where it fails.
///
/// # Errors
///
/// [`RestoreError`]; the directory is then empty, as it was.
pub async fn restore_at(
    from: &Path,
    whereabouts: &Whereabouts,
    at: DateTime<Utc>,
) -> Result<Vec<ProgrammeVerdict>, RestoreError> {
    let data_dir = whereabouts.data.as_path();
    let unusable = |path: &Path, source| RestoreError::File { path: path.to_owned(), source };
    let (from, steps) = match from.is_dir() {
        false => (from.to_owned(), Vec::new()),
        true => match stepwise::parts_in(from).map_err(|source| unusable(from, source))? {
            Some(parts) => (parts.whole, parts.steps),
            None => return Err(RestoreError::NoBackup { path: from.to_owned() }),
        },
    };
    let from = from.as_path();
    let mut backup = File::open(from).map_err(|source| unusable(from, source))?;
    make_private_directory(data_dir).map_err(|source| unusable(data_dir, source))?;
    let mut contents = fs::read_dir(data_dir).map_err(|source| unusable(data_dir, source))?;
    if contents.next().is_some() {
        return Err(RestoreError::NotEmpty { path: data_dir.to_owned() });
    }
    let place = DataDir::lock(data_dir)?;
    let restoring = data_dir.join("restoring.db");
    let outcome = async {
        let mut copy = private_file(&restoring).map_err(|source| unusable(&restoring, source))?;
        io::copy(&mut backup, &mut copy).map_err(|source| unusable(&restoring, source))?;
        let mut connection = sql::sqlite::connect_alone(&restoring).await?;
        for step in &steps {
            let name = step
                .to_str()
                .ok_or_else(|| unusable(step, io::ErrorKind::InvalidFilename.into()))?;
            sql::steps::put_on_top(&mut connection, name).await?;
        }
        sql::session::revoke_all(&mut Link::Sqlite(&mut connection), at).await?;
        let token = secret::find_or_make(&mut Link::Sqlite(&mut connection), fence::PLACE).await?;
        connection.close().await?;
        let mut verdicts = all_pass(verify_ledger(&restoring, &[]).await?)
            .map_err(|(programme, failure)| RestoreError::Fails { programme, failure })?;
        let files = FilesAt::of(whereabouts)?;
        copy_files(&FilesAt::Folder(folder_beside(from)), &files, &mut verdicts)?
            .map_err(|(programme, lost)| RestoreError::Lost { programme, lost })?;
        copy.sync_all().map_err(|source| unusable(&restoring, source))?;
        copies_of(&verdicts, &token)
            .write(data_dir)
            .map_err(|source| unusable(data_dir, source))?;
        let database = database_in(data_dir);
        fs::rename(&restoring, &database).map_err(|source| unusable(&database, source))?;
        sync_directory(data_dir).map_err(|source| unusable(data_dir, source))?;
        Ok(verdicts)
    }
    .await;
    if outcome.is_err() {
        // Leave the directory as it was found; what cannot be removed is told by the next attempt.
        let _ = fs::remove_file(&restoring);
        let _ = fs::remove_dir_all(folder_beside(&restoring));
        let _ = fs::remove_file(fence::file_in(data_dir));
        let _ = fs::remove_file(place.lock_file());
    }
    outcome
}

/// Every ledger goes on from a copy, of which nobody knows whether it is the whole.
fn copies_of(verdicts: &[ProgrammeVerdict], place: &[u8]) -> Marks {
    let copies = verdicts
        .iter()
        .map(|verdict| (verdict.programme.clone(), CopyFound { head: verdict.head, known: None }));
    Marks { place: fence::place_of(place), copies: copies.collect(), ..Marks::default() }
}

/// Copies the files that the records speak of; tells of the first that is lost.
fn copy_files(
    from: &FilesAt,
    to: &FilesAt,
    verdicts: &mut [ProgrammeVerdict],
) -> Result<Result<(), (String, LostFile)>, ObjectError> {
    for verdict in verdicts {
        let (agreed, lost) = files::copy(from, to, &verdict.files)?;
        verdict.files_agreed = agreed;
        if let Some(lost) = lost.into_iter().next() {
            return Ok(Err((verdict.programme.clone(), lost)));
        }
    }
    Ok(Ok(()))
}

fn all_pass(
    verdicts: Vec<ProgrammeVerdict>,
) -> Result<Vec<ProgrammeVerdict>, (String, FirstFailure)> {
    verdicts
        .into_iter()
        .map(|mut verdict| match verdict.first_failure.take() {
            None => Ok(verdict),
            Some(failure) => Err((verdict.programme, failure)),
        })
        .collect()
}

fn sync_parent(file: &Path) -> io::Result<()> {
    match file.parent().filter(|parent| !parent.as_os_str().is_empty()) {
        Some(parent) => sync_directory(parent),
        None => sync_directory(Path::new(".")),
    }
}
