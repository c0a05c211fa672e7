//! Who asks, and whether they may: the first parameter of every handler, so that it cannot be forgotten.

use std::future::{Ready, ready};
use std::marker::PhantomData;

use actix_web::dev::Payload;
use actix_web::http::header::{AUTHORIZATION, HeaderMap};
use actix_web::{FromRequest, HttpRequest};
use programme::codes::{PersonHandle, ProgrammeId};
use programme::commands::Stamp;
use programme::people::Act;
use uuid::Uuid;

use crate::live::Pass;
use crate::office::{Office, office_of};
use crate::problem::{FAULT, NOT_ADMINISTRATOR, NOT_PERMITTED, NOT_SIGNED_IN, Problem};
use crate::routes::Facts;
use crate::token::{Bearer, Verified};

/// Who may use a route.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Who {
    /// Anybody, also without signing in.
    Anyone,
    /// Anybody who is signed in.
    SignedIn,
    /// Administrators of the server.
    Administrator,
    /// People of the programme whose roles allow the act.
    To(Act),
}

/// A first parameter of handlers.
pub(crate) trait Access: FromRequest {
    const WHO: Who;
}

/// An act as a type, so that a handler's signature says what it takes.
pub trait Permission: 'static {
    /// The act.
    const ACT: Act;
}

macro_rules! permissions {
    ($($name:ident),+ $(,)?) => {
        $(
            /// The act of this name.
            #[derive(Debug, Clone, Copy)]
            #[allow(dead_code, reason = "an act has its type also before a route asks for it")]
            pub struct $name;
            impl Permission for $name {
                const ACT: Act = Act::$name;
            }
        )+

        #[cfg(test)]
        pub(crate) const PERMISSIONS: &[Act] = &[$(Act::$name),+];
    };
}

permissions!(
    Read,
    Plan,
    DescribeAircraft,
    SetPolicy,
    ListPeople,
    Configure,
    DefineChannels,
    DescribeRecorders,
    ProposeLimit,
    AgreeLimit,
    DefineChecks,
    DoChecks,
    RecordHazards,
    AcceptRisk,
    FileDocuments,
    ProposeDeviation,
    AgreeDeviation,
    EndDeviation,
    ConductRuns,
    KnockOff,
    CorrectTimes,
    RecordResults,
    NoteExceedances,
    ExplainExceedances,
    CloseExceedances,
    TakeRecordings,
    AttachRecordings,
    ConfirmClocks,
    TakeIntervals,
    MakeReductions,
    ReviewModels,
    JudgeDamping,
    NarrowRepeats,
    Forecast,
    PlanDays,
    NoteLostDays,
    OpenSnags,
    WorkSnags,
    CloseSnags,
    ObserveWeather,
    ReportEvents,
    CallStandDown,
    LiftStandDown,
    AcknowledgeCopy,
    CompareClock,
);

/// Anybody at all.
#[derive(Debug)]
pub(crate) struct Anyone;

/// Somebody who is signed in.
#[derive(Debug, Clone)]
pub(crate) struct SignedIn {
    pub handle: PersonHandle,
    pub session: Uuid,
    pub name: String,
    pub administrator: bool,
    pub has_pin: bool,
}

/// Somebody who manages accounts and begins programmes.
#[derive(Debug, Clone)]
pub(crate) struct Administrator {
    pub handle: PersonHandle,
}

/// A person of a programme whose roles allow an act.
#[derive(Debug, Clone)]
pub(crate) struct Permitted<P> {
    pub person: PersonHandle,
    pub programme: ProgrammeId,
    act: PhantomData<P>,
}

impl<P> Permitted<P> {
    /// A person for whom the program itself acts. The command asks once more whether they may.
    pub fn for_person(person: PersonHandle, programme: ProgrammeId) -> Self {
        Self { person, programme, act: PhantomData }
    }

    /// The person, as commands want to know it.
    pub fn stamp(&self, now: chrono::DateTime<chrono::Utc>) -> Stamp {
        Stamp { by: self.person.clone(), now }
    }
}

impl Access for Anyone {
    const WHO: Who = Who::Anyone;
}
impl Access for SignedIn {
    const WHO: Who = Who::SignedIn;
}
impl Access for Administrator {
    const WHO: Who = Who::Administrator;
}
impl<P: Permission> Access for Permitted<P> {
    const WHO: Who = Who::To(P::ACT);
}

/// Handlers' parameters that begin with `P`: by it the table of routes and the handlers cannot disagree on who may.
pub(crate) trait BeginsWith<P> {}

macro_rules! begins_with {
    ($($rest:ident)*) => {
        impl<P, $($rest),*> BeginsWith<P> for (P, $($rest,)*) {}
    };
}
begins_with!();
begins_with!(B);
begins_with!(B C);
begins_with!(B C D);
begins_with!(B C D E);
begins_with!(B C D E F);
begins_with!(B C D E F G);

