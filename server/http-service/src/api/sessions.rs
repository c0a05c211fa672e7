//! Signing in, staying signed in, and signing out.

use actix_web::http::StatusCode;
use actix_web::http::header::{CACHE_CONTROL, HeaderValue, LOCATION};
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, Utc};
use programme::codes::PersonHandle;
use serde::{Deserialize, Serialize};
use store::{Idempotency, NewSession, Remembered, Reply, Rotation};
use uuid::Uuid;

use crate::access::{Anyone, SignedIn};
use crate::desk::{Answer, answer};
use crate::given::{At, Given, Session};
use crate::idempotency::{REPLAYED, TRUE};
use crate::metrics::SignIn as Tried;
use crate::office::Office;
use crate::problem::{FAULT, NOT_FOUND, Problem, SIGN_IN_REFUSED};
use crate::token::HandedOut;

/// Who signs in.
#[derive(Debug, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SignIn {
    /// The handle.
    #[schema(max_length = 40, example = "marit")]
    pub handle: String,
    /// The password.
    #[schema(format = Password, max_length = 256, example = "one rung at a time")]
    pub password: String,
}

/// A refresh token.
#[derive(Debug, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Refresh {
    /// The refresh token that the last reply gave; it is good once.
    #[schema(pattern = "^[0-9a-f]{64}$")]
    pub refresh_token: String,
}

/// What somebody who is signed in sends with each request, and how they stay so.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct Tokens {
    /// The session.
    pub session: Uuid,
    /// Who is signed in.
    pub handle: PersonHandle,
    /// How to send the access token.
    #[schema(example = "Bearer")]
    pub token_type: &'static str,
    /// Send it as `Authorization: Bearer …`.
    pub access_token: String,
    /// Until when the access token is good.
    pub expires_at: DateTime<Utc>,
    /// For how many seconds.
    pub expires_in_s: i64,
    /// Exchange it for new tokens; it is good once.
    pub refresh_token: String,
    /// Until when the refresh token is good.
    pub refresh_expires_at: DateTime<Utc>,
}

/// What is kept of a reply with tokens: everything but the tokens.
#[derive(Debug, Serialize, Deserialize)]
struct WithoutTokens {
    session: Uuid,
    handle: PersonHandle,
    refresh_expires_at: DateTime<Utc>,
}

/// One sign-in that stands.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct StandingSession {
    /// Its id.
    pub session: Uuid,
    /// Whether it is the one that asks.
    pub current: bool,
    /// When it began.
    pub began_at: Option<DateTime<Utc>>,
    /// When it ends unless it is refreshed.
    pub expires_at: DateTime<Utc>,
}

/// All sign-ins of one person that stand.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct Sessions {
    /// The sessions, oldest first.
    pub items: Vec<StandingSession>,
}

/// Under whose name replies with tokens are kept: before somebody is signed in there is nobody to ask for.
const DOOR: &str = "door";

/// Sign in with handle and password.
///
/// An unknown handle takes as long and is answered in the same way as a wrong password. With an Idempotency-Key a
/// repeat gives the same session again; the tokens themselves are never kept.
#[utoipa::path(
    post, path = "",
    request_body(content = SignIn, example = json!({ "handle": "marit", "password": "one rung at a time" })),
    responses((status = 201, description = "Signed in.", body = Tokens)),
)]
pub(crate) async fn begin(
    _: Anyone,
    request: HttpRequest,
    given: Given<SignIn>,
    office: Office,
) -> Answer {
    let SignIn { handle, password } = given.body;
    let person = admitted(&office, &request, &handle, password).await?;
    let now = office.now();
    let key = given.asked.idempotency.map(|asked| key_of("sign-in", asked));
    if let Some(again) = repeated(&office, key.as_ref(), &person, now).await? {
        return again;
    }
    let refresh = match &key {
        Some(key) => office.tokens.refresh_token_of(&["sign-in", person.as_str(), &key.key])?,
        None => office.tokens.handed_out()?,
    };
    let session = begun(&office, person.clone(), &refresh, now).await?;
    let refresh_expires_at = now + office.settings.refresh_token_lasts;
    let kept = WithoutTokens { session, handle: person.clone(), refresh_expires_at };
    keep(&office, key, &person, &kept, now).await?;
    hand_out(&office, &kept, &refresh, now, false)
}

/// Who gives handle and password, if they go together. Attempts are counted, and an unknown handle takes as long.
pub(crate) async fn admitted(
    office: &Office,
    request: &HttpRequest,
    handle: &str,
    password: String,
) -> Result<PersonHandle, Problem> {
    let admitted = are_let_in(office, request, handle, password).await;
    let outcome = match &admitted {
        Ok(_) => Tried::Admitted,
        Err(problem) if problem.code() == SIGN_IN_REFUSED.code => Tried::Refused,
        Err(_) => Tried::PutOff,
    };
    office.metrics.tried(outcome);
    if admitted.is_err() {
        // What was typed is told only where it is the handle of somebody here: it may be a password in the wrong field.
        let known = PersonHandle::new(handle).ok().filter(|it| office.store.account(it).is_some());
        let (person, outcome) = (known.as_ref().map(PersonHandle::as_str), outcome.word());
        tracing::warn!(person, address = %office.address(request), "a sign-in was {outcome}");
    }
    admitted
}

