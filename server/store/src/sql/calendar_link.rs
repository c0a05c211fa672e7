//! Private links of calendars.

use chrono::{DateTime, Utc};
use programme::codes::{PersonHandle, ProgrammeId};

use super::{Link, micros, moment, not_a, on, run};

pub(crate) async fn put(
    link: &mut Link<'_>,
    (person, programme): (&PersonHandle, &ProgrammeId),
    hash: &[u8; 32],
    at: DateTime<Utc>,
) -> sqlx::Result<()> {
    run!(link, connection => sqlx::query(
        "INSERT INTO calendar_link (person, programme, hash, made_at) VALUES ($1, $2, $3, $4)
         ON CONFLICT (person, programme) DO UPDATE SET hash = excluded.hash, made_at = excluded.made_at",
    )
    .bind(person.as_str())
    .bind(programme.as_str())
    .bind(&hash[..])
    .bind(micros(at))
    .execute(connection))?;
    Ok(())
}

/// Takes a link away, and tells whether there was one.
pub(crate) async fn remove(
    link: &mut Link<'_>,
    (person, programme): (&PersonHandle, &ProgrammeId),
) -> sqlx::Result<bool> {
    let removed = run!(link, connection => sqlx::query("DELETE FROM calendar_link WHERE person = $1 AND programme = $2")
        .bind(person.as_str())
        .bind(programme.as_str())
        .execute(connection))?;
    Ok(removed > 0)
}

/// When a person's link was made.
pub(crate) async fn made_at(
    link: &mut Link<'_>,
    (person, programme): (&PersonHandle, &ProgrammeId),
) -> sqlx::Result<Option<DateTime<Utc>>> {
    let found: Option<i64> = on!(link, connection => sqlx::query_scalar(
        "SELECT made_at FROM calendar_link WHERE person = $1 AND programme = $2",
    )
    .bind(person.as_str())
    .bind(programme.as_str())
    .fetch_optional(connection))?;
    found.map(moment).transpose()
}

/// Whose link it is, and of which programme.
pub(crate) async fn find(
    link: &mut Link<'_>,
    hash: &[u8; 32],
) -> sqlx::Result<Option<(PersonHandle, ProgrammeId)>> {
    let found: Option<(String, String)> = on!(link, connection => sqlx::query_as("SELECT person, programme FROM calendar_link WHERE hash = $1")
            .bind(&hash[..])
            .fetch_optional(connection))?;
    let read = |(person, programme): (String, String)| {
        let person = PersonHandle::new(&person).map_err(|_| not_a("handle", &person))?;
        let programme = ProgrammeId::new(&programme).map_err(|_| not_a("programme", &programme))?;
        Ok((person, programme))
    };
    found.map(read).transpose()
}