fn bearer_token(headers: &HeaderMap) -> Result<&str, Problem> {
    let not_signed_in = || {
        Problem::unauthenticated(
            NOT_SIGNED_IN,
            "Sign in with POST /api/v1/sessions and send the access token as \"Authorization: Bearer …\".",
        )
    };
    let mut given = headers.get_all(AUTHORIZATION);
    let (Some(value), None) = (given.next(), given.next()) else {
        return Err(not_signed_in());
    };
    let text = value.to_str().map_err(|_| not_signed_in())?;
    let (scheme, token) = text.split_once(' ').ok_or_else(not_signed_in)?;
    if scheme.eq_ignore_ascii_case("bearer") { Ok(token) } else { Err(not_signed_in()) }
}

fn bearer(request: &HttpRequest, office: &Office) -> Result<Bearer, Problem> {
    let token = bearer_token(request.headers())?;
    let now = office.now();
    match request.app_data::<Verified>() {
        Some(verified) => verified.verify(&office.tokens, token, now),
        None => office.tokens.verify(token, now),
    }
}

/// By what whoever asks is signed in, for what goes on after the request was let in.
pub(crate) fn pass(request: &HttpRequest, office: &Office) -> Result<Pass, Problem> {
    Ok(bearer(request, office)?.into())
}

fn signed_in(request: &HttpRequest, office: &Office) -> Result<SignedIn, Problem> {
    let bearer = bearer(request, office)?;
    let known = office.store.signed_in(&bearer.handle, bearer.session, bearer.issued_at)?;
    Ok(SignedIn {
        handle: bearer.handle,
        session: bearer.session,
        name: known.name,
        administrator: known.administrator,
        has_pin: known.has_pin,
    })
}

fn permitted<P: Permission>(
    request: &HttpRequest,
    office: &Office,
) -> Result<Permitted<P>, Problem> {
    let signed_in = signed_in(request, office)?;
    permitted_to(request, office, signed_in.handle)
}

/// A person who is signed in, in the programme that the path names, if their roles allow the act there.
pub(crate) fn permitted_to<P: Permission>(
    request: &HttpRequest,
    office: &Office,
    person: PersonHandle,
) -> Result<Permitted<P>, Problem> {
    let name = request.match_info().get("programme").ok_or_else(|| {
        Problem::new(FAULT, "The route names no programme. Tell whoever runs the server.")
    })?;
    // A programme in which somebody has no role is to them as if it were not there.
    let hidden = || Problem::unknown("programme", name);
    let programme = ProgrammeId::new(name).map_err(|_| hidden())?;
    let allowed = office
        .store
        .read(&programme, |state, _| {
            let roles = state.roles(&person);
            (!roles.is_empty()).then(|| P::ACT.is_allowed_to(roles))
        })
        .flatten()
        .ok_or_else(hidden)?;
    if !allowed {
        return Err(Problem::new(
            NOT_PERMITTED,
            format!(
                "You may not {}: that is for {}.",
                P::ACT.in_words(),
                P::ACT.allowed_in_words()
            ),
        )
        .allowed_to(P::ACT.allowed()));
    }
    Ok(Permitted { person, programme, act: PhantomData })
}

/// Makes each of the first parameters an extractor. All look first whether the query string can be understood, after
/// they know who asks.
macro_rules! extracted {
    (<$($generics:ident: $bound:ident)?> $name:ty, |$request:ident, $office:ident| $extract:expr) => {
        impl<$($generics: $bound)?> FromRequest for $name {
            type Error = Problem;
            type Future = Ready<Result<Self, Problem>>;

            fn from_request($request: &HttpRequest, _: &mut Payload) -> Self::Future {
                let extract = || -> Result<Self, Problem> {
                    let $office = office_of($request)?;
                    let extracted = $extract?;
                    Facts::check_query($request)?;
                    Ok(extracted)
                };
                ready(extract())
            }
        }
    };
}

extracted!(<> Anyone, |request, _office| Ok::<_, Problem>(Anyone));
extracted!(<> SignedIn, |request, office| signed_in(request, office));
extracted!(<> Administrator, |request, office| {
    let person = signed_in(request, office)?;
    if !person.administrator {
        return Err(Problem::new(
            NOT_ADMINISTRATOR,
            "Only an administrator of the server may do that. Ask one.",
        ));
    }
    Ok::<_, Problem>(Administrator { handle: person.handle })
});
extracted!(<P: Permission> Permitted<P>, |request, office| permitted::<P>(request, office));

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_act_can_be_asked_for_but_the_parts_that_people_sign_which_are_told_apart_by_the_body()
    {
        let signed_by_part = [
            Act::ApprovePlans,
            Act::ReleasePoints,
            Act::AcknowledgeCards,
            Act::AcceptAsEngineer,
            Act::AcceptAsSafety,
        ];
        for act in Act::ALL {
            assert_eq!(PERMISSIONS.contains(act), !signed_by_part.contains(act), "{act:?}");
        }
    }
}
