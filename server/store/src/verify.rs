//! Checking everything anew: each record's text, place and hash, the fold, and every root that was kept.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use programme::codes::ProgrammeId;
use programme::entry::UnreadableEntry;
use programme::ledger::{NodeHash, Tree};
use programme::state::State;
use sqlx::{Connection, SqliteConnection};

use crate::data_dir::database_in;
use crate::files::{self, FileOfRecord, LostFile};
use crate::objects::folder_beside;
use crate::published::Head;
use crate::replay::{Believed, Look, replay};
use crate::sqlite;

/// A size and root known from outside the database, such as from a signed checkpoint somebody kept. Only these catch
/// a ledger that was written anew as a whole, checkpoints and all.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TrustedHead {
    /// Of which programme.
    pub programme: ProgrammeId,
    /// How many records it had.
    pub size: u64,
    /// The root over them.
    pub root: NodeHash,
}

/// What the check of one programme found.
#[derive(Debug)]
pub struct ProgrammeVerdict {
    /// The programme, as the database names it.
    pub programme: String,
    /// How many records passed, and the root over them.
    pub head: Head,
    /// How many kept roots were computed again and agreed, trusted ones among them.
    pub roots_agreed: u64,
    /// The first record that fails; none if all is well.
    pub first_failure: Option<FirstFailure>,
    /// The files that its records speak of, each with the first record that does.
    pub files: Vec<FileOfRecord>,
    /// How many of these were held against their digests and agreed.
    pub files_agreed: u64,
    /// Those that are not there as they were.
    pub files_lost: Vec<LostFile>,
}

/// The first record that fails, and how.
#[derive(Debug, thiserror::Error)]
#[error("record {seq} fails")]
pub struct FirstFailure {
    /// Its number.
    pub seq: u64,
    /// How it fails.
    #[source]
    pub wrong: Wrong,
}

/// What is wrong with a record.
#[derive(Debug, thiserror::Error)]
pub enum Wrong {
    /// It is not there; the next one that is has another number.
    #[error("it is not in its place; record {found} stands there")]
    Gap {
        /// The number found.
        found: i64,
    },
    /// It is not there, and was: a kept root covers it.
    #[error("it is missing: the ledger had {size} records once")]
    Missing {
        /// The size that was kept.
        size: u64,
    },
    /// Its text is not the one that was hashed.
    #[error("its text was altered: it hashes to {computed}, which is not the hash kept with it")]
    Altered {
        /// The hash of the text as it is.
        computed: NodeHash,
    },
    /// Its text cannot be read.
    #[error("its text cannot be read")]
    Unreadable(#[from] UnreadableEntry),
    /// Reading its text made the program give up.
    #[error("its text made the program fail while reading it")]
    Undecodable,
    /// Its text means the same in canonical form, and is not that form.
    #[error("its text is not in canonical form")]
    NotCanonical,
    /// It says that it belongs to another programme.
    #[error("it says that it belongs to programme \"{found}\"")]
    OtherProgramme {
        /// The programme it names.
        found: ProgrammeId,
    },
    /// It says that it has another number.
    #[error("it says that it is record {found}")]
    OtherNumber {
        /// The number it gives.
        found: u64,
    },
    /// It is filed under another moment than it says.
    #[error("it says that it was recorded at {found}, and is filed under another moment")]
    OtherTime {
        /// The moment it gives.
        found: DateTime<Utc>,
    },
    /// It cannot be folded into the state.
    #[error("it cannot be folded into the state")]
    Unfoldable,
    /// This record, or one after it up to `size`, is not the one that was there.
    #[error(
        "the root over the first {size} records is {computed}, which is not the one kept: a record from this one up to {size} was altered together with its hash"
    )]
    OtherRoot {
        /// The size of the root that differs.
        size: u64,
        /// The root as it is.
        computed: NodeHash,
    },
    /// No kept root covers it: something other than the program wrote it.
    #[error("no checkpoint covers it: something other than this program wrote it")]
    Uncovered,
    /// Its programme has a name that none can have.
    #[error("its programme has a name that no programme can have")]
    NoSuchProgramme,
}

