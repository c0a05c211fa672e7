//! Taking in what other servers wrote. Only the writer's thread does, so that nothing in memory ever goes back.

use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

use parking_lot::RwLock;
use programme::codes::ProgrammeId;
use programme::record::PublicKey;

use crate::batch::settle_copy;
use crate::fence::CopyFound;
use crate::notary;
use crate::published::{Head, News, Published};
use crate::replay::{Believed, Look, replay_after};
use crate::session::SignIns;
use crate::sql;
use crate::sql::Link;
use crate::store::Shared;
use crate::verify::FirstFailure;
use crate::writer::Workings;

/// Why memory could not be brought in step with the database.
#[derive(Debug)]
pub(crate) enum Behind {
    /// The database could not be read.
    Database(sqlx::Error),
    /// What it holds does not follow from what was there.
    Differs,
}

impl From<sqlx::Error> for Behind {
    fn from(error: sqlx::Error) -> Self {
        Self::Database(error)
    }
}

/// Takes in what others wrote to ledgers: to all, or to these. Each record's hash is computed again, and the root held against
/// the last checkpoint.
pub(crate) async fn ledgers(
    link: &mut Link<'_>,
    shared: &Shared,
    working: &mut Workings,
    of: Option<&BTreeSet<&ProgrammeId>>,
) -> Result<(), Behind> {
    let heads = sql::others::heads(link, of).await?;
    let asked = |id: &ProgrammeId| of.is_none_or(|of| of.contains(id));
    let known = shared.programmes.read().keys().filter(|id| asked(id)).count();
    let mut found_again = 0;
    for (name, head) in heads {
        let Ok(id) = ProgrammeId::new(&name) else { return Err(Behind::Differs) };
        let had = shared.programme(&id).map(|published| published.read().head);
        found_again += usize::from(had.is_some());
        match had {
            Some(had) if had == head => continue,
            // Nobody else brings memory forward, so that the database has gone back.
            Some(had) if had.size >= head.size => return Err(Behind::Differs),
            // Whether it goes on from a copy is known before anybody acts on it.
            None => people(link, shared).await?,
            Some(_) => {}
        }
        take_in(link, shared, &id, had.map_or(0, |had| had.size), head).await?;
        working.remove(&id);
    }
    if found_again == known { Ok(()) } else { Err(Behind::Differs) }
}

async fn take_in(
    link: &mut Link<'_>,
    shared: &Shared,
    id: &ProgrammeId,
    before: u64,
    head: Head,
) -> Result<(), Behind> {
    let published = shared.programme(id).unwrap_or_default();
    let mut tree = published.read().tree.edge();
    let mut new = Vec::new();
    let read = replay_after(link, id, before, head.size, Look::Quick, |believed| {
        tree.push(believed.leaf);
        new.push(believed);
        Ok(())
    })
    .await?;
    let follows = read.is_ok() && tree.size() == head.size && tree.root() == head.root;
    if !follows {
        tell_why(id, head, read.err());
        return Err(Behind::Differs);
    }
    if !shared.notary.knows(id)
        && let Some(first) = sql::ledger::public_keys(link, id.as_str()).await?.first()
    {
        shared.notary.signed_first_by(id, PublicKey::from_bytes(sql::hash(first)?));
    }
    show(shared, id, &published, &new);
    let key = shared.notary.key_of(id, &published.read().state);
    if !shared.notary.has(key) {
        shared.notary.add_all(&secrets(link).await?);
    }
    Ok(())
}

/// Lets readers see it, and tells those who listen.
fn show(shared: &Shared, id: &ProgrammeId, published: &Arc<RwLock<Published>>, new: &[Believed]) {
    let head = {
        let mut published = published.write();
        published.take_in(new.iter().map(|believed| (&believed.entry, believed.leaf)));
        published.head
    };
    shared.programmes.write().entry(id.clone()).or_insert_with(|| Arc::clone(published));
    settle_copy(shared, id, published);
    if !shared.copies.read().contains_key(id) {
        shared.fence.note(id.as_str(), head);
    }
    // Nobody need be listening.
    let _ = shared.news.send(News { programme: id.clone(), seq: head.size });
}

fn tell_why(id: &ProgrammeId, head: Head, failure: Option<FirstFailure>) {
    match failure {
        Some(failure) => tracing::error!(
            error = &failure as &dyn std::error::Error,
            "record {} of programme {id} fails",
            failure.seq
        ),
        None => tracing::error!(
            "the records of programme {id} up to {} do not give the root of their checkpoint",
            head.size
        ),
    }
}

/// Takes in what others changed outside the ledgers: accounts, sessions, keys, and which ledgers go on from copies.
pub(crate) async fn people(link: &mut Link<'_>, shared: &Shared) -> Result<(), Behind> {
    let sign_ins = load_sign_ins(link).await?;
    let secrets = secrets(link).await?;
    let copies = unacknowledged(link, shared).await?;
    shared.notary.add_all(&secrets);
    *shared.sign_ins.write() = sign_ins;
    *shared.copies.write() = copies;
    Ok(())
}

async fn unacknowledged(
    link: &mut Link<'_>,
    shared: &Shared,
) -> sqlx::Result<HashMap<ProgrammeId, CopyFound>> {
    let found = sql::others::copies(link).await?;
    let waiting = found.into_iter().filter_map(|(name, found)| {
        let id = ProgrammeId::new(&name).ok()?;
        let acknowledged = shared
            .programme(&id)
            .is_some_and(|published| found.is_acknowledged_in(&published.read().state));
        (!acknowledged).then_some((id, found))
    });
    Ok(waiting.collect())
}

/// The secrets by which checkpoints are signed, the newest last.
pub(crate) async fn secrets(link: &mut Link<'_>) -> sqlx::Result<Vec<[u8; 32]>> {
    let kept = sql::secret::beginning_with(link, notary::KEY).await?;
    kept.iter().map(|bytes| sql::hash(bytes)).collect()
}

/// Accounts and the sessions that stand.
pub(crate) async fn load_sign_ins(link: &mut Link<'_>) -> sqlx::Result<SignIns> {
    let accounts = sql::account::all(link).await?;
    let sessions = sql::session::standing(link).await?;
    Ok(SignIns {
        accounts: accounts.into_iter().map(|account| (account.handle.clone(), account)).collect(),
        sessions: sessions.into_iter().collect(),
    })
}
