//! A backup that is kept up: a whole copy, and after it a small file for each step that the database went on.
//!
//! A step is written beside the others, filled, and gets its name only once it and the files that its records speak of are on
//! disk. Now and then a new whole replaces the steps. [`crate::restore()`] takes such a folder as it takes a single file, and
//! checks all of it then.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::{DateTime, Utc};
use parking_lot::RwLock;
use programme::entry::Entry;
use sqlx::{Connection, SqliteConnection};

use crate::backup::{BackupError, backup_over};
use crate::data_dir::{DataDir, database_in, make_private_directory, private_file, sync_directory};
use crate::files;
use crate::objects::{FilesAt, folder_beside};
use crate::sql;
use crate::sql::steps::Ends;
use crate::whereabouts::Whereabouts;

/// How many steps may stand on one whole before another is made, so that restoring stays quick.
const MOST_STEPS: u64 = if cfg!(test) { 5 } else { 1000 };

const WHOLE: &str = "whole-";
const STEP: &str = "step-";

/// What a look at the database led to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stepped {
    /// Nothing had changed.
    Nothing,
    /// What was new is in the backup.
    Forward {
        /// How many records were new.
        records: u64,
    },
    /// Everything was copied and checked anew.
    Whole,
}

/// How a backup that is kept up gets on. Clones tell of the same one.
#[derive(Debug, Clone, Default)]
pub struct BackupWatch(Arc<RwLock<BackupNow>>);

/// How a backup that is kept up gets on.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct BackupNow {
    /// How many records of all ledgers it holds.
    pub records: u64,
    /// When it was last found to hold everything.
    pub whole_at: Option<DateTime<Utc>>,
    /// Since when every attempt has failed; none while all is well.
    pub failing_since: Option<DateTime<Utc>>,
}

impl BackupWatch {
    /// How it gets on now.
    pub fn now(&self) -> BackupNow {
        self.0.read().clone()
    }

    /// An attempt ended at that moment: with that many records held, or none where it failed.
    pub fn tell(&self, at: DateTime<Utc>, records: Option<u64>) {
        let mut now = self.0.write();
        match records {
            Some(records) => {
                *now = BackupNow { records, whole_at: Some(at), failing_since: None };
            }
            None => now.failing_since = now.failing_since.or(Some(at)),
        }
    }
}

/// A folder that holds a backup, kept up from the database of a data directory.
#[derive(Debug)]
pub struct StepwiseBackup {
    database: PathBuf,
    files: FilesAt,
    folder: PathBuf,
    connection: SqliteConnection,
    /// What the folder holds; none before the first whole.
    held: Option<Held>,
    version_seen: Option<i64>,
    /// Keeps every other process from writing to the folder.
    _lock: DataDir,
}

#[derive(Debug)]
struct Held {
    whole: u64,
    last: u64,
    schema: i64,
    ends: Ends,
}

/// The files of a folder that make up its backup, in their order.
#[derive(Debug)]
pub(crate) struct Parts {
    pub whole: PathBuf,
    pub steps: Vec<PathBuf>,
    first: u64,
}

impl StepwiseBackup {
    /// Goes on with the backup in a folder, or begins one there. Works beside a running server.
    ///
    /// # Errors
    ///
    /// [`BackupError`] where there is no database, the folder cannot be used or is in use, or holds a backup of another
    /// ledger or of more than there is: a backup is never replaced by less.
    pub async fn open(whereabouts: &Whereabouts, folder: &Path) -> Result<Self, BackupError> {
        let database = database_in(&whereabouts.data);
        if !database.is_file() {
            return Err(BackupError::NoDatabase { path: whereabouts.data.clone() });
        }
        let files = FilesAt::of(whereabouts)?;
        make_private_directory(folder)
            .map_err(|source| BackupError::File { path: folder.to_owned(), source })?;
        let lock = DataDir::lock(folder)?;
        let connection = sql::sqlite::connect_to_copy(&database).await?;
        let mut opened = Self {
            database,
            files,
            folder: folder.to_owned(),
            connection,
            held: None,
            version_seen: None,
            _lock: lock,
        };
        opened.held = opened.find().await?;
        Ok(opened)
    }

