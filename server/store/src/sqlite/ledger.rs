//! Programmes, records and checkpoints.

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, Utc};
use programme::codes::ProgrammeId;
use programme::ledger::Tree;
use sqlx::SqliteConnection;

use super::{hex, micros, rows};
use crate::batch::Row;
use crate::notary::Signed;

/// Rows in one statement; more make a parameter that is large for no gain.
const ROWS_IN_A_STATEMENT: usize = 1000;

/// A record as read, before anything about it is believed.
#[derive(Debug, Clone, sqlx::FromRow)]
pub(crate) struct Kept {
    pub seq: i64,
    pub recorded_at: i64,
    pub entry: String,
    pub leaf: Vec<u8>,
}

pub(crate) async fn insert_programme(
    connection: &mut SqliteConnection,
    programme: &ProgrammeId,
    founded_at: DateTime<Utc>,
) -> sqlx::Result<()> {
    sqlx::query("INSERT INTO programme (id, founded_at) VALUES (?1, ?2)")
        .bind(programme.as_str())
        .bind(micros(founded_at))
        .execute(connection)
        .await?;
    Ok(())
}

pub(crate) async fn insert(
    connection: &mut SqliteConnection,
    to_insert: &[&Row],
) -> sqlx::Result<()> {
    for some in to_insert.chunks(ROWS_IN_A_STATEMENT) {
        let parameter = rows(some.iter().map(|row| {
            let entry = &row.entry;
            let leaf = hex(row.leaf.bytes());
            (entry.programme.as_str(), entry.seq, micros(entry.at), &row.text, leaf)
        }))?;
        sqlx::query(
            "INSERT INTO ledger (programme, seq, recorded_at, entry, leaf)
             SELECT value ->> 0, value ->> 1, value ->> 2, value ->> 3, unhex(value ->> 4)
             FROM json_each(?1)
             ORDER BY key",
        )
        .bind(parameter)
        .execute(&mut *connection)
        .await?;
    }
    Ok(())
}

pub(crate) async fn insert_checkpoints(
    connection: &mut SqliteConnection,
    heads: &HashMap<&ProgrammeId, &Tree>,
) -> sqlx::Result<()> {
    let parameter = rows(
        heads
            .iter()
            .map(|(programme, tree)| (programme.as_str(), tree.size(), hex(tree.root().bytes()))),
    )?;
    sqlx::query(
        "INSERT INTO checkpoint (programme, size, root)
         SELECT value ->> 0, value ->> 1, unhex(value ->> 2) FROM json_each(?1)",
    )
    .bind(parameter)
    .execute(connection)
    .await?;
    Ok(())
}

pub(crate) async fn insert_signatures(
    connection: &mut SqliteConnection,
    signed: &[Signed],
) -> sqlx::Result<()> {
    let parameter = rows(signed.iter().map(|signed| {
        let (key, signature) = (hex(&signed.public_key), hex(&signed.signature));
        (signed.programme.as_str(), signed.size, key, signature)
    }))?;
    sqlx::query(
        "INSERT INTO checkpoint_signature (programme, size, public_key, signature)
         SELECT value ->> 0, value ->> 1, unhex(value ->> 2), unhex(value ->> 3) FROM json_each(?1)",
    )
    .bind(parameter)
    .execute(connection)
    .await?;
    Ok(())
}

/// A signature as kept: size, public key and signature.
pub(crate) type KeptSignature = (i64, Vec<u8>, Vec<u8>);

/// The signature of the checkpoint of a size, or else the last one.
pub(crate) async fn signature(
    connection: &mut SqliteConnection,
    programme: &str,
    size: Option<u64>,
) -> sqlx::Result<Option<KeptSignature>> {
    let size = size.map(|size| i64::try_from(size).unwrap_or(i64::MAX));
    sqlx::query_as(
        "SELECT size, public_key, signature FROM checkpoint_signature
         WHERE programme = ?1 AND (?2 IS NULL OR size = ?2) ORDER BY size DESC LIMIT 1",
    )
    .bind(programme)
    .bind(size)
    .fetch_optional(connection)
    .await
}

/// Every public key that signed checkpoints of a programme.
pub(crate) async fn public_keys(
    connection: &mut SqliteConnection,
    programme: &str,
) -> sqlx::Result<Vec<Vec<u8>>> {
    sqlx::query_scalar(
        "SELECT public_key FROM checkpoint_signature WHERE programme = ?1 GROUP BY 1 ORDER BY min(size)",
    )
    .bind(programme)
    .fetch_all(connection)
    .await
}

/// Ids of programmes, also of those that have records and no row of their own, as only a damaged database has.
pub(crate) async fn programmes(connection: &mut SqliteConnection) -> sqlx::Result<Vec<String>> {
    sqlx::query_scalar(
        "SELECT id FROM programme
         UNION SELECT DISTINCT programme FROM ledger
         UNION SELECT DISTINCT programme FROM checkpoint
         UNION SELECT DISTINCT programme FROM checkpoint_signature
         ORDER BY 1",
    )
    .fetch_all(connection)
    .await
}

