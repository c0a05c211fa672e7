//! What most handlers do after they know who asks: look and answer, or decide, append and answer.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;

use actix_web::http::StatusCode;
use actix_web::http::header::{CONTENT_TYPE, ETAG, HeaderMap, HeaderName, HeaderValue, LOCATION};
use actix_web::web::Bytes;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, Utc};
use parking_lot::Mutex;
use programme::codes::{PersonHandle, ProgrammeId};
use programme::commands::{self, Command};
use programme::entry::Entry;
use programme::refusal::Refusal;
use programme::state::{Amendable, State};
use serde::Serialize;
use serde_json::value::RawValue;
use store::{Act, AsOf, Remembered, Reply};

use crate::access::Permitted;
use crate::entity_tag::{self, Precondition, Present};
use crate::given::{Given, Signed};
use crate::idempotency::{Asked, REPLAYED, TRUE};
use crate::metrics;
use crate::office::Office;
use crate::problem::{BAD_QUERY, BUSY, FAULT, Problem, SECRET_WRONG, STALE};

/// What a handler gives back.
pub(crate) type Answer = Result<HttpResponse, Problem>;

/// A programme as it stands at a moment.
#[derive(Debug, Clone, Copy)]
pub(crate) struct View<'a> {
    pub state: &'a State,
    /// The moment at which time-dependent things are judged.
    pub now: DateTime<Utc>,
}

/// Something as it is sent, with its tag where it has one.
#[derive(Debug, Clone)]
pub(crate) struct Shown {
    kind: HeaderValue,
    bytes: Bytes,
    tag: Option<String>,
}

impl Shown {
    /// As JSON.
    pub fn new(thing: &impl Serialize) -> Result<Self, Problem> {
        Ok(Self { kind: JSON.clone(), bytes: to_json(thing)?.into(), tag: None })
    }

    /// As JSON, with a tag over its bytes.
    pub fn tagged(thing: &impl Serialize) -> Result<Self, Problem> {
        let bytes = to_json(thing)?;
        let tag = Some(entity_tag::of_bytes(&bytes));
        Ok(Self { kind: JSON.clone(), tag, bytes: bytes.into() })
    }

    /// As JSON, with a tag that begins with a revision.
    pub fn at_revision(revision: u64, thing: &impl Serialize) -> Result<Self, Problem> {
        let bytes = to_json(thing)?;
        let tag = Some(entity_tag::of_revision(revision, &bytes));
        Ok(Self { kind: JSON.clone(), tag, bytes: bytes.into() })
    }

    /// As a text of another media type, with a tag over its bytes.
    pub fn file(kind: &'static str, text: String) -> Self {
        let bytes = Bytes::from(text);
        let tag = Some(entity_tag::of_bytes(&bytes));
        Self { kind: HeaderValue::from_static(kind), tag, bytes }
    }

    /// As a picture (SVG).
    pub fn picture(svg: String) -> Self {
        Self::file("image/svg+xml", svg)
    }

    /// What was put into JSON before.
    pub fn made_before(bytes: Bytes, tag: String) -> Self {
        Self { kind: JSON.clone(), bytes, tag: Some(tag) }
    }

    /// Its tag.
    pub fn tag(&self) -> Option<&str> {
        self.tag.as_deref()
    }

    /// Its bytes.
    pub fn bytes(&self) -> Bytes {
        self.bytes.clone()
    }

    /// The reply to a GET: the bytes, or that the reader has them already.
    pub fn reply(self, headers: &HeaderMap) -> HttpResponse {
        let mut reply = HttpResponse::Ok();
        if let Some(tag) = &self.tag {
            reply.insert_header((ETAG, entity_tag::to_header(tag)));
            if entity_tag::is_known(headers, tag) {
                return reply.status(StatusCode::NOT_MODIFIED).finish();
            }
        }
        reply.insert_header((CONTENT_TYPE, self.kind)).body(self.bytes)
    }
}

/// The media type of all that is not a problem or a file.
static JSON: HeaderValue = HeaderValue::from_static("application/json");

fn to_json(thing: &impl Serialize) -> Result<Vec<u8>, Problem> {
    serde_json::to_vec(thing).map_err(|error| {
        Problem::new(FAULT, "The reply could not be written as JSON. Tell whoever runs the server.")
            .because(error)
    })
}

/// A reply with a JSON body.
pub(crate) fn answer(status: StatusCode, thing: &impl Serialize) -> Answer {
    Ok(HttpResponse::build(status)
        .insert_header((CONTENT_TYPE, JSON.clone()))
        .body(to_json(thing)?))
}

