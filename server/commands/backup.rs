//! `rungbook backup` and `rungbook restore`: copies that were checked.

use std::path::PathBuf;

use chrono::Utc;
use clap::Args;

use super::{Failure, place, verify};
use crate::settings::{Flags, Settings};

/// Copy everything into one new file, checked record by record; works beside a running server.
///
/// Recordings go into the folder "recordings" beside that file, which several backups may share: what is there already is
/// not copied again. Keep both together.
#[derive(Debug, Args)]
pub struct Backup {
    /// The file to make
    file: PathBuf,
}

impl Backup {
    /// Makes the copy.
    ///
    /// # Errors
    ///
    /// [`Failure`] where the file exists or cannot be written, or a record fails its check.
    pub fn run(self, flags: &Flags) -> Result<(), Failure> {
        let settings = Settings::gather(flags, None)?;
        let data = settings.data()?;
        let verdicts = place::run(async { Ok(store::backup(data, &self.file).await?) })?;
        for verdict in &verdicts {
            println!("{}", verify::in_words(verdict));
        }
        println!(
            "{} is whole and on disk, with its recordings beside it. It holds password hashes: keep it as you keep keys.",
            self.file.display()
        );
        Ok(())
    }
}

/// Make a data folder of a backup, after checking it record by record.
#[derive(Debug, Args)]
pub struct Restore {
    /// The backup
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
        let data = settings.data()?;
        let verdicts =
            place::run(async { Ok(store::restore(&self.file, data, Utc::now()).await?) })?;
        for verdict in &verdicts {
            println!("{}", verify::in_words(verdict));
        }
        println!(
            "{} is ready. Everybody signs in anew. What was recorded after the backup is not in it.",
            data.display()
        );
        Ok(())
    }
}
