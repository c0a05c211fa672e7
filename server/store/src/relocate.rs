//! Everything to another place: from a file of SQLite to a PostgreSQL database, or back, with the same roots.
//!
//! Unlike a pack that is adopted, this is the ledger itself that goes on elsewhere, so its keys go along, and the old place
//! forgets them. What is left there can be read and checked as before; should anybody go on with it, then it goes on from a
//! copy, in which nobody signs.

use std::path::PathBuf;
use std::time::Duration;

use programme::codes::ProgrammeId;
use programme::entry::Entry;
use programme::ledger::NodeHash;

use crate::batch::Row;
use crate::fault::WriteError;
use crate::fence;
use crate::files::{self, LostFile};
use crate::notary::{KEY, Signed};
use crate::objects::{FilesAt, ObjectError};
use crate::open::OpenError;
use crate::published::Head;
use crate::sql::{self, Link, Reader};
use crate::store::Store;
use crate::verify::{FirstFailure, ProgrammeVerdict, VerifyError, verify_at};
use crate::whereabouts::{Whereabouts, holds_ledger};

/// Rows in memory at a time.
const AT_A_TIME: i64 = 1000;

/// A programme that was carried over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Carried {
    /// Which.
    pub programme: String,
    /// Size and root where it was.
    pub from: Head,
    /// Size and root where it is, computed anew from what is there.
    pub to: Head,
}