async fn are_let_in(
    office: &Office,
    request: &HttpRequest,
    handle: &str,
    password: String,
) -> Result<PersonHandle, Problem> {
    let address = office.address(request);
    office.by_address.count(&address)?;
    office.by_account.count(&(handle.to_owned(), address))?;
    // What cannot be a handle is nobody's, and takes as long.
    let person =
        PersonHandle::new(handle).or_else(|_| PersonHandle::new(DOOR)).map_err(impossible)?;
    let right = office.secrets.is_password(&office.store, &person, password).await?;
    if right && person.as_str() == handle { Ok(person) } else { Err(Problem::sign_in_refused()) }
}

/// Begins a session with its first refresh token.
pub(crate) async fn begun(
    office: &Office,
    person: PersonHandle,
    refresh: &HandedOut,
    now: DateTime<Utc>,
) -> Result<Uuid, Problem> {
    let id = Uuid::now_v7();
    let new = NewSession {
        id,
        handle: person.clone(),
        token_hash: refresh.hash(),
        at: now,
        expires_at: now + office.settings.refresh_token_lasts,
    };
    office.store.begin_session(new).await?;
    tracing::info!(person = %person, session = %id, "{person} signed in");
    Ok(id)
}

/// Exchange a refresh token for new tokens.
///
/// A refresh token is good once. One that comes a second time ends its session, since somebody may have a copy. Send an
/// Idempotency-Key, so that you may safely repeat a request whose reply got lost.
#[utoipa::path(
    post, path = "",
    request_body(content = Refresh, example = json!({
        "refresh_token": "e4b814321eb3da79642bc8e5194a54a58f500970845187662673f4c6e101751d",
    })),
    responses((status = 201, description = "New tokens.", body = Tokens)),
)]
pub(crate) async fn refresh(
    _: Anyone,
    request: HttpRequest,
    given: Given<Refresh>,
    office: Office,
) -> Answer {
    office.by_address.count(&office.address(&request))?;
    let token = HandedOut::read(&given.body.refresh_token).ok_or_else(Problem::refresh_refused)?;
    let now = office.now();
    let door = PersonHandle::new(DOOR).map_err(impossible)?;
    let key = given.asked.idempotency.map(|asked| {
        // The token is left out of what is compared, so it becomes part of the key: by its hash.
        let hash = programme::record::Digest::from_bytes(token.hash());
        key_of(&format!("refresh {hash}"), asked)
    });
    if let Some(again) = repeated(&office, key.as_ref(), &door, now).await? {
        return again;
    }
    let next = match &key {
        Some(key) => office.tokens.refresh_token_of(&[DOOR, &key.key])?,
        None => office.tokens.handed_out()?,
    };
    let refresh_expires_at = now + office.settings.refresh_token_lasts;
    let rotation = Rotation {
        given_hash: token.hash(),
        next_hash: next.hash(),
        at: now,
        expires_at: refresh_expires_at,
    };
    let (handle, session) = office.store.rotate(rotation).await?;
    let kept = WithoutTokens { session, handle, refresh_expires_at };
    keep(&office, key, &door, &kept, now).await?;
    hand_out(&office, &kept, &next, now, false)
}

/// Your sign-ins that stand.
#[utoipa::path(get, path = "", responses((status = 200, description = "The sessions.", body = Sessions)))]
pub(crate) async fn list(person: SignedIn, office: Office) -> Answer {
    answer(
        StatusCode::OK,
        &Sessions { items: sessions_of(&person.handle, person.session, &office) },
    )
}

/// The sign-in that asks.
#[utoipa::path(get, path = "", responses((status = 200, description = "The session.", body = StandingSession)))]
pub(crate) async fn current(person: SignedIn, office: Office) -> Answer {
    let found = sessions_of(&person.handle, person.session, &office)
        .into_iter()
        .find(|session| session.current);
    let session = found.ok_or_else(|| Problem::from(store::NotSignedIn::Ended))?;
    answer(StatusCode::OK, &session)
}

/// Sign out. It acts at once: neither token of the session is good any more.
#[utoipa::path(delete, path = "", responses((status = 204, description = "Signed out.")))]
pub(crate) async fn end(person: SignedIn, office: Office) -> Answer {
    office.store.end_session(person.session, office.now()).await?;
    tracing::info!(person = %person.handle, session = %person.session, "{} signed out", person.handle);
    Ok(HttpResponse::NoContent().finish())
}