    /// Brings the backup up to what the database holds now.
    ///
    /// # Errors
    ///
    /// [`BackupError`]; what the folder held before stands.
    pub async fn step(&mut self) -> Result<Stepped, BackupError> {
        let version = sql::steps::version_of_data(&mut self.connection).await?;
        if self.held.is_some() && self.version_seen == Some(version) {
            return Ok(Stepped::Nothing);
        }
        let schema = sql::steps::schema(&mut self.connection).await?;
        let stepped = match &self.held {
            Some(held) if held.schema == schema && held.last - held.whole < MOST_STEPS => {
                self.forward().await?
            }
            _ => self.whole(schema).await?,
        };
        // Read before: what changed while the step was made is looked at again.
        self.version_seen = Some(version);
        Ok(stepped)
    }

    /// How many records of all ledgers the backup holds.
    pub fn records(&self) -> u64 {
        let ends = self.held.iter().flat_map(|held| held.ends.values());
        ends.map(|(seq, _)| u64::try_from(*seq).unwrap_or(0)).sum()
    }

    /// What the folder holds, held against the database.
    async fn find(&mut self) -> Result<Option<Held>, BackupError> {
        let Some(parts) = parts_in(&self.folder).map_err(|source| self.unusable(source))? else {
            return Ok(None);
        };
        let mut ends = Ends::new();
        let mut schema = 0;
        for part in std::iter::once(&parts.whole).chain(&parts.steps) {
            let mut connection = sql::sqlite::connect_to_look_into(part).await?;
            ends.extend(sql::steps::ends(&mut connection).await?);
            if part == &parts.whole {
                schema = sql::steps::schema(&mut connection).await?;
            }
            connection.close().await?;
        }
        for (programme, (seq, leaf)) in &ends {
            let here = sql::steps::leaf(&mut self.connection, programme, *seq).await?;
            if here.as_ref() != Some(leaf) {
                return Err(BackupError::OtherLedger {
                    folder: self.folder.clone(),
                    programme: programme.clone(),
                    records: u64::try_from(*seq).unwrap_or(0),
                });
            }
        }
        let last = parts.first + parts.steps.len() as u64;
        Ok(Some(Held { whole: parts.first, last, schema, ends }))
    }

    async fn whole(&mut self, schema: i64) -> Result<Stepped, BackupError> {
        let number = self.held.as_ref().map_or(1, |held| held.last + 1);
        let path = self.folder.join(format!("{WHOLE}{number:09}.db"));
        backup_over(&self.database, &self.files, &path).await?;
        let mut connection = sql::sqlite::connect_to_look_into(&path).await?;
        let ends = sql::steps::ends(&mut connection).await?;
        connection.close().await?;
        self.held = Some(Held { whole: number, last: number, schema, ends });
        self.remove_before(number);
        Ok(Stepped::Whole)
    }

    async fn forward(&mut self) -> Result<Stepped, BackupError> {
        let Some(held) = &self.held else {
            return Ok(Stepped::Nothing);
        };
        let (whole, last, schema) = (held.whole, held.last, held.schema);
        let before = held.ends.clone();
        let newest = match last == whole {
            true => self.folder.join(format!("{WHOLE}{last:09}.db")),
            false => self.folder.join(format!("{STEP}{last:09}.db")),
        };
        let now = sql::steps::ends(&mut self.connection).await?;
        if now == before && !sql::steps::differs(&mut self.connection, named(&newest)?).await? {
            return Ok(Stepped::Nothing);
        }
        let path = self.folder.join(format!("{STEP}{:09}.db", last + 1));
        let part = path.with_extension("part");
        let outcome = self.fill(&part, &path, &before).await;
        if outcome.is_err() {
            // It may not have been made at all.
            let _ = fs::remove_file(&part);
        }
        let ends = outcome?;
        let records = grown(&before, &ends);
        self.held = Some(Held { whole, last: last + 1, schema, ends });
        Ok(Stepped::Forward { records })
    }