/// A check that could not be made.
#[derive(Debug, thiserror::Error)]
pub enum VerifyError {
    /// There is no database.
    #[error("there is no database at {path}")]
    NotFound {
        /// Where it was looked for.
        path: PathBuf,
    },
    /// SQLite finds its own structure damaged.
    #[error("the database file is damaged: {found}")]
    Damaged {
        /// What SQLite found first.
        found: String,
    },
    /// The database could not be read.
    #[error("the database could not be read")]
    Database(#[from] sqlx::Error),
}

/// Checks every programme in a data directory or a backup file, and the files that its records speak of; works beside a
/// running server.
///
/// The records that pass are those before the first failure; a verdict for each programme, by name.
///
/// # Errors
///
/// [`VerifyError`] where there is nothing to check. A record or file that fails is no error but a verdict.
pub async fn verify(
    data_dir_or_file: &Path,
    trusted: &[TrustedHead],
) -> Result<Vec<ProgrammeVerdict>, VerifyError> {
    let database = if data_dir_or_file.is_dir() {
        database_in(data_dir_or_file)
    } else {
        data_dir_or_file.to_owned()
    };
    let mut verdicts = verify_ledger(&database, trusted).await?;
    let folder = folder_beside(&database);
    for verdict in &mut verdicts {
        (verdict.files_agreed, verdict.files_lost) = files::check(&folder, &verdict.files);
    }
    Ok(verdicts)
}

/// Checks the records alone.
pub(crate) async fn verify_ledger(
    database: &Path,
    trusted: &[TrustedHead],
) -> Result<Vec<ProgrammeVerdict>, VerifyError> {
    if !database.is_file() {
        return Err(VerifyError::NotFound { path: database.to_owned() });
    }
    let mut connection = sqlite::connect_to_read(database).await?;
    let verdicts = verify_connected(&mut connection, trusted).await;
    connection.close().await?;
    verdicts
}

async fn verify_connected(
    connection: &mut SqliteConnection,
    trusted: &[TrustedHead],
) -> Result<Vec<ProgrammeVerdict>, VerifyError> {
    // One transaction, so that everything is seen as of one moment while a server writes on.
    let mut snapshot = connection.begin().await?;
    let found = sqlite::integrity(&mut snapshot).await?;
    if found != "ok" {
        return Err(VerifyError::Damaged { found });
    }
    let mut names: BTreeSet<String> =
        sqlite::ledger::programmes(&mut snapshot).await?.into_iter().collect();
    names.extend(trusted.iter().map(|head| head.programme.as_str().to_owned()));
    let mut verdicts = Vec::new();
    for name in names {
        let trusted = trusted.iter().filter(|head| head.programme.as_str() == name);
        verdicts.push(verify_programme(&mut snapshot, name.clone(), trusted).await?);
    }
    Ok(verdicts)
}

/// The roots to be held against, by size.
struct Expected {
    roots: VecDeque<(u64, Vec<u8>)>,
    last_checkpoint: u64,
}

async fn expected<'a>(
    connection: &mut SqliteConnection,
    programme: &str,
    trusted: impl Iterator<Item = &'a TrustedHead>,
) -> sqlx::Result<Expected> {
    const AT_A_TIME: i64 = 4096;
    let mut by_size: BTreeMap<u64, Vec<Vec<u8>>> = BTreeMap::new();
    for head in trusted {
        by_size.entry(head.size).or_default().push(head.root.bytes().to_vec());
    }
    let mut last = 0;
    loop {
        let some =
            sqlite::ledger::checkpoints_after(connection, programme, last, AT_A_TIME).await?;
        let Some((size, _)) = some.last() else { break };
        last = *size;
        for (size, root) in some {
            by_size.entry(size.unsigned_abs()).or_default().push(root);
        }
    }
    let roots = by_size
        .into_iter()
        .flat_map(|(size, roots)| roots.into_iter().map(move |root| (size, root)))
        .collect();
    Ok(Expected { roots, last_checkpoint: last.unsigned_abs() })
}

async fn verify_programme<'a>(
    connection: &mut SqliteConnection,
    name: String,
    trusted: impl Iterator<Item = &'a TrustedHead>,
) -> Result<ProgrammeVerdict, VerifyError> {
    let mut check = Check {
        expected: expected(connection, &name, trusted).await?,
        state: State::default(),
        tree: Tree::default(),
        agreed_up_to: 0,
        roots_agreed: 0,
        files: Vec::new(),
    };
    let outcome = match (ProgrammeId::new(&name), check.hold_roots()) {
        (Err(_), _) => Err(FirstFailure { seq: 1, wrong: Wrong::NoSuchProgramme }),
        (Ok(_), Err(failure)) => Err(failure),
        (Ok(id), Ok(())) => {
            replay(connection, &id, u64::MAX, Look::Thorough, |believed| check.take(believed))
                .await?
                .and_then(|records| check.is_whole(records))
        }
    };
    Ok(ProgrammeVerdict {
        programme: name,
        head: Head { size: check.tree.size(), root: check.tree.root() },
        roots_agreed: check.roots_agreed,
        first_failure: outcome.err(),
        files: check.files,
        files_agreed: 0,
        files_lost: Vec::new(),
    })
}

struct Check {
    expected: Expected,
    state: State,
    tree: Tree,
    /// The largest size at which a kept root agreed.
    agreed_up_to: u64,
    roots_agreed: u64,
    files: Vec<FileOfRecord>,
}

impl Check {
    fn take(&mut self, believed: Believed) -> Result<(), FirstFailure> {
        let seq = believed.entry.seq;
        self.files.extend(files::named_by(&believed.entry));
        let folded = catch_unwind(AssertUnwindSafe(|| self.state.apply(&believed.entry)));
        if folded.is_err() || self.state.length() != seq {
            return Err(FirstFailure { seq, wrong: Wrong::Unfoldable });
        }
        self.tree.push(believed.leaf);
        self.hold_roots()
    }

    /// Holds the tree against the roots kept for its present size.
    fn hold_roots(&mut self) -> Result<(), FirstFailure> {
        let size = self.tree.size();
        while let Some((_, kept)) = self.expected.roots.pop_front_if(|(of, _)| *of == size) {
            let computed = self.tree.root();
            if kept[..] != computed.bytes()[..] {
                let wrong = Wrong::OtherRoot { size, computed };
                return Err(FirstFailure { seq: self.agreed_up_to + 1, wrong });
            }
            self.roots_agreed += 1;
            self.agreed_up_to = size;
        }
        Ok(())
    }

    fn is_whole(&self, records: u64) -> Result<(), FirstFailure> {
        if let Some((size, _)) = self.expected.roots.back() {
            return Err(FirstFailure { seq: records + 1, wrong: Wrong::Missing { size: *size } });
        }
        if self.expected.last_checkpoint < records {
            let seq = self.expected.last_checkpoint + 1;
            return Err(FirstFailure { seq, wrong: Wrong::Uncovered });
        }
        Ok(())
    }
}
