//! `rungbook backup` and `rungbook restore`: copies that were checked, and those that are kept up.

use std::path::PathBuf;
use std::sync::mpsc::{self, RecvTimeoutError};
use std::thread::JoinHandle;
use std::time::Duration;

use chrono::Utc;
use clap::Args;
use store::{BackupWatch, Stepped, StepwiseBackup};

use super::{Failure, place, verify};
use crate::settings::{Flags, Settings};

/// What does the same where the ledger is on PostgreSQL.
pub const INSTEAD: &str = "back that database up with its own tools (pg_dump, or a base backup with its archived log) and the folder or bucket of recordings beside it; hand evidence out with rungbook pack; or bring everything into a data folder with rungbook move, and back that up";

/// How often a backup that is kept up looks for what is new.
const LOOKS_EVERY: Duration = Duration::from_secs(2);

/// How long it waits after an attempt that failed.
const TRIES_AGAIN_AFTER: Duration = Duration::from_secs(15);

/// Copy everything into one new file, or bring the backup in a folder up to now; works beside a running server.
///
/// Every record of a whole copy is checked. Recordings go into the folder "recordings" beside it, which several backups may
/// share: what is there already is not copied again. Those in a bucket (--recordings) are copied from there, so that the
/// backup has everything. Keep both together.
#[derive(Debug, Args)]
pub struct Backup {
    /// The file to make
    #[arg(required_unless_present = "into", conflicts_with = "into")]
    file: Option<PathBuf>,
    /// A folder in which a backup is kept up: the first time everything is copied, later only what is new
    #[arg(long, value_name = "FOLDER")]
    into: Option<PathBuf>,
}

impl Backup {
    /// Makes the copy.
    ///
    /// # Errors
    ///
    /// [`Failure`] where the file exists or cannot be written, a record fails its check, or the folder keeps another ledger.
    pub fn run(self, flags: &Flags) -> Result<(), Failure> {
        let settings = Settings::gather(flags, None)?;
        let at = settings.data_with_ledger(INSTEAD)?;
        match (&self.file, &self.into) {
            (Some(file), _) => {
                let verdicts = place::run(async { Ok(store::backup_at(&at, file).await?) })?;
                for verdict in &verdicts {
                    println!("{}", verify::in_words(verdict));
                }
                println!(
                    "{} is whole and on disk, with its recordings beside it. It holds password hashes: keep it as you keep keys.",
                    file.display()
                );
                Ok(())
            }
            (None, Some(folder)) => {
                let (stepped, records) = place::run(async {
                    let mut backup = StepwiseBackup::open(&at, folder).await?;
                    Ok((backup.step().await?, backup.records()))
                })?;
                let told = match stepped {
                    Stepped::Nothing => "Nothing was new".to_owned(),
                    Stepped::Forward { records: 1 } => "1 record was new".to_owned(),
                    Stepped::Forward { records } => format!("{records} records were new"),
                    Stepped::Whole => "Everything was copied and checked".to_owned(),
                };
                println!(
                    "{told}; {} holds {records} records and is on disk. It holds password hashes: keep it as you keep keys.",
                    folder.display()
                );
                Ok(())
            }
            (None, None) => {
                Err(Failure::of_input("rungbook: name the file to make, or a folder with --into"))
            }
        }
    }
}

/// A backup that is kept up while a server runs.
#[derive(Debug)]
pub struct KeepingUp {
    end: mpsc::Sender<()>,
    thread: JoinHandle<()>,
}

impl KeepingUp {
    /// Begins to keep a backup up, on a thread of its own.
    ///
    /// # Errors
    ///
    /// Where no thread can be had.
    pub fn begin(backup: StepwiseBackup, watch: BackupWatch) -> std::io::Result<Self> {
        let (end, ended) = mpsc::channel();
        let thread = std::thread::Builder::new().name("backup".to_owned()).spawn(move || {
            let _ = place::run(async {
                keep_up(backup, &watch, &ended).await;
                Ok(())
            });
        })?;
        Ok(Self { end, thread })
    }

    /// Takes the last step, and ends.
    pub fn end(self) {
        drop(self.end);
        if self.thread.join().is_err() {
            tracing::error!("the backup ended before its last step");
        }
    }
}

async fn keep_up(mut backup: StepwiseBackup, watch: &BackupWatch, ended: &mpsc::Receiver<()>) {
    let mut ending = false;
    loop {
        let wait = match backup.step().await {
            Ok(stepped) => {
                if stepped == Stepped::Whole {
                    tracing::info!(
                        records = backup.records(),
                        "everything was copied into the backup"
                    );
                }
                watch.tell(Utc::now(), Some(backup.records()));
                LOOKS_EVERY
            }
            Err(error) => {
                if watch.now().failing_since.is_none() {
                    tracing::error!(
                        error = &error as &dyn std::error::Error,
                        "the backup is not kept up; it is tried again until it succeeds"
                    );
                }
                watch.tell(Utc::now(), None);
                TRIES_AGAIN_AFTER
            }
        };
        if ending {
            return;
        }
        // Whatever came before the end is in the last step.
        ending = ended.recv_timeout(wait) != Err(RecvTimeoutError::Timeout);
    }
}

/// Make a data folder of a backup, after checking it record by record.
///
/// Its recordings go into the folder, or into the bucket that --recordings names.
#[derive(Debug, Args)]
pub struct Restore {
    /// The backup: the file that was made, or the folder in which one is kept up
    file: PathBuf,
}

impl Restore {
    /// Makes the folder.
    ///
    /// # Errors
    ///
    /// [`Failure`] where the folder is not empty, or a record of the backup fails its check.
    pub fn run(self, flags: &Flags) -> Result<(), Failure> {
        let settings = Settings::gather(flags, None)?;
        let at = settings.data_with_ledger(INSTEAD)?;
        let verdicts =
            place::run(async { Ok(store::restore_at(&self.file, &at, Utc::now()).await?) })?;
        for verdict in &verdicts {
            println!("{}", verify::in_words(verdict));
        }
        println!(
            "{} is ready. Everybody signs in anew. What was recorded after the backup is not in it.",
            at.data.display()
        );
        if let Some(bucket) = &at.recordings {
            println!("Its recordings are in {bucket}: serve it with --recordings {bucket}.");
        }
        Ok(())
    }
}
