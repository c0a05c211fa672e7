//! Replies by key.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use programme::codes::PersonHandle;
use sqlx::SqliteConnection;

use super::{hash, hex, micros, not_a, rows};
use crate::idempotency::{Answered, Key, Reply, ToRemember};

#[derive(sqlx::FromRow)]
struct Found {
    person: String,
    key: String,
    digest: Vec<u8>,
    status: i64,
    headers: String,
    body: Vec<u8>,
}

/// What was answered under these keys since `oldest`.
pub(crate) async fn find(
    connection: &mut SqliteConnection,
    keys: &[Key],
    oldest: DateTime<Utc>,
) -> sqlx::Result<HashMap<Key, Answered>> {
    if keys.is_empty() {
        return Ok(HashMap::new());
    }
    let parameter = rows(keys.iter().map(|(person, key)| (person.as_str(), key)))?;
    let found: Vec<Found> = sqlx::query_as(
        "SELECT person, key, digest, status, headers, body FROM idempotency
         WHERE (person, key) IN (SELECT value ->> 0, value ->> 1 FROM json_each(?1))
           AND created_at >= ?2",
    )
    .bind(parameter)
    .bind(micros(oldest))
    .fetch_all(connection)
    .await?;
    found.into_iter().map(read).collect()
}

fn read(found: Found) -> sqlx::Result<(Key, Answered)> {
    let person = PersonHandle::new(&found.person).map_err(|_| not_a("handle", &found.person))?;
    let status = u16::try_from(found.status).map_err(|_| not_a("status", found.status))?;
    let headers =
        serde_json::from_str(&found.headers).map_err(|error| sqlx::Error::Decode(error.into()))?;
    let reply = Reply { status, headers, body: found.body };
    Ok(((person, found.key), Answered { request_digest: hash(&found.digest)?, reply }))
}

/// Keeps replies. One that is kept already stays, unless it is older than `oldest`.
pub(crate) async fn insert(
    connection: &mut SqliteConnection,
    replies: &[&ToRemember],
    oldest: DateTime<Utc>,
) -> sqlx::Result<()> {
    if replies.is_empty() {
        return Ok(());
    }
    let mut parameters = Vec::with_capacity(replies.len());
    for row in replies {
        let headers = serde_json::to_string(&row.reply.headers)
            .map_err(|error| sqlx::Error::Encode(error.into()))?;
        parameters.push((
            row.person.as_str(),
            &row.idempotency.key,
            hex(&row.idempotency.request_digest),
            row.reply.status,
            headers,
            hex(&row.reply.body),
            micros(row.at),
        ));
    }
    sqlx::query(
        "INSERT INTO idempotency (person, key, digest, status, headers, body, created_at)
         SELECT value ->> 0, value ->> 1, unhex(value ->> 2), value ->> 3, value ->> 4,
                unhex(value ->> 5), value ->> 6
         FROM json_each(?1)
         WHERE true
         ON CONFLICT (person, key) DO UPDATE SET
             digest = excluded.digest, status = excluded.status, headers = excluded.headers,
             body = excluded.body, created_at = excluded.created_at
         WHERE idempotency.created_at < ?2",
    )
    .bind(rows(parameters.into_iter())?)
    .bind(micros(oldest))
    .execute(connection)
    .await?;
    Ok(())
}

/// Forgets replies older than `oldest`.
pub(crate) async fn purge(
    connection: &mut SqliteConnection,
    oldest: DateTime<Utc>,
) -> sqlx::Result<()> {
    sqlx::query("DELETE FROM idempotency WHERE created_at < ?1")
        .bind(micros(oldest))
        .execute(connection)
        .await?;
    Ok(())
}