/// The number of the last record of each programme.
pub(crate) async fn lengths(
    connection: &mut SqliteConnection,
) -> sqlx::Result<BTreeMap<String, u64>> {
    let lengths: Vec<(String, i64)> = sqlx::query_as(
        "SELECT id, (SELECT coalesce(max(seq), 0) FROM ledger WHERE programme = id) FROM programme",
    )
    .fetch_all(connection)
    .await?;
    Ok(lengths.into_iter().map(|(id, seq)| (id, seq.unsigned_abs())).collect())
}

/// Records after a number, in order.
pub(crate) async fn after(
    connection: &mut SqliteConnection,
    programme: &str,
    after_seq: i64,
    limit: i64,
) -> sqlx::Result<Vec<Kept>> {
    sqlx::query_as(
        "SELECT seq, recorded_at, entry, leaf FROM ledger
         WHERE programme = ?1 AND seq > ?2 ORDER BY seq LIMIT ?3",
    )
    .bind(programme)
    .bind(after_seq)
    .bind(limit)
    .fetch_all(connection)
    .await
}

/// The number of the last record that was recorded at or before a moment; 0 if none was.
pub(crate) async fn last_recorded_by(
    connection: &mut SqliteConnection,
    programme: &str,
    moment: DateTime<Utc>,
) -> sqlx::Result<i64> {
    sqlx::query_scalar(
        "SELECT coalesce(max(seq), 0) FROM ledger WHERE programme = ?1 AND recorded_at <= ?2",
    )
    .bind(programme)
    .bind(micros(moment))
    .fetch_one(connection)
    .await
}

/// Sizes and roots after a size, in order.
pub(crate) async fn checkpoints_after(
    connection: &mut SqliteConnection,
    programme: &str,
    after_size: i64,
    limit: i64,
) -> sqlx::Result<Vec<(i64, Vec<u8>)>> {
    sqlx::query_as(
        "SELECT size, root FROM checkpoint WHERE programme = ?1 AND size > ?2 ORDER BY size LIMIT ?3",
    )
    .bind(programme)
    .bind(after_size)
    .bind(limit)
    .fetch_all(connection)
    .await
}

/// The latest size and root.
pub(crate) async fn last_checkpoint(
    connection: &mut SqliteConnection,
    programme: &str,
) -> sqlx::Result<Option<(i64, Vec<u8>)>> {
    sqlx::query_as(
        "SELECT size, root FROM checkpoint WHERE programme = ?1 ORDER BY size DESC LIMIT 1",
    )
    .bind(programme)
    .fetch_optional(connection)
    .await
}

/// Programmes with the moments at which they were founded.
pub(crate) async fn founded(
    connection: &mut SqliteConnection,
) -> sqlx::Result<BTreeMap<String, i64>> {
    let founded: Vec<(String, i64)> =
        sqlx::query_as("SELECT id, founded_at FROM programme").fetch_all(connection).await?;
    Ok(founded.into_iter().collect())
}

/// Every signature of a programme's checkpoints, by size.
pub(crate) async fn signatures(
    connection: &mut SqliteConnection,
    programme: &str,
) -> sqlx::Result<Vec<KeptSignature>> {
    sqlx::query_as(
        "SELECT size, public_key, signature FROM checkpoint_signature WHERE programme = ?1 ORDER BY size",
    )
    .bind(programme)
    .fetch_all(connection)
    .await
}

/// A checkpoint as kept, with what signed it: size, root, public key and signature.
pub(crate) type KeptCheckpoint = (i64, Vec<u8>, Option<Vec<u8>>, Option<Vec<u8>>);

/// Checkpoints after a size and up to one, with their signatures, in order.
pub(crate) async fn signed_after(
    connection: &mut SqliteConnection,
    programme: &str,
    after_size: u64,
    until: u64,
    limit: u32,
) -> sqlx::Result<Vec<KeptCheckpoint>> {
    sqlx::query_as(
        "SELECT kept.size, kept.root, made.public_key, made.signature
         FROM (SELECT size, root FROM checkpoint
             WHERE programme = ?1 AND size > ?2 AND size <= ?3 ORDER BY size LIMIT ?4) AS kept
         LEFT JOIN checkpoint_signature AS made ON made.programme = ?1 AND made.size = kept.size
         ORDER BY kept.size",
    )
    .bind(programme)
    .bind(i64::try_from(after_size).unwrap_or(i64::MAX))
    .bind(i64::try_from(until).unwrap_or(i64::MAX))
    .bind(limit)
    .fetch_all(connection)
    .await
}

/// Keeps size and root of a checkpoint that another server made.
pub(crate) async fn insert_checkpoint(
    connection: &mut SqliteConnection,
    programme: &str,
    size: u64,
    root: &[u8],
) -> sqlx::Result<()> {
    sqlx::query("INSERT INTO checkpoint (programme, size, root) VALUES (?1, ?2, ?3)")
        .bind(programme)
        .bind(i64::try_from(size).unwrap_or(i64::MAX))
        .bind(root)
        .execute(connection)
        .await?;
    Ok(())
}

/// The smallest size at or beyond one at which a checkpoint was signed.
pub(crate) async fn signed_from(
    connection: &mut SqliteConnection,
    programme: &str,
    size: u64,
) -> sqlx::Result<Option<i64>> {
    sqlx::query_scalar(
        "SELECT min(size) FROM checkpoint_signature WHERE programme = ?1 AND size >= ?2",
    )
    .bind(programme)
    .bind(i64::try_from(size).unwrap_or(i64::MAX))
    .fetch_one(connection)
    .await
}
