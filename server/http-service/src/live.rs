//! What is told while it happens: that a programme's ledger has grown, as server-sent events (WHATWG HTML, section 9.2).
//!
//! A stream tells no record. It tells the number of the last one, and whoever listens reads what they may read of it where
//! they always do. So a stream has nothing to catch up with: it begins with the present number, and whatever came while its
//! reader was slow or away is in the next number that it tells. A stream holds no queue of its own, and is asked for its
//! next event only when the last one is on its way. It tells at most [`OFTEN`] and ends by itself, so that what waits for a
//! reader who takes nothing in is bounded too, and one who is gone is found out by the next sign of life.
//!
//! Before anything is told it is made sure that whoever listens is still signed in, in the same session, and still takes
//! part in the programme; between events that is looked at every [`LOOKS_EVERY`].

use std::collections::HashMap;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use actix_web::HttpResponse;
use actix_web::body::BodyStream;
use actix_web::http::header::{CONTENT_TYPE, ContentEncoding, HeaderName, HeaderValue};
use actix_web::web::Bytes;
use chrono::{DateTime, Utc};
use futures_util::stream;
use parking_lot::Mutex;
use programme::codes::{PersonHandle, ProgrammeId};
use programme::people::Act;
use store::News;
use tokio::sync::broadcast::{Receiver, error::RecvError};
use tokio::sync::watch;
use tokio::time::{Instant, sleep, sleep_until};
use uuid::Uuid;

use crate::desk::Answer;
use crate::office::Office;
use crate::problem::{BUSY, Problem};

/// The media type of a stream of events.
pub(crate) const EVENTS: &str = "text/event-stream";
/// No two events come closer together; what happens in between is in the next one.
const OFTEN: Duration = Duration::from_millis(200);
/// How often it is looked whether the listener may still listen.
const LOOKS_EVERY: Duration = Duration::from_secs(2);
/// After so long without an event a line without meaning goes out, so that both sides know that the other is there.
const SIGN_OF_LIFE: Duration = Duration::from_secs(15);
/// A stream lasts no longer; whoever listens asks again.
pub(crate) const LASTS_AT_MOST: Duration = Duration::from_secs(3600);
/// A stream lasts so long where nothing else is asked.
pub(crate) const USUALLY_LASTS: Duration = Duration::from_secs(600);
/// Streams of one person at the same time: a few devices with a few pages each.
const OF_ONE_PERSON: usize = 24;
/// Streams of everybody at the same time.
const OF_ALL: usize = 2048;
/// After how many milliseconds a browser asks again where a stream ended.
const ASK_AGAIN_MS: u32 = 1000;

/// Keeps proxies from holding events back until there are many.
static UNBUFFERED: (HeaderName, HeaderValue) =
    (HeaderName::from_static("x-accel-buffering"), HeaderValue::from_static("no"));

/// By what somebody is signed in, and until when.
#[derive(Debug, Clone)]
pub(crate) struct Pass {
    pub person: PersonHandle,
    pub session: Uuid,
    pub issued_at: DateTime<Utc>,
    pub expires_at: DateTime<Utc>,
}

impl Pass {
    /// Whether it still lets somebody read a programme.
    fn stands(&self, office: &Office, programme: &ProgrammeId) -> bool {
        office.now() < self.expires_at
            && office.store.signed_in(&self.person, self.session, self.issued_at).is_ok()
            && office
                .store
                .read(programme, |state, _| Act::Read.is_allowed_to(state.roles(&self.person)))
                .unwrap_or(false)
    }
}

/// Who listens at present.
#[derive(Debug, Default)]
pub(crate) struct Listeners {
    by_person: Mutex<HashMap<PersonHandle, usize>>,
}

impl Listeners {
    /// How many streams are open.
    pub fn count(&self) -> usize {
        self.by_person.lock().values().sum()
    }

    fn seat(self: &Arc<Self>, person: &PersonHandle) -> Result<Seat, Problem> {
        let mut by_person = self.by_person.lock();
        let own = by_person.get(person).copied().unwrap_or(0);
        let all: usize = by_person.values().sum();
        if own >= OF_ONE_PERSON || all >= OF_ALL {
            return Err(Problem::new(
                BUSY,
                "Too many streams of events are open. Close some of the pages or programs that listen, or ask again later.",
            )
            .retry_after(30));
        }
        by_person.insert(person.clone(), own + 1);
        Ok(Seat { among: Arc::clone(self), person: person.clone() })
    }
}

