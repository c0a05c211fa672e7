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
