//! Secrets by name.

use chrono::{DateTime, Utc};

use super::{Link, micros, on, run};

/// Keeps these bytes unless there are some under the name already, and gives those that are kept.
pub(crate) async fn find_or_insert(
    link: &mut Link<'_>,
    name: &str,
    bytes: &[u8],
    at: DateTime<Utc>,
) -> sqlx::Result<Vec<u8>> {
    run!(link, connection => sqlx::query(
        "INSERT INTO secret (name, bytes, created_at) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING",
    )
    .bind(name)
    .bind(bytes)
    .bind(micros(at))
    .execute(connection))?;
    on!(link, connection => sqlx::query_scalar("SELECT bytes FROM secret WHERE name = $1")
        .bind(name)
        .fetch_one(connection))
}

/// The secrets whose names begin so, the oldest first.
pub(crate) async fn beginning_with(link: &mut Link<'_>, name: &str) -> sqlx::Result<Vec<Vec<u8>>> {
    let text = match link {
        Link::Sqlite(_) => {
            "SELECT bytes FROM secret WHERE substr(name, 1, length($1)) = $1 ORDER BY rowid"
        }
        Link::Postgres(_) => {
            "SELECT bytes FROM secret WHERE substr(name, 1, length($1)) = $1 ORDER BY place"
        }
    };
    on!(link, connection => sqlx::query_scalar(text).bind(name).fetch_all(connection))
}

/// The secret of a name; none where there is none.
pub(crate) async fn find(link: &mut Link<'_>, name: &str) -> sqlx::Result<Option<Vec<u8>>> {
    on!(link, connection => sqlx::query_scalar("SELECT bytes FROM secret WHERE name = $1")
        .bind(name)
        .fetch_optional(connection))
}

/// Forgets all secrets whose names begin so, but one.
pub(crate) async fn forget_all_but(
    link: &mut Link<'_>,
    name: &str,
    bytes: &[u8],
) -> sqlx::Result<()> {
    run!(link, connection => sqlx::query("DELETE FROM secret WHERE substr(name, 1, length($1)) = $1 AND bytes <> $2")
        .bind(name)
        .bind(bytes)
        .execute(connection))?;
    Ok(())
}