/// A move that was not made. The old place has everything as before.
#[derive(Debug, thiserror::Error)]
pub enum RelocateError {
    /// There is nothing to move.
    #[error("there is no ledger in {place}")]
    Nothing {
        /// Where it was looked for.
        place: String,
    },
    /// Both are the same folder.
    #[error("{path} is the folder of both; name another one for the new place")]
    SameFolder {
        /// The folder.
        path: PathBuf,
    },
    /// There is something already.
    #[error(
        "{place} holds a ledger or accounts already, and two cannot become one; name a new place"
    )]
    NotEmpty {
        /// The new place.
        place: String,
    },
    /// Servers work with the old place.
    #[error(
        "{place} is in use: {connections} connections of servers are open; stop all servers first"
    )]
    InUse {
        /// The old place.
        place: String,
        /// How many.
        connections: i64,
    },
    /// A ledger goes on from a copy.
    #[error(
        "the ledger of programme \"{0}\" goes on from a copy; test lead and safety officer acknowledge that first"
    )]
    Copy(String),
    /// A record fails its check.
    #[error("the ledger of programme \"{programme}\" fails its check, so nothing was moved")]
    Fails {
        /// Which programme.
        programme: String,
        /// The first record that fails, and how.
        #[source]
        failure: FirstFailure,
    },
    /// A file that a record speaks of is not there as it was.
    #[error("a file of programme \"{programme}\" is lost, so nothing was moved")]
    Lost {
        /// Which programme.
        programme: String,
        /// The file.
        #[source]
        lost: LostFile,
    },
    /// What came to be at the new place is not what was at the old one.
    #[error("programme \"{programme}\" is not the same at the new place; the old one is as it was")]
    Differs {
        /// Which programme.
        programme: String,
    },
    /// A place could not be opened.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// A place could not be checked.
    #[error(transparent)]
    Unchecked(#[from] VerifyError),
    /// The old place could not be read.
    #[error("the database could not be read")]
    Read(#[from] sqlx::Error),
    /// A place could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// The place of the recordings cannot be used.
    #[error("the recordings could not be brought over; the old place is as it was")]
    Recordings(#[from] ObjectError),
}

/// Carries every programme with its records, checkpoints, signatures and recordings, all accounts and keys to a new place, checks
/// everything there, and has the old place forget its keys. Everybody signs in anew.
///
/// # Errors
///
/// [`RelocateError`]; until everything was checked at the new place, nothing is changed at the old one.
pub async fn relocate(from: &Whereabouts, to: &Whereabouts) -> Result<Vec<Carried>, RelocateError> {
    if from.data.canonicalize().ok().is_some_and(|path| to.data.canonicalize().ok() == Some(path)) {
        return Err(RelocateError::SameFolder { path: to.data.clone() });
    }
    if !holds_ledger(from).await? {
        return Err(RelocateError::Nothing { place: from.to_string() });
    }
    if holds_ledger(to).await? {
        return Err(RelocateError::NotEmpty { place: to.to_string() });
    }
    nobody_else_is_at(from).await?;
    let before = whole(verify_at(from, &[]).await?)?;
    let old = Store::open_at(from).await?;
    let carried = carry(&old, from, to, &before).await;
    if carried.is_ok() {
        // From here on it goes on at the new place.
        old.write(async |link| sql::moving::forget_secrets(link, KEY).await, |_, ()| {}).await?;
    }
    old.close().await;
    carried
}

/// Waits a little for connections of servers that have just been stopped.
async fn nobody_else_is_at(place: &Whereabouts) -> Result<(), RelocateError> {
    let Some(database) = &place.database else { return Ok(()) };
    let mut connection = sql::postgres::connect(database.options()).await?;
    let mut link = Link::Postgres(&mut connection);
    let mut connections = 0;
    for _ in 0..20 {
        connections = sql::moving::others_at_it(&mut link).await?;
        if connections == 0 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    sqlx::Connection::close(connection).await?;
    match connections {
        0 => Ok(()),
        _ => Err(RelocateError::InUse { place: place.to_string(), connections }),
    }
}

/// Everything passes and is no copy.
fn whole(verdicts: Vec<ProgrammeVerdict>) -> Result<Vec<ProgrammeVerdict>, RelocateError> {
    let mut whole = Vec::with_capacity(verdicts.len());
    for mut verdict in verdicts {
        let programme = verdict.programme.clone();
        if let Some(failure) = verdict.first_failure.take() {
            return Err(RelocateError::Fails { programme, failure });
        }
        if verdict.copy.is_some() {
            return Err(RelocateError::Copy(programme));
        }
        whole.push(verdict);
    }
    Ok(whole)
}

async fn carry(
    old: &Store,
    from: &Whereabouts,
    to: &Whereabouts,
    before: &[ProgrammeVerdict],
) -> Result<Vec<Carried>, RelocateError> {
    let new = Store::open_at(to).await?;
    let empty = new.programmes().is_empty() && new.accounts().is_empty();
    let carried = match empty {
        false => Err(RelocateError::NotEmpty { place: to.to_string() }),
        true => copy_all(old, &new, from, to, before).await,
    };
    new.close().await;
    carried?;
    // Opened anew, it is folded and held against its checkpoints; then it is checked as `verify` checks it.
    Store::open_at(to).await?.close().await;
    let after = whole(verify_at(to, &[]).await?)?;
    let mut carried = Vec::new();
    for before in before {
        let programme = before.programme.clone();
        let there = after.iter().find(|after| after.programme == programme);
        match there {
            Some(after) if after.head == before.head && after.files_lost.is_empty() => {
                carried.push(Carried { programme, from: before.head, to: after.head });
            }
            _ => return Err(RelocateError::Differs { programme }),
        }
    }
    Ok(carried)
}

async fn copy_all(
    old: &Store,
    new: &Store,
    from: &Whereabouts,
    to: &Whereabouts,
    before: &[ProgrammeVerdict],
) -> Result<(), RelocateError> {
    // A bucket that both have keeps what it has.
    let stay = from.recordings.is_some() && from.recordings == to.recordings;
    let (from, to) = (FilesAt::of(from)?, FilesAt::of(to)?);
    for verdict in before {
        let (_, lost) = match stay {
            true => files::check(&to, &verdict.files)?,
            false => files::copy(&from, &to, &verdict.files)?,
        };
        if let Some(lost) = lost.into_iter().next() {
            return Err(RelocateError::Lost { programme: verdict.programme.clone(), lost });
        }
    }
    let mut reader = old.shared().readers.acquire().await?;
    new.write(async move |link| copy_rows(&mut reader, link).await, |_, ()| {}).await?;
    Ok(())
}

/// Writes everything in one transaction.
async fn copy_rows(reader: &mut Reader, link: &mut Link<'_>) -> sqlx::Result<()> {
    for account in sql::account::all(&mut reader.link()).await? {
        sql::account::insert(link, &account).await?;
    }
    // The new place made a key of its own, by which nothing was signed.
    sql::moving::forget_secrets(link, KEY).await?;
    for secret in sql::moving::secrets(&mut reader.link()).await? {
        // By this one a folder and its database know each other.
        if secret.0 != fence::PLACE {
            sql::moving::put_secret(link, &secret).await?;
        }
    }
    for (name, founded_at) in sql::ledger::founded(&mut reader.link()).await? {
        let id = ProgrammeId::new(&name).map_err(|_| sql::not_a("programme", &name))?;
        sql::ledger::insert_programme(link, &id, sql::moment(founded_at)?).await?;
        copy_ledger(reader, link, &id).await?;
    }
    let mut after = (String::new(), String::new());
    loop {
        let from = (after.0.as_str(), after.1.as_str());
        let some = sql::moving::replies_after(&mut reader.link(), from, AT_A_TIME).await?;
        let Some(last) = some.last() else { break };
        after = (last.person.as_str().to_owned(), last.idempotency.key.clone());
        let oldest = some.iter().map(|row| row.at).min().unwrap_or(last.at);
        sql::idempotency::insert(link, &some.iter().collect::<Vec<_>>(), oldest).await?;
    }
    for (person, programme, hash, at) in sql::moving::calendar_links(&mut reader.link()).await? {
        sql::calendar_link::put(link, (&person, &programme), &hash, sql::moment(at)?).await?;
    }
    Ok(())
}

/// Writes records and checkpoints in the order in which they came to be.
async fn copy_ledger(
    reader: &mut Reader,
    link: &mut Link<'_>,
    id: &ProgrammeId,
) -> sqlx::Result<()> {
    let name = id.as_str();
    let (mut size, mut written) = (0, 0);
    loop {
        let some =
            sql::ledger::checkpoints_after(&mut reader.link(), name, size, AT_A_TIME).await?;
        let Some((last, _)) = some.last() else { break };
        size = *last;
        for (size, root) in some {
            while written < size {
                let limit = (size - written).min(AT_A_TIME);
                let kept = sql::ledger::after(&mut reader.link(), name, written, limit).await?;
                let rows = kept.iter().map(row).collect::<sqlx::Result<Vec<_>>>()?;
                let Some(last) = kept.last() else { return Err(sqlx::Error::RowNotFound) };
                written = last.seq;
                sql::ledger::insert(link, &rows.iter().collect::<Vec<_>>()).await?;
            }
            sql::ledger::insert_checkpoint(link, name, size.unsigned_abs(), &root).await?;
        }
    }
    let signatures = sql::ledger::signatures(&mut reader.link(), name).await?;
    let signed = signatures.into_iter().map(|(size, key, signature)| {
        let bytes = signature.len();
        Ok(Signed {
            programme: id.clone(),
            size: size.unsigned_abs(),
            public_key: sql::hash(&key)?,
            signature: signature
                .try_into()
                .map_err(|_| sql::not_a("signature of 64 bytes", bytes))?,
        })
    });
    let signed = signed.collect::<sqlx::Result<Vec<_>>>()?;
    for some in signed.chunks(1000) {
        sql::ledger::insert_signatures(link, some).await?;
    }
    Ok(())
}

fn row(kept: &sql::ledger::Kept) -> sqlx::Result<Row> {
    let entry = Entry::from_json(&kept.entry).map_err(|error| sqlx::Error::Decode(error.into()))?;
    let leaf = NodeHash::from_bytes(sql::hash(&kept.leaf)?);
    Ok(Row { entry, text: kept.entry.clone(), leaf })
}