/// A place among those who listen, free again once it is dropped.
#[derive(Debug)]
struct Seat {
    among: Arc<Listeners>,
    person: PersonHandle,
}

impl Drop for Seat {
    fn drop(&mut self) {
        let mut by_person = self.among.by_person.lock();
        match by_person.get_mut(&self.person) {
            Some(own) if *own > 1 => *own -= 1,
            Some(_) | None => {
                by_person.remove(&self.person);
            }
        }
    }
}

/// One stream on its way.
struct Stream {
    office: Office,
    programme: ProgrammeId,
    pass: Pass,
    news: Receiver<News>,
    ending: watch::Receiver<Option<Instant>>,
    ends_at: Instant,
    /// The number that was told last, and when anything was.
    told: Option<u64>,
    spoke_at: Option<Instant>,
    _seat: Seat,
}

impl Stream {
    fn is_over(&self) -> bool {
        Instant::now() >= self.ends_at
            || self.ending.borrow().is_some()
            || !self.pass.stands(&self.office, &self.programme)
    }

    /// Waits for the next thing to say; none once the stream is over.
    async fn next(mut self) -> Option<(Result<Bytes, Infallible>, Self)> {
        loop {
            if self.is_over() {
                return None;
            }
            let size = self.office.store.tree(&self.programme)?.size;
            let quiet_until = self.spoke_at.map(|spoke_at| spoke_at + OFTEN);
            if self.told != Some(size) {
                match quiet_until.filter(|moment| *moment > Instant::now()) {
                    Some(moment) => {
                        sleep_until(moment).await;
                        continue;
                    }
                    None => {
                        let begins = if self.told.is_none() {
                            format!("retry: {ASK_AGAIN_MS}\n")
                        } else {
                            String::new()
                        };
                        self.told = Some(size);
                        return Some(self.says(format!(
                            "{begins}event: ledger\nid: {size}\ndata: {{\"seq\":{size}}}\n\n"
                        )));
                    }
                }
            }
            if self.spoke_at.is_none_or(|spoke_at| spoke_at.elapsed() >= SIGN_OF_LIFE) {
                return Some(self.says(":\n\n".to_owned()));
            }
            tokio::select! {
                heard = self.news.recv() => {
                    if heard == Err(RecvError::Closed) {
                        return None;
                    }
                    // What was missed is in the number that is read next.
                }
                _ = self.ending.changed() => {}
                () = sleep(LOOKS_EVERY) => {}
                () = sleep_until(self.ends_at) => {}
            }
        }
    }

    fn says(mut self, text: String) -> (Result<Bytes, Infallible>, Self) {
        self.spoke_at = Some(Instant::now());
        (Ok(Bytes::from(text)), self)
    }
}

impl Office {
    /// A stream that tells how far the ledger of a programme has come, for so long at most.
    ///
    /// # Errors
    ///
    /// A problem where too many listen already.
    pub fn listen(&self, programme: ProgrammeId, pass: Pass, lasts: Duration) -> Answer {
        let stream = Stream {
            news: self.store.subscribe(),
            ending: self.ending.heard(),
            ends_at: Instant::now() + lasts.min(LASTS_AT_MOST),
            told: None,
            spoke_at: None,
            _seat: self.listeners.seat(&pass.person)?,
            office: self.clone(),
            programme,
            pass,
        };
        Ok(HttpResponse::Ok()
            .insert_header((CONTENT_TYPE, EVENTS))
            .insert_header(UNBUFFERED.clone())
            // Compressed, an event would wait for others to fill a block.
            .insert_header(ContentEncoding::Identity)
            .body(BodyStream::new(Box::pin(stream::unfold(stream, Stream::next)))))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_person_has_so_many_streams_and_a_closed_one_makes_room() {
        let listeners = Arc::new(Listeners::default());
        let ada = PersonHandle::new("ada").unwrap();
        let mut seats: Vec<_> = (0..OF_ONE_PERSON).map(|_| listeners.seat(&ada).unwrap()).collect();
        assert_eq!(listeners.seat(&ada).unwrap_err().code(), "busy");
        listeners.seat(&PersonHandle::new("bo").unwrap()).unwrap();
        seats.pop();
        seats.push(listeners.seat(&ada).unwrap());
        drop(seats);
        assert!(listeners.by_person.lock().is_empty(), "nobody listens any more");
    }
}