/// One record that was appended, as replies tell of it.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct Appended {
    /// Its number in the programme's ledger.
    pub seq: u64,
    /// Its kind.
    #[schema(example = "point-planned")]
    pub kind: &'static str,
    /// When it was recorded.
    pub at: DateTime<Utc>,
    /// Who recorded it.
    pub by: PersonHandle,
    /// When it was observed, where that differs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub observed_at: Option<DateTime<Utc>>,
}

impl From<&Entry> for Appended {
    fn from(entry: &Entry) -> Self {
        Self {
            seq: entry.seq,
            kind: entry.record.kind(),
            at: entry.at,
            by: entry.by.clone(),
            observed_at: entry.observed_at,
        }
    }
}

/// What was done: the records that are now on disk, and the thing as it stands with them.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct Written<T> {
    /// The records that were appended, in order; none where nothing had to change.
    pub records: Vec<Appended>,
    /// The thing as it stands now.
    pub now: T,
}

/// The reply to an act: a status, where the thing is, and how it stands.
#[derive(Debug)]
pub(crate) struct Outcome {
    pub status: StatusCode,
    pub location: Option<String>,
    pub shown: Shown,
}

impl Outcome {
    /// Something new, at this place.
    pub fn created(location: String, shown: Shown) -> Self {
        Self { status: StatusCode::CREATED, location: Some(location), shown }
    }

    /// Something that was changed.
    pub fn changed(shown: Shown) -> Self {
        Self { status: StatusCode::OK, location: None, shown }
    }

    /// Something that is new or was changed, at this place.
    pub fn put(was_there: bool, location: String, shown: Shown) -> Self {
        if was_there { Self::changed(shown) } else { Self::created(location, shown) }
    }

    fn into_reply(self, entries: &[Entry]) -> Result<Reply, Problem> {
        let now: &RawValue = serde_json::from_slice(&self.shown.bytes).map_err(|error| {
            Problem::new(FAULT, "The reply could not be put together.").because(error)
        })?;
        let written = Written { records: entries.iter().map(Appended::from).collect(), now };
        let headers = [
            self.location.map(|place| (LOCATION.to_string(), place)),
            self.shown.tag.map(|tag| (ETAG.to_string(), tag)),
        ];
        Ok(Reply {
            status: self.status.as_u16(),
            body: to_json(&written)?,
            headers: headers.into_iter().flatten().collect(),
        })
    }
}

/// A kept reply as it is sent.
pub(crate) fn send(reply: Reply, replayed: bool) -> HttpResponse {
    let status = StatusCode::from_u16(reply.status).unwrap_or(StatusCode::OK);
    let mut sent = HttpResponse::build(status);
    sent.insert_header((CONTENT_TYPE, JSON.clone()));
    for (name, value) in reply.headers {
        if let (Ok(name), Ok(value)) = (HeaderName::try_from(name), HeaderValue::try_from(value)) {
            sent.insert_header((name, value));
        }
    }
    if replayed {
        sent.insert_header((REPLAYED.clone(), TRUE.clone()));
    }
    sent.body(reply.body)
}

/// Which past moment a reader asked for: a record's number, or a time.
pub(crate) fn as_of(text: &str) -> Result<AsOf, Problem> {
    let number = || text.parse().ok().map(AsOf::Seq);
    let moment = || {
        DateTime::parse_from_rfc3339(text).ok().map(|moment| AsOf::At(moment.with_timezone(&Utc)))
    };
    number().or_else(moment).ok_or_else(|| {
        Problem::of_field(
            BAD_QUERY,
            "as_of",
            "as_of is the number of a record, such as 120, or a time, such as 2026-05-02T08:00:00Z.",
        )
    })
}