/// Sign out elsewhere: end one of your sign-ins, such as that of a phone that was lost. It acts at once.
#[utoipa::path(delete, path = "", responses((status = 204, description = "Ended.")))]
pub(crate) async fn end_one(person: SignedIn, session: At<Session>, office: Office) -> Answer {
    end_of(&person.handle, session.0.0, &office).await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Ends one of a person's sign-ins. That of somebody else is as unknown as one that is over.
pub(crate) async fn end_of(
    person: &PersonHandle,
    session: Uuid,
    office: &Office,
) -> Result<(), Problem> {
    if !office.store.sessions_of(person, office.now()).iter().any(|(own, _)| *own == session) {
        return Err(no_such_sign_in());
    }
    office.store.end_session(session, office.now()).await?;
    tracing::info!(%person, %session, "{person} ended a sign-in");
    Ok(())
}

/// What is told of a sign-in that cannot be ended.
pub(crate) fn no_such_sign_in() -> Problem {
    Problem::new(
        NOT_FOUND,
        "You have no such sign-in: it has ended already, or is none of yours. Look at the list of your sign-ins.",
    )
}

/// The sign-ins of a person that stand, oldest first, as one of them is told.
pub(crate) fn sessions_of(
    person: &PersonHandle,
    asks: Uuid,
    office: &Office,
) -> Vec<StandingSession> {
    let mut sessions: Vec<StandingSession> = office
        .store
        .sessions_of(person, office.now())
        .into_iter()
        .map(|(session, expires_at)| StandingSession {
            session,
            current: session == asks,
            began_at: began_at(session),
            expires_at,
        })
        .collect();
    sessions.sort_by_key(|session| session.session);
    sessions
}

/// A session's id tells when it began.
fn began_at(session: Uuid) -> Option<DateTime<Utc>> {
    let (seconds, nanos) = session.get_timestamp()?.to_unix();
    DateTime::from_timestamp(seconds.try_into().ok()?, nanos)
}

fn impossible(error: programme::codes::BadCode) -> Problem {
    Problem::new(FAULT, "The program failed. Tell whoever runs it the request id.").because(error)
}

/// A key of the service's own; clients' keys have no spaces.
fn key_of(what: &str, asked: Idempotency) -> Idempotency {
    Idempotency { key: format!("{what} {}", asked.key), ..asked }
}

/// The reply of an earlier request with the same key, if its session still stands.
async fn repeated(
    office: &Office,
    key: Option<&Idempotency>,
    under: &PersonHandle,
    now: DateTime<Utc>,
) -> Result<Option<Answer>, Problem> {
    let Some(key) = key else { return Ok(None) };
    let reply = match office.store.remembered(under, key, now).await? {
        Remembered::Nothing => return Ok(None),
        Remembered::Another => return Err(Problem::key_reused()),
        Remembered::Same(reply) => reply,
    };
    let kept: WithoutTokens = serde_json::from_slice(&reply.body).map_err(|error| {
        Problem::new(FAULT, "The earlier reply cannot be read. Sign in with a new key.")
            .because(error)
    })?;
    office.store.signed_in(&kept.handle, kept.session, now)?;
    let parts = if under.as_str() == DOOR && key.key.starts_with("refresh ") {
        vec![DOOR, &key.key]
    } else {
        vec!["sign-in", under.as_str(), &key.key]
    };
    let refresh = office.tokens.refresh_token_of(&parts)?;
    Ok(Some(hand_out(office, &kept, &refresh, now, true)))
}

async fn keep(
    office: &Office,
    key: Option<Idempotency>,
    under: &PersonHandle,
    kept: &WithoutTokens,
    now: DateTime<Utc>,
) -> Result<(), Problem> {
    let Some(key) = key else { return Ok(()) };
    let body = serde_json::to_vec(kept).map_err(|error| {
        Problem::new(FAULT, "The reply could not be kept. Sign in again.").because(error)
    })?;
    let reply = Reply { status: StatusCode::CREATED.as_u16(), body, headers: Vec::new() };
    Ok(office.store.remember(under, key, reply, now).await?)
}

fn hand_out(
    office: &Office,
    kept: &WithoutTokens,
    refresh: &HandedOut,
    now: DateTime<Utc>,
    replayed: bool,
) -> Answer {
    let access = office.tokens.issue(&kept.handle, kept.session, now)?;
    let mut reply = answer(
        StatusCode::CREATED,
        &Tokens {
            session: kept.session,
            handle: kept.handle.clone(),
            token_type: "Bearer",
            expires_in_s: (access.expires_at - now).num_seconds(),
            access_token: access.token,
            expires_at: access.expires_at,
            refresh_token: refresh.text(),
            refresh_expires_at: kept.refresh_expires_at,
        },
    )?;
    let headers = reply.headers_mut();
    headers.insert(CACHE_CONTROL, HeaderValue::from_static("no-store"));
    headers.insert(LOCATION, HeaderValue::from_static("/api/v1/sessions/current"));
    if replayed {
        headers.insert(REPLAYED.clone(), TRUE.clone());
    }
    Ok(reply)
}
