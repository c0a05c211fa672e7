//! What servers on one PostgreSQL database have to know of one another. On SQLite there are no others, and all of it is nothing.

use std::collections::BTreeSet;

use programme::codes::{PersonHandle, ProgrammeId};
use programme::ledger::NodeHash;
use sha2::{Digest as _, Sha256};

use super::{Link, hash, number, run};
use crate::fence::CopyFound;
use crate::published::Head;

/// What is told to the others, and where they listen.
pub(crate) const CHANNEL: &str = "rungbook";

/// What only one server at a time may work on.
#[derive(Debug, Default)]
pub(crate) struct Locks(BTreeSet<i64>);

impl Locks {
    /// A programme's ledger.
    pub fn of_programme(&mut self, programme: &ProgrammeId) {
        self.add(&["programme", programme.as_str()]);
    }

    /// What is answered to a person's key.
    pub fn of_key(&mut self, person: &PersonHandle, key: &str) {
        self.add(&["key", person.as_str(), key]);
    }

    /// Two things that have the same number by chance only wait for one another.
    fn add(&mut self, of: &[&str]) {
        let digest = Sha256::digest(of.join("\n"));
        let mut first = [0; 8];
        first.copy_from_slice(&digest[..8]);
        self.0.insert(i64::from_be_bytes(first));
    }
}

/// Begins or ends a transaction, in one message.
pub(crate) async fn turn(link: &mut Link<'_>, how: &'static str) -> sqlx::Result<()> {
    run!(link, connection => sqlx::raw_sql(how).execute(connection))?;
    Ok(())
}

/// What begins a look at everything as of one moment, while others write on.
pub(crate) const LOOK: &str = "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY";

/// Waits until no other server works on these, and keeps the others waiting until the transaction ends, also where it ends
/// because this server died. All servers take them in the same order, so that none waits for one that waits for it.
pub(crate) async fn lock(link: &mut Link<'_>, locks: &Locks) -> sqlx::Result<()> {
    let Link::Postgres(connection) = link else { return Ok(()) };
    let locks: Vec<i64> = locks.0.iter().copied().collect();
    sqlx::query(
        "SELECT count(pg_advisory_xact_lock(lock)) FROM
             (SELECT lock FROM unnest($1::bigint[]) AS lock ORDER BY lock) AS in_order",
    )
    .bind(locks)
    .execute(&mut **connection)
    .await?;
    Ok(())
}

/// How far ledgers have come: all, or these.
pub(crate) async fn heads(
    link: &mut Link<'_>,
    of: Option<&BTreeSet<&ProgrammeId>>,
) -> sqlx::Result<Vec<(String, Head)>> {
    let Link::Postgres(connection) = link else { return Ok(Vec::new()) };
    let of: Option<Vec<&str>> = of.map(|of| of.iter().map(|id| id.as_str()).collect());
    let found: Vec<(String, i64, Vec<u8>)> = sqlx::query_as(
        "SELECT id, last.size, last.root FROM programme
         CROSS JOIN LATERAL (SELECT size, root FROM checkpoint
             WHERE programme = id ORDER BY size DESC LIMIT 1) AS last
         WHERE $1::text[] IS NULL OR id = ANY ($1)",
    )
    .bind(of)
    .fetch_all(&mut **connection)
    .await?;
    found
        .into_iter()
        .map(|(id, size, root)| {
            let root = NodeHash::from_bytes(hash(&root)?);
            Ok((id, Head { size: size.unsigned_abs(), root }))
        })
        .collect()
}

/// The number of the last change outside the ledgers.
pub(crate) async fn changes(link: &mut Link<'_>) -> sqlx::Result<i64> {
    let Link::Postgres(connection) = link else { return Ok(0) };
    sqlx::query_scalar("SELECT number FROM change").fetch_one(&mut **connection).await
}

/// Waits until no other server changes anything outside the ledgers, and keeps the others waiting until the transaction ends:
/// the number of the change that is made now.
pub(crate) async fn begin_change(link: &mut Link<'_>) -> sqlx::Result<i64> {
    let Link::Postgres(connection) = link else { return Ok(0) };
    sqlx::query_scalar("UPDATE change SET number = number + 1 RETURNING number")
        .fetch_one(&mut **connection)
        .await
}

/// Tells all servers something once the transaction is on disk.
pub(crate) async fn tell(link: &mut Link<'_>, what: &str) -> sqlx::Result<()> {
    let Link::Postgres(connection) = link else { return Ok(()) };
    sqlx::query("SELECT pg_notify($1, $2)")
        .bind(CHANNEL)
        .bind(what)
        .execute(&mut **connection)
        .await?;
    Ok(())
}

/// Ledgers that go on from copies that nobody has acknowledged.
pub(crate) async fn copies(link: &mut Link<'_>) -> sqlx::Result<Vec<(String, CopyFound)>> {
    let Link::Postgres(connection) = link else { return Ok(Vec::new()) };
    let found: Vec<(String, i64, Vec<u8>, Option<i64>)> =
        sqlx::query_as("SELECT programme, size, root, known FROM copy_found")
            .fetch_all(&mut **connection)
            .await?;
    found
        .into_iter()
        .map(|(programme, size, root, known)| {
            let root = NodeHash::from_bytes(hash(&root)?);
            let head = Head { size: size.unsigned_abs(), root };
            Ok((programme, CopyFound { head, known: known.map(i64::unsigned_abs) }))
        })
        .collect()
}

/// Notes that a ledger goes on from a copy.
pub(crate) async fn put_copy(
    link: &mut Link<'_>,
    programme: &ProgrammeId,
    found: CopyFound,
) -> sqlx::Result<()> {
    let Link::Postgres(connection) = link else { return Ok(()) };
    sqlx::query(
        "INSERT INTO copy_found (programme, size, root, known) VALUES ($1, $2, $3, $4)
         ON CONFLICT (programme) DO UPDATE SET
             size = excluded.size, root = excluded.root, known = excluded.known",
    )
    .bind(programme.as_str())
    .bind(number(found.head.size))
    .bind(&found.head.root.bytes()[..])
    .bind(found.known.map(number))
    .execute(&mut **connection)
    .await?;
    Ok(())
}

/// Notes that test lead and safety officer have acknowledged a copy.
pub(crate) async fn remove_copy(link: &mut Link<'_>, programme: &ProgrammeId) -> sqlx::Result<()> {
    let Link::Postgres(connection) = link else { return Ok(()) };
    sqlx::query("DELETE FROM copy_found WHERE programme = $1")
        .bind(programme.as_str())
        .execute(&mut **connection)
        .await?;
    Ok(())
}