    async fn fill(&mut self, part: &Path, path: &Path, after: &Ends) -> Result<Ends, BackupError> {
        private_file(part)
            .and_then(|file| file.set_len(0))
            .map_err(|source| self.unusable(source))?;
        let ends = sql::steps::take(&mut self.connection, named(part)?, after).await?;
        let mut connection = sql::sqlite::connect_to_look_into(part).await?;
        let entries = sql::steps::entries_in(&mut connection).await?;
        connection.close().await?;
        let mut spoken_of: BTreeMap<String, Vec<_>> = BTreeMap::new();
        for text in entries {
            let entry = Entry::from_json(&text).map_err(BackupError::Unreadable)?;
            let programme = entry.programme.as_str().to_owned();
            spoken_of.entry(programme).or_default().extend(files::named_by(&entry));
        }
        for (programme, files) in spoken_of {
            let copies = FilesAt::Folder(folder_beside(path));
            let (_, lost) = files::copy(&self.files, &copies, &files)?;
            if let Some(lost) = lost.into_iter().next() {
                return Err(BackupError::Lost { programme, lost });
            }
        }
        File::open(part)
            .and_then(|file| file.sync_all())
            .and_then(|()| fs::rename(part, path))
            .and_then(|()| sync_directory(&self.folder))
            .map_err(|source| self.unusable(source))?;
        Ok(ends)
    }

    /// Removes what a new whole replaces. What stays because it cannot be removed does no harm: restoring begins at the
    /// newest whole.
    fn remove_before(&self, number: u64) {
        let Ok(numbered) = numbered_in(&self.folder) else { return };
        for (_, _, path) in numbered.into_iter().filter(|(_, it, _)| *it < number) {
            if let Err(error) = fs::remove_file(&path) {
                tracing::warn!(
                    error = &error as &dyn std::error::Error,
                    "{} could not be removed; it is not needed any more",
                    path.display()
                );
            }
        }
    }

    fn unusable(&self, source: io::Error) -> BackupError {
        BackupError::File { path: self.folder.clone(), source }
    }
}

fn named(path: &Path) -> Result<&str, BackupError> {
    path.to_str().ok_or_else(|| BackupError::Name { path: path.to_owned() })
}

fn grown(before: &Ends, after: &Ends) -> u64 {
    let grown = after.iter().map(|(programme, (seq, _))| {
        let earlier = before.get(programme).map_or(0, |(seq, _)| *seq);
        u64::try_from(seq - earlier).unwrap_or(0)
    });
    grown.sum()
}

/// The newest whole in a folder and the steps on top of it; none where there is no whole.
///
/// # Errors
///
/// Where the folder cannot be read, or a step between others is missing.
pub(crate) fn parts_in(folder: &Path) -> io::Result<Option<Parts>> {
    let numbered = numbered_in(folder)?;
    let Some((_, first, whole)) = numbered.iter().rev().find(|(kind, _, _)| *kind == WHOLE) else {
        return Ok(None);
    };
    let mut steps = Vec::new();
    for (_, number, path) in numbered.iter().filter(|(kind, it, _)| *kind == STEP && it > first) {
        let expected = first + steps.len() as u64 + 1;
        if *number != expected {
            return Err(io::Error::new(
                io::ErrorKind::NotFound,
                format!("{STEP}{expected:09}.db is missing, and {} is there", path.display()),
            ));
        }
        steps.push(path.clone());
    }
    Ok(Some(Parts { whole: whole.clone(), steps, first: *first }))
}

/// Wholes and steps, by number.
fn numbered_in(folder: &Path) -> io::Result<Vec<(&'static str, u64, PathBuf)>> {
    let mut numbered = Vec::new();
    for found in fs::read_dir(folder)? {
        let path = found?.path();
        let Some(name) = path.file_name().and_then(|name| name.to_str()) else { continue };
        let Some(name) = name.strip_suffix(".db") else { continue };
        for kind in [WHOLE, STEP] {
            if let Some(number) = name.strip_prefix(kind).and_then(|rest| rest.parse().ok()) {
                numbered.push((kind, number, path.clone()));
            }
        }
    }
    numbered.sort_by_key(|(_, number, _)| *number);
    Ok(numbered)
}
