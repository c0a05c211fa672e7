//! What the program does for a person by itself, without a request: how the demonstration takes in its recorder files. It
//! goes through the same doors as a request.

use std::io::Write as _;

use chrono::{DateTime, Utc};
use programme::codes::{PersonHandle, ProgrammeId};
use programme::commands::Stamp;
use programme::record::Digest;
use store::Act;

use crate::Service;
use crate::intake::FileOf;
use crate::problem::Problem;

impl Service {
    /// Takes a recorder's file in for a person.
    ///
    /// # Errors
    ///
    /// [`Problem`], as a request would be told it; nothing was kept.
    pub async fn take_in(
        &self,
        programme: &ProgrammeId,
        by: &PersonHandle,
        at: DateTime<Utc>,
        file: FileOf,
        bytes: &[u8],
    ) -> Result<Digest, Problem> {
        let stamp = Stamp { by: by.clone(), now: at };
        let mut original = self.office.store.objects().begin()?;
        original.write_all(bytes).map_err(store::ObjectError::from)?;
        let digest = original.digest();
        let command = self.office.take_in(programme, &stamp, file, original).await?;
        let act = Act {
            programme: programme.clone(),
            by: by.clone(),
            at,
            idempotency: None,
            decide: Box::new(move |state| programme::commands::decide(state, &command, &stamp)),
            reply: Box::new(|_, _| store::Reply {
                status: 201,
                body: Vec::new(),
                headers: Vec::new(),
            }),
        };
        self.office.store.act(act).await?;
        Ok(digest)
    }
}
