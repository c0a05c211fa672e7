//! Who looks at a page: the session that a cookie names.
//!
//! The API never reads the cookie, so that no other site can use it there.

use std::future::{Ready, ready};

use actix_web::cookie::{Cookie, SameSite, time::Duration};
use actix_web::dev::Payload;
use actix_web::http::Method;
use actix_web::{FromRequest, HttpRequest};
use chrono::{DateTime, Utc};
use programme::board::Board;
use programme::codes::{PersonHandle, ProgrammeId, RunNumber};
use programme::nouns::Role;
use programme::people::Act;
use uuid::Uuid;

use super::around::{Around, Section};
use crate::access::{Permission, Permitted, permitted_to};
use crate::desk::View;
use crate::houses::{authority, proxied_over_tls};
use crate::live::Pass;
use crate::office::{Office, office_of};
use crate::problem::{NOT_SIGNED_IN, Problem};
use crate::token::Bearer;

/// Somebody who is signed in.
#[derive(Debug, Clone)]
pub(crate) struct Visitor {
    pub handle: PersonHandle,
    pub name: String,
    pub session: Uuid,
    /// What each of their forms carries.
    pub form_token: String,
    pub now: DateTime<Utc>,
}

/// Somebody who is signed in, in a programme in which their roles allow an act.
#[derive(Debug, Clone)]
pub(crate) struct Member<P> {
    pub permitted: Permitted<P>,
    pub visitor: Visitor,
    pub programme: OwnProgramme,
    /// The past moment that the page is asked for, as `as_of` in its address: a record's number, or a time.
    pub past: Option<String>,
}

/// What every page of a programme shows of it.
#[derive(Debug, Clone)]
pub(crate) struct OwnProgramme {
    pub id: ProgrammeId,
    pub title: String,
    /// The visitor's roles.
    pub roles: Vec<Role>,
    /// How many calls of a stand-down are in force.
    pub stand_downs: usize,
    /// The run that is open.
    pub open_run: Option<RunNumber>,
    /// How many records its ledger has.
    pub records: u64,
    /// Whether it goes on from a copy that nobody has acknowledged.
    pub is_copy: bool,
}

impl Visitor {
    /// What is around a page that belongs to no programme.
    pub fn around(&self, title: impl Into<String>) -> Around {
        Around { visitor: Some(self.clone()), ..Around::of_nobody(title, self.now) }
    }
}

