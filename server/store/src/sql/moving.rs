//! What is carried along when everything moves to another place, beside records and accounts.

use programme::codes::{PersonHandle, ProgrammeId};

use super::{Link, hash, moment, not_a, on, run};
use crate::idempotency::{Idempotency, Reply, ToRemember};

/// A secret as kept: name, bytes, and when it was made.
pub(crate) type KeptSecret = (String, Vec<u8>, i64);

/// Every secret, the oldest first.
pub(crate) async fn secrets(link: &mut Link<'_>) -> sqlx::Result<Vec<KeptSecret>> {
    let text = match link {
        Link::Sqlite(_) => "SELECT name, bytes, created_at FROM secret ORDER BY rowid",
        Link::Postgres(_) => "SELECT name, bytes, created_at FROM secret ORDER BY place",
    };
    on!(link, connection => sqlx::query_as(text).fetch_all(connection))
}

/// Keeps a secret in the place of what has that name.
pub(crate) async fn put_secret(
    link: &mut Link<'_>,
    (name, bytes, created_at): &KeptSecret,
) -> sqlx::Result<()> {
    run!(link, connection => sqlx::query("DELETE FROM secret WHERE name = $1")
        .bind(name)
        .execute(connection))?;
    run!(link, connection => sqlx::query(
        "INSERT INTO secret (name, bytes, created_at) VALUES ($1, $2, $3)",
    )
    .bind(name)
    .bind(bytes)
    .bind(created_at)
    .execute(connection))?;
    Ok(())
}

/// Forgets all secrets whose names begin so.
pub(crate) async fn forget_secrets(link: &mut Link<'_>, name: &str) -> sqlx::Result<()> {
    run!(link, connection => sqlx::query(
        "DELETE FROM secret WHERE substr(name, 1, length($1)) = $1",
    )
    .bind(name)
    .execute(connection))?;
    Ok(())
}

/// Replies under keys after one, in order.
pub(crate) async fn replies_after(
    link: &mut Link<'_>,
    (person, key): (&str, &str),
    limit: i64,
) -> sqlx::Result<Vec<ToRemember>> {
    type Kept = (String, String, Vec<u8>, i64, String, Vec<u8>, i64);
    let found: Vec<Kept> = on!(link, connection => sqlx::query_as(
        "SELECT person, key, digest, status, headers, body, created_at FROM idempotency
         WHERE (person, key) > ($1, $2) ORDER BY person, key LIMIT $3",
    )
    .bind(person)
    .bind(key)
    .bind(limit)
    .fetch_all(connection))?;
    let read = |(person, key, digest, status, headers, body, at): Kept| {
        let person = PersonHandle::new(&person).map_err(|_| not_a("handle", &person))?;
        let status = u16::try_from(status).map_err(|_| not_a("status", status))?;
        let headers =
            serde_json::from_str(&headers).map_err(|error| sqlx::Error::Decode(error.into()))?;
        let idempotency = Idempotency { key, request_digest: hash(&digest)? };
        let reply = Reply { status, body, headers };
        Ok(ToRemember { person, idempotency, reply, at: moment(at)? })
    };
    found.into_iter().map(read).collect()
}

/// A link of a calendar: whose, of which programme, its hash, and when it was made.
pub(crate) type KeptLink = (PersonHandle, ProgrammeId, [u8; 32], i64);

/// Every link of a calendar.
pub(crate) async fn calendar_links(link: &mut Link<'_>) -> sqlx::Result<Vec<KeptLink>> {
    let found: Vec<(String, String, Vec<u8>, i64)> = on!(link, connection => sqlx::query_as(
        "SELECT person, programme, hash, made_at FROM calendar_link ORDER BY person, programme",
    )
    .fetch_all(connection))?;
    let read = |(person, programme, link, at): (String, String, Vec<u8>, i64)| {
        let person = PersonHandle::new(&person).map_err(|_| not_a("handle", &person))?;
        let programme = ProgrammeId::new(&programme).map_err(|_| not_a("programme", &programme))?;
        Ok((person, programme, hash(&link)?, at))
    };
    found.into_iter().map(read).collect()
}

/// How many other connections of this program a database has; none where it is a file, which has a lock.
pub(crate) async fn others_at_it(link: &mut Link<'_>) -> sqlx::Result<i64> {
    let Link::Postgres(connection) = link else { return Ok(0) };
    sqlx::query_scalar(
        "SELECT count(*) FROM pg_stat_activity
         WHERE datname = current_database() AND application_name = 'rungbook'
             AND pid <> pg_backend_pid()",
    )
    .fetch_one(&mut **connection)
    .await
}
