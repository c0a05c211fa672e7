//! Programmes, records and checkpoints.

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, Utc};
use programme::codes::ProgrammeId;
use programme::ledger::Tree;

use super::{Link, hex, micros, number, on, rows, run};
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
    link: &mut Link<'_>,
    programme: &ProgrammeId,
    founded_at: DateTime<Utc>,
) -> sqlx::Result<()> {
    run!(link, connection => sqlx::query("INSERT INTO programme (id, founded_at) VALUES ($1, $2)")
        .bind(programme.as_str())
        .bind(micros(founded_at))
        .execute(connection))?;
    Ok(())
}

pub(crate) async fn insert(link: &mut Link<'_>, to_insert: &[&Row]) -> sqlx::Result<()> {
    for some in to_insert.chunks(ROWS_IN_A_STATEMENT) {
        match link {
            Link::Sqlite(connection) => {
                let parameter = rows(some.iter().map(|row| {
                    let entry = &row.entry;
                    let leaf = hex(row.leaf.bytes());
                    (entry.programme.as_str(), entry.seq, micros(entry.at), &row.text, leaf)
                }))?;
                sqlx::query(
                    "INSERT INTO ledger (programme, seq, recorded_at, entry, leaf)
                     SELECT value ->> 0, value ->> 1, value ->> 2, value ->> 3, unhex(value ->> 4)
                     FROM json_each($1)
                     ORDER BY key",
                )
                .bind(parameter)
                .execute(&mut **connection)
                .await?;
            }
            Link::Postgres(connection) => {
                let of = |row: &&Row| row.entry.programme.as_str().to_owned();
                sqlx::query(
                    "INSERT INTO ledger (programme, seq, recorded_at, entry, leaf)
                     SELECT programme, seq, recorded_at, entry, leaf
                     FROM unnest($1::text[], $2::bigint[], $3::bigint[], $4::text[], $5::bytea[])
                         WITH ORDINALITY AS it (programme, seq, recorded_at, entry, leaf, place)
                     ORDER BY place",
                )
                .bind(some.iter().map(of).collect::<Vec<_>>())
                .bind(some.iter().map(|row| number(row.entry.seq)).collect::<Vec<_>>())
                .bind(some.iter().map(|row| micros(row.entry.at)).collect::<Vec<_>>())
                .bind(some.iter().map(|row| row.text.as_str()).collect::<Vec<_>>())
                .bind(some.iter().map(|row| &row.leaf.bytes()[..]).collect::<Vec<_>>())
                .execute(&mut **connection)
                .await?;
            }
        }
    }
    Ok(())
}

pub(crate) async fn insert_checkpoints(
    link: &mut Link<'_>,
    heads: &HashMap<&ProgrammeId, &Tree>,
) -> sqlx::Result<()> {
    let heads =
        heads.iter().map(|(programme, tree)| (programme.as_str(), tree.size(), tree.root()));
    match link {
        Link::Sqlite(connection) => {
            let parameter =
                rows(heads.map(|(programme, size, root)| (programme, size, hex(root.bytes()))))?;
            sqlx::query(
                "INSERT INTO checkpoint (programme, size, root)
                 SELECT value ->> 0, value ->> 1, unhex(value ->> 2) FROM json_each($1)",
            )
            .bind(parameter)
            .execute(&mut **connection)
            .await?;
        }
        Link::Postgres(_) => {
            for (programme, size, root) in heads {
                insert_checkpoint(link, programme, size, root.bytes()).await?;
            }
        }
    }
    Ok(())
}

