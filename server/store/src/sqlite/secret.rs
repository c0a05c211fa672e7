//! Secrets by name.

use chrono::{DateTime, Utc};
use sqlx::SqliteConnection;

use super::micros;

/// Keeps these bytes unless there are some under the name already, and gives those that are kept.
pub(crate) async fn find_or_insert(
    connection: &mut SqliteConnection,
    name: &str,
    bytes: &[u8],
    at: DateTime<Utc>,
) -> sqlx::Result<Vec<u8>> {
    sqlx::query(
        "INSERT INTO secret (name, bytes, created_at) VALUES (?1, ?2, ?3) ON CONFLICT DO NOTHING",
    )
    .bind(name)
    .bind(bytes)
    .bind(micros(at))
    .execute(&mut *connection)
    .await?;
    sqlx::query_scalar("SELECT bytes FROM secret WHERE name = ?1")
        .bind(name)
        .fetch_one(connection)
        .await
}

/// The secrets whose names begin so, the oldest first.
pub(crate) async fn beginning_with(
    connection: &mut SqliteConnection,
    name: &str,
) -> sqlx::Result<Vec<Vec<u8>>> {
    sqlx::query_scalar(
        "SELECT bytes FROM secret WHERE substr(name, 1, length(?1)) = ?1 ORDER BY rowid",
    )
    .bind(name)
    .fetch_all(connection)
    .await
}

/// The secret of a name; none where there is none.
pub(crate) async fn find(
    connection: &mut SqliteConnection,
    name: &str,
) -> sqlx::Result<Option<Vec<u8>>> {
    sqlx::query_scalar("SELECT bytes FROM secret WHERE name = ?1")
        .bind(name)
        .fetch_optional(connection)
        .await
}

/// Forgets all secrets whose names begin so, but one.
pub(crate) async fn forget_all_but(
    connection: &mut SqliteConnection,
    name: &str,
    bytes: &[u8],
) -> sqlx::Result<()> {
    sqlx::query("DELETE FROM secret WHERE substr(name, 1, length(?1)) = ?1 AND bytes <> ?2")
        .bind(name)
        .bind(bytes)
        .execute(connection)
        .await?;
    Ok(())
}
