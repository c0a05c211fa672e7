//! Private links by which calendars read the dates of a programme. What is kept is the hash of a link.

use chrono::{DateTime, SubsecRound, Utc};
use programme::codes::{PersonHandle, ProgrammeId};

use crate::fault::{ReadError, WriteError};
use crate::sql::calendar_link;
use crate::store::Store;

impl Store {
    /// Gives a person a link for a programme; the one they had before is no longer good.
    ///
    /// # Errors
    ///
    /// [`WriteError`]; nothing was changed.
    pub async fn make_calendar_link(
        &self,
        person: &PersonHandle,
        programme: &ProgrammeId,
        hash: [u8; 32],
        at: DateTime<Utc>,
    ) -> Result<(), WriteError> {
        let (person, programme) = (person.clone(), programme.clone());
        self.write(
            async move |link| {
                calendar_link::put(link, (&person, &programme), &hash, at.trunc_subsecs(6)).await
            },
            |_, ()| {},
        )
        .await
    }

    /// Takes a person's link for a programme away, and tells whether they had one.
    ///
    /// # Errors
    ///
    /// [`WriteError`]; nothing was changed.
    pub async fn end_calendar_link(
        &self,
        person: &PersonHandle,
        programme: &ProgrammeId,
    ) -> Result<bool, WriteError> {
        let (person, programme) = (person.clone(), programme.clone());
        self.write(
            async move |link| calendar_link::remove(link, (&person, &programme)).await,
            |_, _| {},
        )
        .await
    }

    /// When a person's link for a programme was made; none where they have none.
    ///
    /// # Errors
    ///
    /// [`ReadError`] where the database cannot be read.
    pub async fn calendar_link_made_at(
        &self,
        person: &PersonHandle,
        programme: &ProgrammeId,
    ) -> Result<Option<DateTime<Utc>>, ReadError> {
        let mut reader = self.shared().readers.acquire().await?;
        Ok(calendar_link::made_at(&mut reader.link(), (person, programme)).await?)
    }

    /// Whose link has this hash, and for which programme. Whether that person still takes part is another question.
    ///
    /// # Errors
    ///
    /// [`ReadError`] where the database cannot be read.
    pub async fn calendar_link(
        &self,
        hash: &[u8; 32],
    ) -> Result<Option<(PersonHandle, ProgrammeId)>, ReadError> {
        let mut reader = self.shared().readers.acquire().await?;
        Ok(calendar_link::find(&mut reader.link(), hash).await?)
    }
}