pub(crate) async fn insert_signatures(link: &mut Link<'_>, signed: &[Signed]) -> sqlx::Result<()> {
    match link {
        Link::Sqlite(connection) => {
            let parameter = rows(signed.iter().map(|signed| {
                let (key, signature) = (hex(&signed.public_key), hex(&signed.signature));
                (signed.programme.as_str(), signed.size, key, signature)
            }))?;
            sqlx::query(
                "INSERT INTO checkpoint_signature (programme, size, public_key, signature)
                 SELECT value ->> 0, value ->> 1, unhex(value ->> 2), unhex(value ->> 3)
                 FROM json_each($1)",
            )
            .bind(parameter)
            .execute(&mut **connection)
            .await?;
        }
        Link::Postgres(connection) => {
            let of = |signed: &Signed| signed.programme.as_str().to_owned();
            sqlx::query(
                "INSERT INTO checkpoint_signature (programme, size, public_key, signature)
                 SELECT * FROM unnest($1::text[], $2::bigint[], $3::bytea[], $4::bytea[])",
            )
            .bind(signed.iter().map(of).collect::<Vec<_>>())
            .bind(signed.iter().map(|signed| number(signed.size)).collect::<Vec<_>>())
            .bind(signed.iter().map(|signed| &signed.public_key[..]).collect::<Vec<_>>())
            .bind(signed.iter().map(|signed| &signed.signature[..]).collect::<Vec<_>>())
            .execute(&mut **connection)
            .await?;
        }
    }
    Ok(())
}

/// A signature as kept: size, public key and signature.
pub(crate) type KeptSignature = (i64, Vec<u8>, Vec<u8>);

/// The signature of the checkpoint of a size, or else the last one up to that size.
pub(crate) async fn signature(
    link: &mut Link<'_>,
    programme: &str,
    size: u64,
    or_the_last_before: bool,
) -> sqlx::Result<Option<KeptSignature>> {
    on!(link, connection => sqlx::query_as(
        "SELECT size, public_key, signature FROM checkpoint_signature
         WHERE programme = $1 AND (size = $2 OR ($3 AND size < $2)) ORDER BY size DESC LIMIT 1",
    )
    .bind(programme)
    .bind(number(size))
    .bind(or_the_last_before)
    .fetch_optional(connection))
}

/// Every public key that signed checkpoints of a programme.
pub(crate) async fn public_keys(
    link: &mut Link<'_>,
    programme: &str,
) -> sqlx::Result<Vec<Vec<u8>>> {
    on!(link, connection => sqlx::query_scalar(
        "SELECT public_key FROM checkpoint_signature WHERE programme = $1 GROUP BY 1 ORDER BY min(size)",
    )
    .bind(programme)
    .fetch_all(connection))
}

/// Ids of programmes, also of those that have records and no row of their own, as only a damaged database has.
pub(crate) async fn programmes(link: &mut Link<'_>) -> sqlx::Result<Vec<String>> {
    on!(link, connection => sqlx::query_scalar(
        "SELECT id FROM programme
         UNION SELECT DISTINCT programme FROM ledger
         UNION SELECT DISTINCT programme FROM checkpoint
         UNION SELECT DISTINCT programme FROM checkpoint_signature
         ORDER BY 1",
    )
    .fetch_all(connection))
}

/// The number of the last record of each programme.
pub(crate) async fn lengths(link: &mut Link<'_>) -> sqlx::Result<BTreeMap<String, u64>> {
    let lengths: Vec<(String, i64)> = on!(link, connection => sqlx::query_as(
        "SELECT id, (SELECT coalesce(max(seq), 0) FROM ledger WHERE programme = id) FROM programme",
    )
    .fetch_all(connection))?;
    Ok(lengths.into_iter().map(|(id, seq)| (id, seq.unsigned_abs())).collect())
}

/// Records after a number, in order.
pub(crate) async fn after(
    link: &mut Link<'_>,
    programme: &str,
    after_seq: i64,
    limit: i64,
) -> sqlx::Result<Vec<Kept>> {
    on!(link, connection => sqlx::query_as(
        "SELECT seq, recorded_at, entry, leaf FROM ledger
         WHERE programme = $1 AND seq > $2 ORDER BY seq LIMIT $3",
    )
    .bind(programme)
    .bind(after_seq)
    .bind(limit)
    .fetch_all(connection))
}

/// The number of the last record that was recorded at or before a moment; 0 if none was.
pub(crate) async fn last_recorded_by(
    link: &mut Link<'_>,
    programme: &str,
    moment: DateTime<Utc>,
) -> sqlx::Result<i64> {
    on!(link, connection => sqlx::query_scalar(
        "SELECT coalesce(max(seq), 0) FROM ledger WHERE programme = $1 AND recorded_at <= $2",
    )
    .bind(programme)
    .bind(micros(moment))
    .fetch_one(connection))
}

