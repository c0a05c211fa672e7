//! Asking twice with the same key does a thing once.

use chrono::{DateTime, TimeDelta, Utc};
use programme::codes::PersonHandle;

use crate::fault::{ReadError, WriteError};
use crate::sql;
use crate::store::Store;

/// How long a reply is remembered.
pub const KEPT_FOR: TimeDelta = TimeDelta::days(30);

/// A key that a person gave with a request, and the digest of what they asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Idempotency {
    /// The key as given.
    pub key: String,
    /// SHA-256 of the request: method, path and body.
    pub request_digest: [u8; 32],
}

/// A reply as it is given, and given again to the same key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reply {
    /// The HTTP status.
    pub status: u16,
    /// The body's bytes.
    pub body: Vec<u8>,
    /// Headers that belong to the reply, such as `Location` and `ETag`.
    pub headers: Vec<(String, String)>,
}

/// What is remembered under a key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Remembered {
    /// Nothing: the key is new.
    Nothing,
    /// The same request was answered so.
    Same(Reply),
    /// The key was used for another request.
    Another,
}

/// A person's key.
pub(crate) type Key = (PersonHandle, String);

/// What was answered under a key.
#[derive(Debug, Clone)]
pub(crate) struct Answered {
    pub request_digest: [u8; 32],
    pub reply: Reply,
}

impl Answered {
    pub fn to(self, idempotency: &Idempotency) -> Remembered {
        if self.request_digest == idempotency.request_digest {
            Remembered::Same(self.reply)
        } else {
            Remembered::Another
        }
    }
}

/// A reply to be kept under a key.
#[derive(Debug, Clone)]
pub(crate) struct ToRemember {
    pub person: PersonHandle,
    pub idempotency: Idempotency,
    pub reply: Reply,
    pub at: DateTime<Utc>,
}

impl Store {
    /// What was answered to this person's key, for requests that [`Store::act`] does not carry.
    ///
    /// # Errors
    ///
    /// [`ReadError`] where the database cannot be read.
    pub async fn remembered(
        &self,
        person: &PersonHandle,
        idempotency: &Idempotency,
        at: DateTime<Utc>,
    ) -> Result<Remembered, ReadError> {
        let key = (person.clone(), idempotency.key.clone());
        let mut reader = self.shared().readers.acquire().await?;
        let mut found =
            sql::idempotency::find(&mut reader.link(), std::slice::from_ref(&key), at - KEPT_FOR)
                .await?;
        Ok(found.remove(&key).map_or(Remembered::Nothing, |answered| answered.to(idempotency)))
    }

    /// Keeps a reply under a person's key, for requests that [`Store::act`] does not carry. What is kept already stays.
    ///
    /// # Errors
    ///
    /// [`WriteError`] where it was not written.
    pub async fn remember(
        &self,
        person: &PersonHandle,
        idempotency: Idempotency,
        reply: Reply,
        at: DateTime<Utc>,
    ) -> Result<(), WriteError> {
        let row = ToRemember { person: person.clone(), idempotency, reply, at };
        self.write(
            async move |link| {
                sql::idempotency::insert(link, &[&row], at - KEPT_FOR).await?;
                Ok(())
            },
            |_, ()| {},
        )
        .await
    }
}
