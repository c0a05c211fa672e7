//! What the program does for a person by itself, without a request: how the demonstration takes in its recorder files. It
//! goes through the same doors as a request.

use std::io::Write as _;

use chrono::{DateTime, Utc};
use programme::codes::{PersonHandle, ProgrammeId, RunNumber};
use programme::commands::Stamp;
use programme::record::Digest;
use store::Act;

use crate::Service;
use crate::access::Permitted;
use crate::api::recordings::{AttachmentTerms, attach};
use crate::given::{At, Given, Sha256};
use crate::idempotency::Asked;
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

    /// Attaches a recording to a run for a person, with all that it shows.
    ///
    /// # Errors
    ///
    /// [`Problem`], as a request would be told it; nothing was recorded.
    pub async fn attach(
        &self,
        programme: &ProgrammeId,
        by: &PersonHandle,
        recording: Digest,
        run: RunNumber,
    ) -> Result<(), Problem> {
        let person = Permitted::for_person(by.clone(), programme.clone());
        let given = Given { body: AttachmentTerms { run }, asked: Asked::once() };
        let answer = attach(person, At(Sha256(recording)), given, self.office.clone()).await;
        answer.map(|_| ())
    }
}
