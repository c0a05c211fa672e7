//! People of a programme: what they do in it, and what they are qualified for.

use actix_web::HttpRequest;
use programme::codes::{PersonHandle, QualificationCode};
use programme::commands::ListPerson;
use programme::nouns::Person;
use programme::state::Amendable;
use serde::Serialize;

use crate::access::{ListPeople, Permitted, Read};
use crate::desk::{Answer, Outcome, Shown, View, Written};
use crate::entity_tag::{Amends, Precondition};
use crate::given::{At, Given, Query};
use crate::office::Office;
use crate::page::{OfMoment, Page, Paging, after, beyond};
use crate::problem::Problem;

/// A person of the programme, at the moment asked for.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = ListedPerson)]
pub struct PersonView<'a> {
    /// The person with roles and qualifications.
    pub person: &'a Person,
    /// Whether they take part; somebody without any role has left, and their history stays.
    pub takes_part: bool,
    /// Qualifications that are not good any more.
    pub expired: Vec<&'a QualificationCode>,
}

pub(crate) fn person_view<'a>(view: View<'a>, person: &'a Person) -> PersonView<'a> {
    let expired = person.qualifications.iter().filter(|held| !held.is_good(view.now));
    PersonView {
        person,
        takes_part: !person.roles.is_empty(),
        expired: expired.map(|held| &held.code).collect(),
    }
}

fn shown(view: View<'_>, handle: &PersonHandle) -> Result<Shown, Problem> {
    let known = view.state.people.get(handle);
    let person = known.ok_or_else(|| Problem::unknown("person", handle))?;
    let revision = view.state.revision(&Amendable::Person(handle.clone()));
    Shown::at_revision(revision, &person_view(view, person))
}

/// Everybody who takes part or did, by handle.
#[utoipa::path(
    get, path = "",
    params(Paging),
    responses((status = 200, description = "A page of people.", body = Page<PersonView>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<Paging>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<PersonHandle> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let rows = beyond(&view.state.people, after.as_ref())
                .map(|(handle, person)| (handle, person_view(view, person)));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// One person.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The person.", body = PersonView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    who: At<PersonHandle>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office.show(&person, past.as_of.as_deref(), &request, |view| shown(view, &who)).await
}

/// List a person with roles and qualifications, or list them anew. It acts at once; without any role they have left.
///
/// Nobody changes their own roles, the safety officer's role is given and taken by a safety officer, and a programme always
/// keeps a test lead and a safety officer. Somebody who is to sign in needs an account of that handle besides.
#[utoipa::path(
    put, path = "",
    request_body(
        content = Person,
        example = json!({
            "handle": "ines",
            "name": "Ines Calloway",
            "roles": ["pilot"],
            "qualifications": [
                { "code": "test-pilot" },
                { "code": "medical", "expires": "2027-03-31T00:00:00Z" },
            ],
        }),
    ),
    params(Amends),
    responses(
        (status = 200, description = "Listed anew.", body = Written<PersonView>),
        (status = 201, description = "Listed.", body = Written<PersonView>),
    ),
)]
pub(crate) async fn list_person(
    person: Permitted<ListPeople>,
    at: At<PersonHandle>,
    precondition: Precondition,
    given: Given<Person>,
    office: Office,
) -> Answer {
    at.names("handle", &given.body.handle)?;
    let handle = at.0;
    let place = format!("/api/v1/programmes/{}/people/{handle}", person.programme);
    let amends = (precondition, Amendable::Person(handle.clone()));
    let given = given.map(|person| ListPerson { person, expected: None });
    office
        .amend(&person, amends, given, move |view, _, was_there| {
            Ok(Outcome::put(was_there, place, shown(view, &handle)?))
        })
        .await
}