impl<P> Member<P> {
    /// Looks at the programme as the page is asked for: as it stands, or as it stood at the past moment of its address. So no
    /// page shows the present under the words of the past.
    pub async fn look<T>(
        &self,
        office: &Office,
        look: impl FnOnce(View<'_>) -> Result<T, Problem>,
    ) -> Result<T, Problem> {
        office.look(&self.permitted, self.past.as_deref(), look).await
    }

    /// As [`Member::look`], with the holds of the whole ladder.
    pub async fn look_at_ladder<T>(
        &self,
        office: &Office,
        look: impl FnOnce(View<'_>, &Board) -> Result<T, Problem>,
    ) -> Result<T, Problem> {
        office.look_at_ladder(&self.permitted, self.past.as_deref(), look).await
    }

    /// What is around a page of the programme.
    pub fn around(&self, title: impl Into<String>, section: Section) -> Around {
        let programme = Some(self.programme.clone());
        let past = self.past.clone();
        Around { programme, section, past, ..self.visitor.around(title) }
    }

    /// Where a page of the programme is.
    pub fn place(&self, rest: &str) -> String {
        format!("/programmes/{}{rest}", self.programme.id)
    }

    /// Whether the visitor's roles allow an act.
    pub fn may(&self, act: Act) -> bool {
        act.is_allowed_to(&self.programme.roles)
    }
}

/// Whether the browser speaks to us under TLS, or to a proxy of ours that does.
pub(super) fn is_secure(request: &HttpRequest, office: &Office) -> bool {
    request.app_config().secure() || proxied_over_tls(request, office.settings.behind_proxy)
}

/// The authority under which the browser reached us.
pub(super) fn host(request: &HttpRequest, office: &Office) -> String {
    authority(request, office.settings.behind_proxy)
}

/// The cookie's name. With TLS the browser itself keeps to it that no other host, path or plain connection can set it. Over
/// plain HTTP browsers do not take a `__Host-` cookie (RFC 6265bis asks for `Secure`), and they do not tell ports apart: so
/// that two services on one machine do not sign each other's people out, the port is in the name.
fn cookie_name(request: &HttpRequest, office: &Office) -> String {
    if is_secure(request, office) {
        return "__Host-rungbook".to_owned();
    }
    let host = host(request, office);
    let port = host.rsplit_once(':').map_or("80", |(_, port)| port);
    let digits: String = port.chars().filter(char::is_ascii_digit).collect();
    format!("rungbook-{digits}")
}

/// The cookie of a session that lasts until a moment.
pub(super) fn cookie(
    request: &HttpRequest,
    office: &Office,
    token: String,
    lasts_s: i64,
) -> Cookie<'static> {
    Cookie::build(cookie_name(request, office), token)
        .path("/")
        .http_only(true)
        .same_site(SameSite::Strict)
        .secure(is_secure(request, office))
        .max_age(Duration::seconds(lasts_s))
        .finish()
}

fn signed_out() -> Problem {
    Problem::new(NOT_SIGNED_IN, "You have been signed out. Sign in again.")
}

fn bearer(request: &HttpRequest, office: &Office) -> Result<Bearer, Problem> {
    let not_signed_in = || Problem::new(NOT_SIGNED_IN, "Sign in first.");
    let cookie = request.cookie(&cookie_name(request, office)).ok_or_else(not_signed_in)?;
    office.tokens.verify_for_pages(cookie.value(), office.now()).map_err(|_| signed_out())
}

/// By what whoever looks at a page is signed in, for what goes on after the request was let in.
pub(super) fn pass(request: &HttpRequest, office: &Office) -> Result<Pass, Problem> {
    Ok(bearer(request, office)?.into())
}

/// The session that the request's cookie names, if it stands.
pub(super) fn visitor(request: &HttpRequest, office: &Office) -> Result<Visitor, Problem> {
    let now = office.now();
    let bearer = bearer(request, office)?;
    let session = office.store.signed_in(&bearer.handle, bearer.session, bearer.issued_at);
    let known = session.map_err(|_| signed_out())?;
    Ok(Visitor {
        form_token: office.tokens.form_token(bearer.session)?,
        handle: bearer.handle,
        name: known.name,
        session: bearer.session,
        now,
    })
}

/// The programme that the path names, as the visitor sees it; absent where they take no part in it.
pub(super) fn own_programme(
    request: &HttpRequest,
    office: &Office,
    visitor: &Visitor,
) -> Option<OwnProgramme> {
    let id = ProgrammeId::new(request.match_info().get("programme")?).ok()?;
    let is_copy = office.store.copy_of(&id).is_some();
    office
        .store
        .read(&id, |state, head| {
            let roles = state.roles(&visitor.handle).to_vec();
            (!roles.is_empty()).then(|| OwnProgramme {
                id: id.clone(),
                title: state.title.clone(),
                roles,
                stand_downs: state.stand_downs.iter().filter(|it| it.lifted.is_none()).count(),
                open_run: state.open_run().map(|run| run.number),
                records: head.size,
                is_copy,
            })
        })
        .flatten()
}

/// The past moment that an address asks for. A form is never sent to the past.
fn past_of(request: &HttpRequest) -> Option<String> {
    let reads = request.method() == Method::GET || request.method() == Method::HEAD;
    let given = actix_web::web::Query::<Vec<(String, String)>>::from_query(request.query_string());
    let given = given.ok().filter(|_| reads)?.into_inner();
    given.into_iter().find(|(name, text)| name == "as_of" && !text.is_empty()).map(|(_, text)| text)
}

impl FromRequest for Visitor {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(office_of(request).and_then(|office| visitor(request, office)))
    }
}

impl<P: Permission> FromRequest for Member<P> {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let member = || {
            let office = office_of(request)?;
            let visitor = visitor(request, office)?;
            let permitted = permitted_to::<P>(request, office, visitor.handle.clone())?;
            let programme = own_programme(request, office, &visitor)
                .ok_or_else(|| Problem::unknown("programme", &permitted.programme))?;
            let past = past_of(request);
            Ok(Self { permitted, visitor, programme, past })
        };
        ready(member())
    }
}
