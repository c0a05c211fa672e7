//! Random bytes that the server signs with, made once and kept.

use std::fmt;
use std::sync::Arc;

use chrono::{DateTime, Utc};
use rand::TryRng;
use rand::rngs::SysRng;

use crate::fault::WriteError;
use crate::sql;
use crate::sql::Link;
use crate::store::Store;

const LENGTH: usize = 32;

/// 32 random bytes. Not shown by `Debug`.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(Arc<[u8]>);

impl Secret {
    /// The bytes.
    pub fn bytes(&self) -> &[u8] {
        &self.0
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret(..)")
    }
}

/// The secret of that name; made from the system's random source where there is none, dated by the system's clock.
pub(crate) async fn find_or_make(link: &mut Link<'_>, name: &str) -> sqlx::Result<[u8; LENGTH]> {
    let bytes = random()?;
    let kept = sql::secret::find_or_insert(link, name, &bytes, Utc::now()).await?;
    sql::hash(&kept)
}

/// As [`find_or_make`], and whether it was made.
pub(crate) async fn find_or_make_new(
    link: &mut Link<'_>,
    name: &str,
) -> sqlx::Result<([u8; LENGTH], bool)> {
    let bytes = random()?;
    let kept = sql::secret::find_or_insert(link, name, &bytes, Utc::now()).await?;
    Ok((sql::hash(&kept)?, kept == bytes))
}

pub(crate) fn random() -> sqlx::Result<[u8; LENGTH]> {
    let mut bytes = [0; LENGTH];
    SysRng
        .try_fill_bytes(&mut bytes)
        .map_err(|error| sqlx::Error::Io(std::io::Error::other(error)))?;
    Ok(bytes)
}

impl Store {
    /// The secret of that name; made from the system's random source when first asked for.
    ///
    /// # Errors
    ///
    /// [`WriteError`] where it did not exist and could not be written, or where the system gives no random bytes.
    pub async fn secret(&self, name: &str, at: DateTime<Utc>) -> Result<Secret, WriteError> {
        if let Some(secret) = self.shared().secrets.read().get(name) {
            return Ok(secret.clone());
        }
        let (name, known_as) = (name.to_owned(), name.to_owned());
        self.write(
            async move |link| {
                let bytes = random()?;
                let kept = sql::secret::find_or_insert(link, &name, &bytes, at).await?;
                Ok(Secret(kept.into()))
            },
            |shared, secret| {
                shared.secrets.write().insert(known_as, secret.clone());
            },
        )
        .await
    }
}
