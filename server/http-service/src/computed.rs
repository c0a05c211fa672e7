//! Requests that compute and record nothing: repeated under one Idempotency-Key they are computed anew, since the same
//! input gives the same answer, and the reply says that it is a repeat.

use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use programme::codes::PersonHandle;
use store::{Remembered, Reply};

use crate::desk::{Answer, send};
use crate::idempotency::{Asked, REPLAYED, TRUE};
use crate::office::Office;
use crate::problem::Problem;

impl Office {
    /// Whether the same was asked before under the same key.
    pub async fn was_computed(
        &self,
        person: &PersonHandle,
        asked: &Asked,
    ) -> Result<bool, Problem> {
        let Some(key) = &asked.idempotency else { return Ok(false) };
        match self.store.remembered(person, key, self.now()).await? {
            Remembered::Nothing => Ok(false),
            Remembered::Same(_) => Ok(true),
            Remembered::Another => Err(Problem::key_reused()),
        }
    }

    /// The reply, which is noted under the key, or marked as a repeat.
    pub async fn computed(
        &self,
        person: &PersonHandle,
        asked: Asked,
        replayed: bool,
        mut reply: HttpResponse,
    ) -> Answer {
        if replayed {
            reply.headers_mut().insert(REPLAYED.clone(), TRUE.clone());
        } else if let Some(key) = asked.idempotency {
            let empty =
                Reply { status: StatusCode::OK.as_u16(), body: Vec::new(), headers: Vec::new() };
            self.store.remember(person, key, empty, self.now()).await?;
        }
        Ok(reply)
    }

    /// The reply that was given to the same request before it is worked on again: what it rests on may have changed.
    pub async fn answered_before(
        &self,
        person: &PersonHandle,
        asked: &Asked,
    ) -> Result<Option<HttpResponse>, Problem> {
        let Some(key) = &asked.idempotency else { return Ok(None) };
        match self.store.remembered(person, key, self.now()).await? {
            Remembered::Nothing => Ok(None),
            Remembered::Same(reply) => Ok(Some(send(reply, true))),
            Remembered::Another => Err(Problem::key_reused()),
        }
    }
}
