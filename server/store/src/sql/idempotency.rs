//! Replies by key.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use programme::codes::PersonHandle;

use super::{Link, hash, hex, micros, not_a, rows, run};
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
    link: &mut Link<'_>,
    keys: &[Key],
    oldest: DateTime<Utc>,
) -> sqlx::Result<HashMap<Key, Answered>> {
    if keys.is_empty() {
        return Ok(HashMap::new());
    }
    let found: Vec<Found> = match link {
        Link::Sqlite(connection) => {
            let parameter = rows(keys.iter().map(|(person, key)| (person.as_str(), key)))?;
            sqlx::query_as(
                "SELECT person, key, digest, status, headers, body FROM idempotency
                 WHERE (person, key) IN (SELECT value ->> 0, value ->> 1 FROM json_each($1))
                   AND created_at >= $2",
            )
            .bind(parameter)
            .bind(micros(oldest))
            .fetch_all(&mut **connection)
            .await?
        }
        Link::Postgres(connection) => {
            let (people, keys): (Vec<_>, Vec<_>) =
                keys.iter().map(|(person, key)| (person.as_str(), key.as_str())).unzip();
            sqlx::query_as(
                "SELECT person, key, digest, status, headers, body FROM idempotency
                 WHERE (person, key) IN (SELECT * FROM unnest($1::text[], $2::text[]))
                   AND created_at >= $3",
            )
            .bind(people)
            .bind(keys)
            .bind(micros(oldest))
            .fetch_all(&mut **connection)
            .await?
        }
    };
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

/// Keeps replies, and tells how many. One that is kept already stays, unless it is older than `oldest`.
pub(crate) async fn insert(
    link: &mut Link<'_>,
    replies: &[&ToRemember],
    oldest: DateTime<Utc>,
) -> sqlx::Result<u64> {
    if replies.is_empty() {
        return Ok(0);
    }
    match link {
        Link::Sqlite(connection) => {
            let mut parameters = Vec::with_capacity(replies.len());
            for row in replies {
                parameters.push((
                    row.person.as_str(),
                    &row.idempotency.key,
                    hex(&row.idempotency.request_digest),
                    row.reply.status,
                    headers(row)?,
                    hex(&row.reply.body),
                    micros(row.at),
                ));
            }
            let done = sqlx::query(
                "INSERT INTO idempotency (person, key, digest, status, headers, body, created_at)
                 SELECT value ->> 0, value ->> 1, unhex(value ->> 2), value ->> 3, value ->> 4,
                        unhex(value ->> 5), value ->> 6
                 FROM json_each($1)
                 WHERE true
                 ON CONFLICT (person, key) DO UPDATE SET
                     digest = excluded.digest, status = excluded.status, headers = excluded.headers,
                     body = excluded.body, created_at = excluded.created_at
                 WHERE idempotency.created_at < $2",
            )
            .bind(rows(parameters.into_iter())?)
            .bind(micros(oldest))
            .execute(&mut **connection)
            .await?;
            Ok(done.rows_affected())
        }
        Link::Postgres(connection) => {
            let headers = replies.iter().map(|row| headers(row)).collect::<Result<Vec<_>, _>>()?;
            let of = |row: &&ToRemember| row.person.as_str().to_owned();
            let done = sqlx::query(
                "INSERT INTO idempotency (person, key, digest, status, headers, body, created_at)
                 SELECT * FROM unnest($1::text[], $2::text[], $3::bytea[], $4::bigint[], $5::text[],
                     $6::bytea[], $7::bigint[])
                 ON CONFLICT (person, key) DO UPDATE SET
                     digest = excluded.digest, status = excluded.status, headers = excluded.headers,
                     body = excluded.body, created_at = excluded.created_at
                 WHERE idempotency.created_at < $8",
            )
            .bind(replies.iter().map(of).collect::<Vec<_>>())
            .bind(replies.iter().map(|row| row.idempotency.key.clone()).collect::<Vec<_>>())
            .bind(replies.iter().map(|row| &row.idempotency.request_digest[..]).collect::<Vec<_>>())
            .bind(replies.iter().map(|row| i64::from(row.reply.status)).collect::<Vec<_>>())
            .bind(headers)
            .bind(replies.iter().map(|row| &row.reply.body[..]).collect::<Vec<_>>())
            .bind(replies.iter().map(|row| micros(row.at)).collect::<Vec<_>>())
            .bind(micros(oldest))
            .execute(&mut **connection)
            .await?;
            Ok(done.rows_affected())
        }
    }
}

fn headers(row: &ToRemember) -> sqlx::Result<String> {
    serde_json::to_string(&row.reply.headers).map_err(|error| sqlx::Error::Encode(error.into()))
}

/// Forgets replies older than `oldest`.
pub(crate) async fn purge(link: &mut Link<'_>, oldest: DateTime<Utc>) -> sqlx::Result<()> {
    run!(link, connection => sqlx::query("DELETE FROM idempotency WHERE created_at < $1")
        .bind(micros(oldest))
        .execute(connection))?;
    Ok(())
}
