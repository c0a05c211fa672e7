//! Private links of calendars.

use chrono::{DateTime, Utc};
use programme::codes::{PersonHandle, ProgrammeId};
use sqlx::SqliteConnection;

use super::{micros, moment, not_a};

pub(crate) async fn put(
    connection: &mut SqliteConnection,
    (person, programme): (&PersonHandle, &ProgrammeId),
    hash: &[u8; 32],
    at: DateTime<Utc>,
) -> sqlx::Result<()> {
    sqlx::query(
        "INSERT INTO calendar_link (person, programme, hash, made_at) VALUES (?1, ?2, ?3, ?4)
         ON CONFLICT (person, programme) DO UPDATE SET hash = excluded.hash, made_at = excluded.made_at",
    )
    .bind(person.as_str())
    .bind(programme.as_str())
    .bind(&hash[..])
    .bind(micros(at))
    .execute(connection)
    .await?;
    Ok(())
}

/// Takes a link away, and tells whether there was one.
pub(crate) async fn remove(
    connection: &mut SqliteConnection,
    (person, programme): (&PersonHandle, &ProgrammeId),
) -> sqlx::Result<bool> {
    let removed = sqlx::query("DELETE FROM calendar_link WHERE person = ?1 AND programme = ?2")
        .bind(person.as_str())
        .bind(programme.as_str())
        .execute(connection)
        .await?;
    Ok(removed.rows_affected() > 0)
}

/// When a person's link was made.
pub(crate) async fn made_at(
    connection: &mut SqliteConnection,
    (person, programme): (&PersonHandle, &ProgrammeId),
) -> sqlx::Result<Option<DateTime<Utc>>> {
    let found: Option<i64> = sqlx::query_scalar(
        "SELECT made_at FROM calendar_link WHERE person = ?1 AND programme = ?2",
    )
    .bind(person.as_str())
    .bind(programme.as_str())
    .fetch_optional(connection)
    .await?;
    found.map(moment).transpose()
}

/// Whose link it is, and of which programme.
pub(crate) async fn find(
    connection: &mut SqliteConnection,
    hash: &[u8; 32],
) -> sqlx::Result<Option<(PersonHandle, ProgrammeId)>> {
    let found: Option<(String, String)> =
        sqlx::query_as("SELECT person, programme FROM calendar_link WHERE hash = ?1")
            .bind(&hash[..])
            .fetch_optional(connection)
            .await?;
    let read = |(person, programme): (String, String)| {
        let person = PersonHandle::new(&person).map_err(|_| not_a("handle", &person))?;
        let programme = ProgrammeId::new(&programme).map_err(|_| not_a("programme", &programme))?;
        Ok((person, programme))
    };
    found.map(read).transpose()
}