/// Sizes and roots after a size, in order.
pub(crate) async fn checkpoints_after(
    link: &mut Link<'_>,
    programme: &str,
    after_size: i64,
    limit: i64,
) -> sqlx::Result<Vec<(i64, Vec<u8>)>> {
    on!(link, connection => sqlx::query_as(
        "SELECT size, root FROM checkpoint WHERE programme = $1 AND size > $2 ORDER BY size LIMIT $3",
    )
    .bind(programme)
    .bind(after_size)
    .bind(limit)
    .fetch_all(connection))
}

/// The latest size and root.
pub(crate) async fn last_checkpoint(
    link: &mut Link<'_>,
    programme: &str,
) -> sqlx::Result<Option<(i64, Vec<u8>)>> {
    on!(link, connection => sqlx::query_as(
        "SELECT size, root FROM checkpoint WHERE programme = $1 ORDER BY size DESC LIMIT 1",
    )
    .bind(programme)
    .fetch_optional(connection))
}

/// Programmes with the moments at which they were founded.
pub(crate) async fn founded(link: &mut Link<'_>) -> sqlx::Result<BTreeMap<String, i64>> {
    let founded: Vec<(String, i64)> = on!(link, connection => sqlx::query_as("SELECT id, founded_at FROM programme").fetch_all(connection))?;
    Ok(founded.into_iter().collect())
}

/// Every signature of a programme's checkpoints, by size.
pub(crate) async fn signatures(
    link: &mut Link<'_>,
    programme: &str,
) -> sqlx::Result<Vec<KeptSignature>> {
    on!(link, connection => sqlx::query_as(
        "SELECT size, public_key, signature FROM checkpoint_signature WHERE programme = $1 ORDER BY size",
    )
    .bind(programme)
    .fetch_all(connection))
}

/// A checkpoint as kept, with what signed it: size, root, public key and signature.
pub(crate) type KeptCheckpoint = (i64, Vec<u8>, Option<Vec<u8>>, Option<Vec<u8>>);

/// Checkpoints after a size and up to one, with their signatures, in order.
pub(crate) async fn signed_after(
    link: &mut Link<'_>,
    programme: &str,
    after_size: u64,
    until: u64,
    limit: u32,
) -> sqlx::Result<Vec<KeptCheckpoint>> {
    on!(link, connection => sqlx::query_as(
        "SELECT kept.size, kept.root, made.public_key, made.signature
         FROM (SELECT size, root FROM checkpoint
             WHERE programme = $1 AND size > $2 AND size <= $3 ORDER BY size LIMIT $4) AS kept
         LEFT JOIN checkpoint_signature AS made ON made.programme = $1 AND made.size = kept.size
         ORDER BY kept.size",
    )
    .bind(programme)
    .bind(number(after_size))
    .bind(number(until))
    .bind(i64::from(limit))
    .fetch_all(connection))
}

/// Keeps size and root of a checkpoint that another server made.
pub(crate) async fn insert_checkpoint(
    link: &mut Link<'_>,
    programme: &str,
    size: u64,
    root: &[u8],
) -> sqlx::Result<()> {
    run!(link, connection => sqlx::query("INSERT INTO checkpoint (programme, size, root) VALUES ($1, $2, $3)")
        .bind(programme)
        .bind(number(size))
        .bind(root)
        .execute(connection))?;
    Ok(())
}

/// The smallest size at or beyond one at which a checkpoint was signed.
pub(crate) async fn signed_from(
    link: &mut Link<'_>,
    programme: &str,
    size: u64,
) -> sqlx::Result<Option<i64>> {
    on!(link, connection => sqlx::query_scalar(
        "SELECT min(size) FROM checkpoint_signature WHERE programme = $1 AND size >= $2",
    )
    .bind(programme)
    .bind(number(size))
    .fetch_one(connection))
}

/// The hash that is kept with a record; none where there is no such record.
pub(crate) async fn leaf(
    link: &mut Link<'_>,
    programme: &str,
    seq: u64,
) -> sqlx::Result<Option<Vec<u8>>> {
    on!(link, connection => sqlx::query_scalar(
        "SELECT leaf FROM ledger WHERE programme = $1 AND seq = $2",
    )
    .bind(programme)
    .bind(number(seq))
    .fetch_optional(connection))
}