impl Office {
    /// Looks at the programme as it stands, or as it stood.
    pub async fn look<P, T>(
        &self,
        person: &Permitted<P>,
        past: Option<&str>,
        look: impl FnOnce(View<'_>) -> Result<T, Problem>,
    ) -> Result<T, Problem> {
        let programme = &person.programme;
        let Some(past) = past else {
            let now = self.now();
            return self
                .store
                .read(programme, |state, _| look(View { state, now }))
                .unwrap_or_else(|| Err(Problem::unknown("programme", programme)));
        };
        let moment = as_of(past)?;
        // Folding the ledger anew takes time in proportion to its length, so only a few do it at once.
        let _turn = self.past.turn().await.map_err(|error| {
            Problem::new(BUSY, "The server is ending. Ask again later.").because(error)
        })?;
        let state = self.store.as_of(programme, moment).await?;
        let now = match moment {
            AsOf::At(moment) => moment,
            AsOf::Seq(_) => state.last_at.unwrap_or_else(|| self.now()),
        };
        look(View { state: &state, now })
    }

    /// Looks, and answers with what was seen.
    pub async fn show<P>(
        &self,
        person: &Permitted<P>,
        past: Option<&str>,
        request: &HttpRequest,
        look: impl FnOnce(View<'_>) -> Result<Shown, Problem>,
    ) -> Answer {
        Ok(self.look(person, past, look).await?.reply(request.headers()))
    }

    /// Lets a command decide, appends what it decided, and answers with how things stand.
    pub async fn act<P, C>(
        &self,
        person: &Permitted<P>,
        given: Given<C>,
        shows: impl FnOnce(View<'_>, &[Entry]) -> Result<Outcome, Problem> + Send + 'static,
    ) -> Answer
    where
        C: Command + Send + 'static,
    {
        self.decide(person, given.asked, given.body, |_, _| Ok(()), shows).await
    }

    /// As [`Office::act`], where nothing of what a reader was given in one piece has changed since.
    ///
    /// Nothing is asked of who does not say what they read: there is much that they may not have touched.
    pub async fn act_on<P, C>(
        &self,
        person: &Permitted<P>,
        read: (Precondition, &'static str),
        piece: impl FnOnce(&State) -> Result<String, Problem> + Send + 'static,
        given: Given<C>,
        shows: impl FnOnce(View<'_>, &[Entry]) -> Result<Outcome, Problem> + Send + 'static,
    ) -> Answer
    where
        C: Command + Send + 'static,
    {
        let (precondition, what) = read;
        let first = move |state: &State, _| {
            if precondition == Precondition::None {
                return Ok(());
            }
            let tag = entity_tag::of_bytes(piece(state)?.as_bytes());
            precondition.check(what, Some(Present::Tag(&tag)))
        };
        self.decide(person, given.asked, given.body, first, shows).await
    }

    /// As [`Office::act`], after making sure that it is really the person who signs.
    pub async fn sign<P, C>(
        &self,
        person: &Permitted<P>,
        signed: Signed<C>,
        shows: impl FnOnce(View<'_>, &[Entry]) -> Result<Outcome, Problem> + Send + 'static,
    ) -> Answer
    where
        C: Command + Send + 'static,
    {
        self.confirm(&person.person, signed.secret).await?;
        self.decide(person, signed.asked, signed.body, |_, _| Ok(()), shows).await
    }

    /// As [`Office::act`], on one version of something that may have been changed meanwhile.
    ///
    /// What it shows is also told whether the thing was there before. Whoever changes another version than the present
    /// one is shown that.
    pub async fn amend<P, C>(
        &self,
        person: &Permitted<P>,
        amends: (Precondition, Amendable),
        given: Given<C>,
        shows: impl FnOnce(View<'_>, &[Entry], bool) -> Result<Outcome, Problem> + Send + 'static,
    ) -> Answer
    where
        C: Command + Send + 'static,
    {
        let (precondition, thing) = amends;
        let was_there = Arc::new(AtomicBool::new(false));
        let noted = Arc::clone(&was_there);
        // It is shown once: with what was done, or with why nothing was.
        let shows = Arc::new(Mutex::new(Some(shows)));
        let instead = Arc::clone(&shows);
        self.decide(
            person,
            given.asked,
            given.body,
            move |state, now| {
                let revision = Some(state.revision(&thing)).filter(|revision| *revision > 0);
                noted.store(revision.is_some(), Ordering::Relaxed);
                let checked =
                    precondition.check(&thing.to_string(), revision.map(Present::Revision));
                checked.map_err(|problem| {
                    let stale = revision.is_some() && problem.code() == STALE.code;
                    let show = instead.lock().take().filter(|_| stale);
                    let shown = show.and_then(|show| show(View { state, now }, &[], true).ok());
                    shown.map_or(problem.clone(), |outcome| problem.with_present(&outcome.shown))
                })
            },
            move |view, entries| {
                let show = shows.lock().take().ok_or_else(|| {
                    Problem::new(FAULT, "What was done cannot be shown. Read it again.")
                })?;
                show(view, entries, was_there.load(Ordering::Relaxed))
            },
        )
        .await
    }

    /// The reply that was given before to a repeat of a request, before anything is done that takes its time.
    pub async fn replayed<P>(
        &self,
        person: &Permitted<P>,
        asked: &Asked,
    ) -> Result<Option<HttpResponse>, Problem> {
        let Some(key) = &asked.idempotency else { return Ok(None) };
        match self.store.remembered(&person.person, key, self.now()).await? {
            Remembered::Nothing => Ok(None),
            Remembered::Same(reply) => Ok(Some(send(reply, true))),
            Remembered::Another => Err(Problem::key_reused()),
        }
    }

    /// Makes sure that a secret is the person's password or PIN.
    pub async fn confirm(&self, person: &PersonHandle, secret: String) -> Result<(), Problem> {
        self.by_signer.count(person)?;
        self.secrets.confirm(&self.store, person, secret).await
    }

    /// Makes sure that a secret is the person's password.
    pub async fn confirm_password(
        &self,
        person: &PersonHandle,
        secret: String,
    ) -> Result<(), Problem> {
        self.by_signer.count(person)?;
        if self.secrets.is_password(&self.store, person, secret).await? {
            return Ok(());
        }
        Err(Problem::of_field(
            SECRET_WRONG,
            "secret",
            "This is not your password, so nothing was changed. Try again.",
        ))
    }

    async fn decide<P, C>(
        &self,
        person: &Permitted<P>,
        asked: Asked,
        command: C,
        first: impl FnOnce(&State, DateTime<Utc>) -> Result<(), Problem> + Send + 'static,
        shows: impl FnOnce(View<'_>, &[Entry]) -> Result<Outcome, Problem> + Send + 'static,
    ) -> Answer
    where
        C: Command + Send + 'static,
    {
        let stamp = person.stamp(self.now());
        let act = Errand::new(person.programme.clone(), &stamp, asked);
        act.carry_out(
            self,
            move |state| {
                first(state, stamp.now).map_err(Stop::Problem)?;
                commands::decide(state, &command, &stamp).map_err(Stop::Refusal)
            },
            shows,
        )
        .await
    }
}

/// Why nothing is appended.
pub(crate) enum Stop {
    Problem(Problem),
    Refusal(Refusal),
}

/// An act on its way to the store.
pub(crate) struct Errand {
    programme: ProgrammeId,
    by: PersonHandle,
    at: DateTime<Utc>,
    asked: Asked,
    founds: Option<String>,
}

impl Errand {
    pub fn new(programme: ProgrammeId, stamp: &commands::Stamp, asked: Asked) -> Self {
        Self { programme, by: stamp.by.clone(), at: stamp.now, asked, founds: None }
    }

    /// The act begins the programme of this title.
    pub fn that_founds(mut self, title: String) -> Self {
        self.founds = Some(title);
        self
    }

    pub async fn carry_out(
        self,
        office: &Office,
        decides: impl FnOnce(&State) -> Result<Vec<programme::entry::Draft>, Stop> + Send + 'static,
        shows: impl FnOnce(View<'_>, &[Entry]) -> Result<Outcome, Problem> + Send + 'static,
    ) -> Answer {
        // The store hands on refusals; a problem of this room goes round it.
        let aside: Arc<Mutex<Option<Problem>>> = Arc::default();
        let put_aside = Arc::clone(&aside);
        let at = self.at;
        let act = Act {
            programme: self.programme,
            by: self.by,
            at,
            idempotency: self.asked.idempotency,
            decide: Box::new(move |state| {
                decides(state).map_err(|stop| match stop {
                    Stop::Refusal(refusal) => refusal,
                    Stop::Problem(problem) => {
                        *put_aside.lock() = Some(problem);
                        Refusal::Invalid { faults: Vec::new() }
                    }
                })
            }),
            reply: Box::new(move |state, entries| {
                let reply = shows(View { state, now: at }, entries)
                    .and_then(|outcome| outcome.into_reply(entries));
                reply.unwrap_or_else(|problem| {
                    // What was decided stands; only the picture of it could not be made.
                    tracing::error!(%problem, "a reply could not be put together: {problem}");
                    bare_reply(entries)
                })
            }),
        };
        let handed_over = Instant::now();
        let acted = match self.founds {
            None => office.store.act(act).await,
            Some(title) => office.store.found(title, act).await,
        };
        let (outcome, records) = match &acted {
            Ok(acted) if acted.replayed => (metrics::Act::Repeated, 0),
            Ok(acted) => (metrics::Act::Done, acted.entries.len()),
            Err(_) => (metrics::Act::Refused, 0),
        };
        office.metrics.acted(outcome, records, handed_over.elapsed());
        match acted {
            Ok(acted) => Ok(send(acted.reply, acted.replayed)),
            Err(error) => Err(aside.lock().take().unwrap_or_else(|| error.into())),
        }
    }
}

/// The records alone.
fn bare_reply(entries: &[Entry]) -> Reply {
    let written = Written { records: entries.iter().map(Appended::from).collect(), now: () };
    let body = serde_json::to_vec(&written).unwrap_or_default();
    Reply { status: StatusCode::OK.as_u16(), body, headers: Vec::new() }
}
