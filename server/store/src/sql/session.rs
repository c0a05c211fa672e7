//! Sessions and their refresh tokens.

use chrono::{DateTime, Utc};
use programme::codes::PersonHandle;
use uuid::Uuid;

use super::{Link, micros, moment, not_a, on, run};
use crate::session::{NewSession, Rotation, Standing};

/// A refresh token with what decides whether it is good.
pub(crate) struct Token {
    pub session: Uuid,
    pub handle: PersonHandle,
    pub expires_at: DateTime<Utc>,
    pub used: bool,
    pub revoked: bool,
    pub disabled: bool,
}

/// Sessions that were not ended, also those whose tokens have expired since.
pub(crate) async fn standing(link: &mut Link<'_>) -> sqlx::Result<Vec<(Uuid, Standing)>> {
    let found: Vec<(String, String, i64, i64)> = on!(link, connection => sqlx::query_as("SELECT id, handle, began_at, expires_at FROM session WHERE revoked_at IS NULL")
            .fetch_all(connection))?;
    found
        .into_iter()
        .map(|(id, handle, began_at, expires_at)| {
            let handle = read_handle(&handle)?;
            let (began_at, expires_at) = (moment(began_at)?, moment(expires_at)?);
            Ok((read_id(&id)?, Standing { handle, began_at, expires_at }))
        })
        .collect()
}

pub(crate) async fn insert(link: &mut Link<'_>, new: &NewSession) -> sqlx::Result<()> {
    run!(link, connection => sqlx::query("INSERT INTO session (id, handle, began_at, expires_at) VALUES ($1, $2, $3, $4)")
        .bind(new.id.to_string())
        .bind(new.handle.as_str())
        .bind(micros(new.at))
        .bind(micros(new.expires_at))
        .execute(connection))?;
    insert_token(link, new.id, &new.token_hash, new.at, new.expires_at).await
}

async fn insert_token(
    link: &mut Link<'_>,
    session: Uuid,
    hash: &[u8; 32],
    at: DateTime<Utc>,
    expires_at: DateTime<Utc>,
) -> sqlx::Result<()> {
    run!(link, connection => sqlx::query(
        "INSERT INTO refresh_token (hash, session, issued_at, expires_at) VALUES ($1, $2, $3, $4)",
    )
    .bind(&hash[..])
    .bind(session.to_string())
    .bind(micros(at))
    .bind(micros(expires_at))
    .execute(connection))?;
    Ok(())
}

pub(crate) async fn find_token(
    link: &mut Link<'_>,
    hash: &[u8; 32],
) -> sqlx::Result<Option<Token>> {
    let found: Option<(String, String, i64, bool, bool, bool)> = on!(link, connection => sqlx::query_as(
        "SELECT session.id, session.handle, refresh_token.expires_at, used_at IS NOT NULL,
                revoked_at IS NOT NULL, disabled_at IS NOT NULL
         FROM refresh_token
         JOIN session ON session.id = refresh_token.session
         JOIN account ON account.handle = session.handle
         WHERE refresh_token.hash = $1",
    )
    .bind(&hash[..])
    .fetch_optional(connection))?;
    found
        .map(|(session, handle, expires_at, used, revoked, disabled)| {
            Ok(Token {
                session: read_id(&session)?,
                handle: read_handle(&handle)?,
                expires_at: moment(expires_at)?,
                used,
                revoked,
                disabled,
            })
        })
        .transpose()
}

/// Marks the given token as used, keeps the next, and moves the session's end.
pub(crate) async fn exchange(
    link: &mut Link<'_>,
    session: Uuid,
    rotation: &Rotation,
) -> sqlx::Result<()> {
    run!(link, connection => sqlx::query("UPDATE refresh_token SET used_at = $2 WHERE hash = $1 AND used_at IS NULL")
        .bind(&rotation.given_hash[..])
        .bind(micros(rotation.at))
        .execute(connection))?;
    run!(link, connection => sqlx::query("UPDATE session SET expires_at = $2 WHERE id = $1")
        .bind(session.to_string())
        .bind(micros(rotation.expires_at))
        .execute(connection))?;
    insert_token(link, session, &rotation.next_hash, rotation.at, rotation.expires_at).await
}

pub(crate) async fn revoke(
    link: &mut Link<'_>,
    session: Uuid,
    at: DateTime<Utc>,
) -> sqlx::Result<()> {
    run!(link, connection => sqlx::query("UPDATE session SET revoked_at = $2 WHERE id = $1 AND revoked_at IS NULL")
        .bind(session.to_string())
        .bind(micros(at))
        .execute(connection))?;
    Ok(())
}

pub(crate) async fn revoke_all_of(
    link: &mut Link<'_>,
    handle: &PersonHandle,
    at: DateTime<Utc>,
) -> sqlx::Result<()> {
    run!(link, connection => sqlx::query("UPDATE session SET revoked_at = $2 WHERE handle = $1 AND revoked_at IS NULL")
        .bind(handle.as_str())
        .bind(micros(at))
        .execute(connection))?;
    Ok(())
}

/// Ends every session of everybody.
pub(crate) async fn revoke_all(link: &mut Link<'_>, at: DateTime<Utc>) -> sqlx::Result<()> {
    run!(link, connection => sqlx::query("UPDATE session SET revoked_at = $1 WHERE revoked_at IS NULL")
        .bind(micros(at))
        .execute(connection))?;
    run!(link, connection => sqlx::query("UPDATE account SET tokens_valid_from = $1 WHERE tokens_valid_from < $1")
        .bind(micros(at))
        .execute(connection))?;
    Ok(())
}

/// Deletes sessions whose last token has expired.
pub(crate) async fn delete_expired(link: &mut Link<'_>, at: DateTime<Utc>) -> sqlx::Result<()> {
    run!(link, connection => sqlx::query("DELETE FROM session WHERE expires_at <= $1")
        .bind(micros(at))
        .execute(connection))?;
    Ok(())
}

fn read_id(id: &str) -> sqlx::Result<Uuid> {
    id.parse().map_err(|_| not_a("session id", id))
}

fn read_handle(handle: &str) -> sqlx::Result<PersonHandle> {
    PersonHandle::new(handle).map_err(|_| not_a("handle", handle))
}
