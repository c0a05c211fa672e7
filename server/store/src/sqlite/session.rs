//! Sessions and their refresh tokens.

use chrono::{DateTime, Utc};
use programme::codes::PersonHandle;
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::{micros, moment, not_a};
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
pub(crate) async fn standing(
    connection: &mut SqliteConnection,
) -> sqlx::Result<Vec<(Uuid, Standing)>> {
    let found: Vec<(String, String, i64)> =
        sqlx::query_as("SELECT id, handle, expires_at FROM session WHERE revoked_at IS NULL")
            .fetch_all(connection)
            .await?;
    found
        .into_iter()
        .map(|(id, handle, expires_at)| {
            let handle = read_handle(&handle)?;
            Ok((read_id(&id)?, Standing { handle, expires_at: moment(expires_at)? }))
        })
        .collect()
}

pub(crate) async fn insert(
    connection: &mut SqliteConnection,
    new: &NewSession,
) -> sqlx::Result<()> {
    sqlx::query("INSERT INTO session (id, handle, began_at, expires_at) VALUES (?1, ?2, ?3, ?4)")
        .bind(new.id.to_string())
        .bind(new.handle.as_str())
        .bind(micros(new.at))
        .bind(micros(new.expires_at))
        .execute(&mut *connection)
        .await?;
    insert_token(connection, new.id, &new.token_hash, new.at, new.expires_at).await
}

async fn insert_token(
    connection: &mut SqliteConnection,
    session: Uuid,
    hash: &[u8; 32],
    at: DateTime<Utc>,
    expires_at: DateTime<Utc>,
) -> sqlx::Result<()> {
    sqlx::query(
        "INSERT INTO refresh_token (hash, session, issued_at, expires_at) VALUES (?1, ?2, ?3, ?4)",
    )
    .bind(&hash[..])
    .bind(session.to_string())
    .bind(micros(at))
    .bind(micros(expires_at))
    .execute(connection)
    .await?;
    Ok(())
}

pub(crate) async fn find_token(
    connection: &mut SqliteConnection,
    hash: &[u8; 32],
) -> sqlx::Result<Option<Token>> {
    let found: Option<(String, String, i64, bool, bool, bool)> = sqlx::query_as(
        "SELECT session.id, session.handle, refresh_token.expires_at, used_at IS NOT NULL,
                revoked_at IS NOT NULL, disabled_at IS NOT NULL
         FROM refresh_token
         JOIN session ON session.id = refresh_token.session
         JOIN account ON account.handle = session.handle
         WHERE refresh_token.hash = ?1",
    )
    .bind(&hash[..])
    .fetch_optional(connection)
    .await?;
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
    connection: &mut SqliteConnection,
    session: Uuid,
    rotation: &Rotation,
) -> sqlx::Result<()> {
    sqlx::query("UPDATE refresh_token SET used_at = ?2 WHERE hash = ?1")
        .bind(&rotation.given_hash[..])
        .bind(micros(rotation.at))
        .execute(&mut *connection)
        .await?;
    sqlx::query("UPDATE session SET expires_at = ?2 WHERE id = ?1")
        .bind(session.to_string())
        .bind(micros(rotation.expires_at))
        .execute(&mut *connection)
        .await?;
    insert_token(connection, session, &rotation.next_hash, rotation.at, rotation.expires_at).await
}

pub(crate) async fn revoke(
    connection: &mut SqliteConnection,
    session: Uuid,
    at: DateTime<Utc>,
) -> sqlx::Result<()> {
    sqlx::query("UPDATE session SET revoked_at = ?2 WHERE id = ?1 AND revoked_at IS NULL")
        .bind(session.to_string())
        .bind(micros(at))
        .execute(connection)
        .await?;
    Ok(())
}

pub(crate) async fn revoke_all_of(
    connection: &mut SqliteConnection,
    handle: &PersonHandle,
    at: DateTime<Utc>,
) -> sqlx::Result<()> {
    sqlx::query("UPDATE session SET revoked_at = ?2 WHERE handle = ?1 AND revoked_at IS NULL")
        .bind(handle.as_str())
        .bind(micros(at))
        .execute(connection)
        .await?;
    Ok(())
}

/// Ends every session of everybody.
pub(crate) async fn revoke_all(
    connection: &mut SqliteConnection,
    at: DateTime<Utc>,
) -> sqlx::Result<()> {
    sqlx::query("UPDATE session SET revoked_at = ?1 WHERE revoked_at IS NULL")
        .bind(micros(at))
        .execute(&mut *connection)
        .await?;
    sqlx::query("UPDATE account SET tokens_valid_from = max(tokens_valid_from, ?1)")
        .bind(micros(at))
        .execute(connection)
        .await?;
    Ok(())
}

/// Deletes sessions whose last token has expired.
pub(crate) async fn delete_expired(
    connection: &mut SqliteConnection,
    at: DateTime<Utc>,
) -> sqlx::Result<()> {
    sqlx::query("DELETE FROM session WHERE expires_at <= ?1")
        .bind(micros(at))
        .execute(connection)
        .await?;
    Ok(())
}

fn read_id(id: &str) -> sqlx::Result<Uuid> {
    id.parse().map_err(|_| not_a("session id", id))
}

fn read_handle(handle: &str) -> sqlx::Result<PersonHandle> {
    PersonHandle::new(handle).map_err(|_| not_a("handle", handle))
}
