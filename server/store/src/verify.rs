//! Checking everything anew: each record's text, place and hash, the fold, and every root that was kept.

pub(crate) mod signatures;

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use programme::codes::ProgrammeId;
use programme::entry::{Entry, UnreadableEntry};
use programme::ledger::checkpoint::{Checkpoint, Origin};
use programme::ledger::note::Verifier;
use programme::ledger::{NodeHash, Tree};
use programme::record::PublicKey;
use programme::state::State;
use sqlx::{Connection as _, SqliteConnection};

use crate::data_dir::database_in;
use crate::fence::{self, CopyFound, Marks};
use crate::files::{self, FileOfRecord, LostFile};
use crate::notary;
use crate::objects::{FilesAt, ObjectError, folder_beside};
use crate::published::Head;
use crate::replay::{Believed, Look, replay};
use crate::sql;
use crate::sql::Link;
use crate::whereabouts::Whereabouts;
use signatures::ToCheck;

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
    /// The copy that it goes on from, where lead and safety officer have not both acknowledged it.
    pub copy: Option<CopyFound>,
    /// How many signatures of checkpoints were checked and are right.
    pub signatures_right: u64,
    /// The keys that signed its checkpoints, the oldest first.
    pub keys: Vec<Verifier>,
    /// Keys that did not follow from the one before: lead and safety officer put them in force for a copy.
    pub keys_by_two_people: Vec<Verifier>,
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
    /// The signature of a checkpoint is not one of its key.
    #[error(
        "the signature of the checkpoint of {size} records is not right: record or signature was altered"
    )]
    BadSignature {
        /// The checkpoint's size.
        size: u64,
    },
    /// Another key than the one in force signed a checkpoint.
    #[error(
        "the checkpoint of {size} records is signed by {key}, a key that this ledger does not name"
    )]
    OtherKey {
        /// The checkpoint's size.
        size: u64,
        /// The key.
        key: PublicKey,
    },
    /// A checkpoint is not signed, and one before it is.
    #[error("the checkpoint of {size} records is not signed, as those before it are")]
    Unsigned {
        /// The checkpoint's size.
        size: u64,
    },
    /// The key that would sign the next checkpoint is not here.
    #[error("the secret of the key that signs this ledger is not the one kept here")]
    KeyLost,
    /// What tells whether the ledger is older than it was is not there, or belongs to another database.
    #[error(
        "nothing here tells whether it is missing: the file rungbook.fence is not there or belongs to another database"
    )]
    Unfenced,
    /// The programme of the record is not among the programmes.
    #[error("its programme is not among those that were founded")]
    Unfounded,
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
    /// A table, or a guard that keeps records from being changed, is not as this program makes it.
    #[error("{name} is not as this program makes it: somebody changed the database itself")]
    OtherTables {
        /// Which.
        name: String,
    },
    /// There is nothing of this program in the database.
    #[error("there is no ledger in {database}")]
    Empty {
        /// Which, without a password.
        database: String,
    },
    /// The file that tells how far the ledgers had come cannot be read.
    #[error("the file that tells how far the ledgers had come cannot be read")]
    Fence(#[source] std::io::Error),
    /// The database could not be read.
    #[error("the database could not be read")]
    Database(#[from] sqlx::Error),
    /// The place of the recordings cannot be used, so that nothing can be told of them.
    #[error("the recordings cannot be checked, so nothing was checked to its end")]
    Recordings(#[from] ObjectError),
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
    verify_at(&data_dir_or_file.into(), trusted).await
}

async fn verify_alone(
    whereabouts: &Whereabouts,
    trusted: &[TrustedHead],
) -> Result<Vec<ProgrammeVerdict>, VerifyError> {
    let place = whereabouts.data.as_path();
    let (database, fence, files) = if place.is_dir() {
        let files = FilesAt::of(whereabouts)?;
        // Read before the database, which is never behind it.
        let marks = Marks::read(place).map_err(VerifyError::Fence)?;
        (database_in(place), Fenced::In(marks), files)
    } else {
        // What a backup speaks of is beside it.
        (place.to_owned(), Fenced::Nowhere, FilesAt::Folder(folder_beside(place)))
    };
    let mut verdicts = verify_database(&database, trusted, fence).await?;
    check_files(&files, &mut verdicts)?;
    Ok(verdicts)
}

/// Checks a store, wherever it is kept, as [`verify`] does. Where the database is not in the directory, a directory that has
/// seen nothing of it yet tells nothing, and that is no failure.
///
/// # Errors
///
/// [`VerifyError`] where there is nothing to check, or the database cannot be reached.
pub async fn verify_at(
    whereabouts: &Whereabouts,
    trusted: &[TrustedHead],
) -> Result<Vec<ProgrammeVerdict>, VerifyError> {
    let Some(database) = &whereabouts.database else {
        return verify_alone(whereabouts, trusted).await;
    };
    let files = FilesAt::of(whereabouts)?;
    let marks = Marks::read(&whereabouts.data).map_err(VerifyError::Fence)?;
    let fence = marks.map_or(Fenced::Nowhere, |marks| Fenced::In(Some(marks)));
    let options = database.options();
    let mut connection = sql::postgres::connect(options).await?;
    if !sql::postgres::has_tables(&mut connection).await? {
        return Err(VerifyError::Empty { database: database.to_string() });
    }
    let mut link = Link::Postgres(&mut connection);
    sql::others::turn(&mut link, sql::others::LOOK).await?;
    let mut verdicts = verify_linked(&mut link, trusted, fence).await?;
    if all_pass(&verdicts)
        && let Some(name) = sql::postgres::other_object(&mut connection, options).await?
    {
        return Err(VerifyError::OtherTables { name });
    }
    connection.close().await?;
    check_files(&files, &mut verdicts)?;
    Ok(verdicts)
}

fn check_files(at: &FilesAt, verdicts: &mut [ProgrammeVerdict]) -> Result<(), ObjectError> {
    for verdict in verdicts {
        (verdict.files_agreed, verdict.files_lost) = files::check(at, &verdict.files)?;
    }
    Ok(())
}

/// Checks the records alone, of a database that is in no data directory.
pub(crate) async fn verify_ledger(
    database: &Path,
    trusted: &[TrustedHead],
) -> Result<Vec<ProgrammeVerdict>, VerifyError> {
    verify_database(database, trusted, Fenced::Nowhere).await
}

/// What tells how far ledgers had come.
enum Fenced {
    /// The database is a copy outside of a data directory, of which nothing tells that.
    Nowhere,
    /// It is in a data directory, with this file.
    In(Option<Marks>),
}

async fn verify_database(
    database: &Path,
    trusted: &[TrustedHead],
    fence: Fenced,
) -> Result<Vec<ProgrammeVerdict>, VerifyError> {
    if !database.is_file() {
        return Err(VerifyError::NotFound { path: database.to_owned() });
    }
    let mut connection = sql::sqlite::connect_to_read(database).await?;
    let verdicts = verify_connected(&mut connection, trusted, fence).await;
    connection.close().await?;
    verdicts
}

async fn verify_connected(
    connection: &mut SqliteConnection,
    trusted: &[TrustedHead],
    fence: Fenced,
) -> Result<Vec<ProgrammeVerdict>, VerifyError> {
    // One transaction, so that everything is seen as of one moment while a server writes on.
    let mut snapshot = connection.begin().await?;
    let found = sql::sqlite::integrity(&mut snapshot).await?;
    if found != "ok" {
        return Err(VerifyError::Damaged { found });
    }
    let verdicts = verify_linked(&mut Link::Sqlite(&mut snapshot), trusted, fence).await?;
    if all_pass(&verdicts)
        && let Some(name) = sql::sqlite::other_object(&mut snapshot).await?
    {
        return Err(VerifyError::OtherTables { name });
    }
    Ok(verdicts)
}

fn all_pass(verdicts: &[ProgrammeVerdict]) -> bool {
    verdicts.iter().all(|verdict| verdict.first_failure.is_none())
}

async fn verify_linked(
    link: &mut Link<'_>,
    trusted: &[TrustedHead],
    fence: Fenced,
) -> Result<Vec<ProgrammeVerdict>, VerifyError> {
    let mut names: BTreeSet<String> = sql::ledger::programmes(link).await?.into_iter().collect();
    names.extend(trusted.iter().map(|head| head.programme.as_str().to_owned()));
    let around = Around::of(link, fence).await?;
    names.extend(around.marks.heads.keys().cloned());
    let mut verdicts = Vec::new();
    for name in names {
        let trusted = trusted.iter().filter(|head| head.programme.as_str() == name);
        let trusted = trusted.map(|head| Head { size: head.size, root: head.root });
        verdicts.push(verify_programme(link, name.clone(), trusted, &around).await?);
    }
    Ok(verdicts)
}

/// What is known around the ledgers.
struct Around {
    /// How far ledgers had come, where that is told.
    marks: Marks,
    /// Whether that should be told, and is not.
    unfenced: bool,
    /// When each programme was founded.
    founded: BTreeMap<String, i64>,
    /// The keys of the secrets that are kept here; none: it is not asked which.
    own_keys: Option<Vec<PublicKey>>,
}

impl Around {
    async fn of(link: &mut Link<'_>, fence: Fenced) -> sqlx::Result<Self> {
        let place = sql::secret::find(link, fence::PLACE).await?;
        let place = place.map(|secret| fence::place_of(&secret));
        let in_place = matches!(fence, Fenced::In(_)) && place.is_some();
        let (marks, unfenced) = match fence {
            Fenced::In(Some(marks)) if Some(&marks.place) == place.as_ref() => (marks, false),
            Fenced::In(Some(_)) => (Marks::default(), true),
            Fenced::In(None) => (Marks::default(), place.is_some()),
            Fenced::Nowhere => (Marks::default(), false),
        };
        let mut marks = marks;
        // Where the database is no file in the folder, it tells of copies itself, and has its keys wherever it is.
        marks.copies.extend(sql::others::copies(link).await?);
        let in_place = in_place || (link.is_shared() && place.is_some());
        let secrets = sql::secret::beginning_with(link, notary::KEY).await?;
        let own_keys = secrets
            .iter()
            .map(|secret| Ok(notary::public_key_of(&sql::hash(secret)?)))
            .collect::<sqlx::Result<Vec<_>>>()?;
        let founded = sql::ledger::founded(link).await?;
        Ok(Self { marks, unfenced, founded, own_keys: in_place.then_some(own_keys) })
    }
}

/// A key and the signature that it made.
type KeptSignature = (Vec<u8>, Vec<u8>);

/// The roots to be held against, by size.
struct Expected {
    /// Size, root, and whose it is.
    roots: VecDeque<(u64, Vec<u8>, Whose)>,
    last_checkpoint: u64,
    /// Keys and signatures by the sizes of the checkpoints that they are of.
    signatures: BTreeMap<u64, Vec<KeptSignature>>,
    /// The smallest size that was signed, and by which key.
    first_signed: Option<(u64, Vec<u8>)>,
}

/// Where a root is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Whose {
    /// It is that of a checkpoint of this database.
    Checkpoint,
    /// It was kept elsewhere.
    Elsewhere,
    /// It stands in the file beside the database.
    Beside,
}

async fn expected(
    link: &mut Link<'_>,
    programme: &str,
    trusted: impl Iterator<Item = (Head, Whose)>,
) -> sqlx::Result<Expected> {
    const AT_A_TIME: i64 = 4096;
    let mut by_size: BTreeMap<u64, Vec<(Vec<u8>, Whose)>> = BTreeMap::new();
    for (head, whose) in trusted {
        by_size.entry(head.size).or_default().push((head.root.bytes().to_vec(), whose));
    }
    let mut last = 0;
    loop {
        let some = sql::ledger::checkpoints_after(link, programme, last, AT_A_TIME).await?;
        let Some((size, _)) = some.last() else { break };
        last = *size;
        for (size, root) in some {
            by_size.entry(size.unsigned_abs()).or_default().push((root, Whose::Checkpoint));
        }
    }
    let roots = by_size
        .into_iter()
        .flat_map(|(size, roots)| roots.into_iter().map(move |(root, whose)| (size, root, whose)))
        .collect();
    let mut signatures: BTreeMap<u64, Vec<_>> = BTreeMap::new();
    for (size, key, signature) in sql::ledger::signatures(link, programme).await? {
        signatures.entry(size.unsigned_abs()).or_default().push((key, signature));
    }
    let first_signed =
        signatures.first_key_value().and_then(|(size, all)| Some((*size, all.first()?.0.clone())));
    Ok(Expected { roots, last_checkpoint: last.unsigned_abs(), signatures, first_signed })
}

async fn verify_programme(
    link: &mut Link<'_>,
    name: String,
    trusted: impl Iterator<Item = Head>,
    around: &Around,
) -> Result<ProgrammeVerdict, VerifyError> {
    let copy = around.marks.copies.get(&name).copied();
    let had_come = around.marks.heads.get(&name).copied().filter(|_| copy.is_none());
    let copied = copy.map(|copy| copy.head);
    let beside = had_come.into_iter().chain(copied).map(|head| (head, Whose::Beside));
    let trusted = trusted.map(|head| (head, Whose::Elsewhere)).chain(beside);
    let mut check = Check {
        expected: expected(link, &name, trusted).await?,
        founded: around.founded.get(&name).copied(),
        copy,
        state: State::default(),
        tree: Tree::default(),
        origin: None,
        agreed_up_to: 0,
        checkpoint_before: 0,
        roots_agreed: 0,
        unsigned: Vec::new(),
        signed: Vec::new(),
        files: Vec::new(),
    };
    let outcome = match (ProgrammeId::new(&name), check.hold_roots()) {
        (Err(_), _) => Err(FirstFailure { seq: 1, wrong: Wrong::NoSuchProgramme }),
        (Ok(_), Err(failure)) => Err(failure),
        (Ok(id), Ok(())) => {
            replay(link, &id, u64::MAX, Look::Thorough, |believed| check.take(believed))
                .await?
                .and_then(|records| check.is_whole(records, around))
        }
    };
    let signatures = signatures::Checked::of(&check.signed);
    let failures = [outcome.err(), signatures.first_failure];
    Ok(ProgrammeVerdict {
        programme: name,
        head: Head { size: check.tree.size(), root: check.tree.root() },
        roots_agreed: check.roots_agreed,
        first_failure: failures.into_iter().flatten().min_by_key(|failure| failure.seq),
        copy,
        signatures_right: signatures.right,
        keys_by_two_people: check.keys_by_two_people(&signatures.keys),
        keys: signatures.keys,
        files: check.files,
        files_agreed: 0,
        files_lost: Vec::new(),
    })
}

struct Check {
    expected: Expected,
    /// When the programme was founded, if it was.
    founded: Option<i64>,
    copy: Option<CopyFound>,
    state: State,
    tree: Tree,
    /// The name of the ledger, once there is a first record.
    origin: Option<Origin>,
    /// The largest size at which a kept root agreed.
    agreed_up_to: u64,
    /// The last checkpoint before the one that is looked at.
    checkpoint_before: u64,
    roots_agreed: u64,
    /// Checkpoints that nobody signed.
    unsigned: Vec<u64>,
    /// Signatures to be checked.
    signed: Vec<ToCheck>,
    files: Vec<FileOfRecord>,
}

impl Check {
    fn take(&mut self, believed: Believed) -> Result<(), FirstFailure> {
        let Believed { entry, leaf } = believed;
        let seq = entry.seq;
        if seq == 1 {
            self.begin(&entry, leaf)?;
        }
        self.files.extend(files::named_by(&entry));
        let folded = catch_unwind(AssertUnwindSafe(|| self.state.apply(&entry)));
        if folded.is_err() || self.state.length() != seq {
            return Err(FirstFailure { seq, wrong: Wrong::Unfoldable });
        }
        self.tree.push(leaf);
        self.hold_roots()
    }

    fn begin(&mut self, first: &Entry, leaf: NodeHash) -> Result<(), FirstFailure> {
        self.origin = Some(Origin::new(&first.programme, &leaf));
        let wrong = match self.founded {
            None => Wrong::Unfounded,
            Some(at) if at != first.at.timestamp_micros() => Wrong::OtherTime { found: first.at },
            Some(_) => return Ok(()),
        };
        Err(FirstFailure { seq: 1, wrong })
    }

    /// Holds the tree against the roots kept for its present size.
    fn hold_roots(&mut self) -> Result<(), FirstFailure> {
        let size = self.tree.size();
        while let Some((_, root, whose)) = self.expected.roots.pop_front_if(|(of, ..)| *of == size)
        {
            let computed = self.tree.root();
            if root[..] != computed.bytes()[..] {
                let wrong = Wrong::OtherRoot { size, computed };
                return Err(FirstFailure { seq: self.agreed_up_to + 1, wrong });
            }
            self.roots_agreed += u64::from(whose != Whose::Beside);
            self.agreed_up_to = size;
            if whose == Whose::Checkpoint {
                self.hold_signatures(size, computed)?;
                self.checkpoint_before = size;
            }
        }
        Ok(())
    }

    /// Notes what signed the checkpoint of this size, and that it is the key in force.
    fn hold_signatures(&mut self, size: u64, root: NodeHash) -> Result<(), FirstFailure> {
        let failure = |wrong| FirstFailure { seq: size, wrong };
        let Some(signatures) = self.expected.signatures.remove(&size) else {
            if self.expected.first_signed.as_ref().is_some_and(|(first, _)| size > *first) {
                self.unsigned.push(size);
            }
            return Ok(());
        };
        let Some(origin) = self.origin.clone() else { return Ok(()) };
        let in_force = self.state.keeping.key_at(self.checkpoint_before);
        let first = self.expected.first_signed.as_ref().map(|(_, key)| key.clone());
        let in_force = in_force.map(|key| key.bytes().to_vec()).or(first).unwrap_or_default();
        for (key, signature) in signatures {
            let Ok(bytes) = <[u8; 32]>::try_from(key.as_slice()) else {
                return Err(failure(Wrong::BadSignature { size }));
            };
            if key != in_force {
                let key = PublicKey::from_bytes(bytes);
                return Err(failure(Wrong::OtherKey { size, key }));
            }
            let checkpoint = Checkpoint { origin: origin.clone(), size, root };
            self.signed.push(ToCheck { checkpoint, key: bytes, signature });
        }
        Ok(())
    }

    fn is_whole(&self, records: u64, around: &Around) -> Result<(), FirstFailure> {
        let missing = |size| FirstFailure { seq: records + 1, wrong: Wrong::Missing { size } };
        if let Some((size, ..)) = self.expected.roots.back() {
            return Err(missing(*size));
        }
        if records == 0 {
            return Err(missing(1));
        }
        if self.expected.last_checkpoint < records {
            let seq = self.expected.last_checkpoint + 1;
            return Err(FirstFailure { seq, wrong: Wrong::Uncovered });
        }
        if let Some((size, _)) = self.expected.signatures.first_key_value() {
            return Err(FirstFailure { seq: *size, wrong: Wrong::BadSignature { size: *size } });
        }
        let waiting = |size: u64| {
            self.state.keeping.was_waiting(size)
                || self.copy.is_some_and(|copy| size > copy.head.size)
        };
        if let Some(size) = self.unsigned.iter().find(|size| !waiting(**size)) {
            return Err(FirstFailure { seq: *size, wrong: Wrong::Unsigned { size: *size } });
        }
        if self.key_is_lost(around) {
            return Err(FirstFailure { seq: records, wrong: Wrong::KeyLost });
        }
        if around.unfenced {
            return Err(FirstFailure { seq: records + 1, wrong: Wrong::Unfenced });
        }
        Ok(())
    }

    /// Whether the next checkpoint can be signed by none of the keys kept here.
    fn key_is_lost(&self, around: &Around) -> bool {
        let first = self.expected.first_signed.as_ref().map(|(_, key)| key.as_slice());
        let named = self.state.keeping.key_at(u64::MAX);
        let next = named.as_ref().map(|key| &key.bytes()[..]).or(first);
        let (Some(next), Some(own), None) = (next, &around.own_keys, self.copy) else {
            return false;
        };
        !own.iter().any(|key| key.bytes()[..] == *next)
    }

    fn keys_by_two_people(&self, keys: &[Verifier]) -> Vec<Verifier> {
        let named = self.state.keeping.keys.iter().filter(|key| !key.handed_over);
        let named: Vec<_> = named.map(|key| *key.key.bytes()).collect();
        keys.iter().skip(1).filter(|key| named.contains(&key.key())).cloned().collect()
    }
}
