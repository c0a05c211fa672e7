//! The form by which a person is listed with roles and qualifications, and what it does.

use chrono::{DateTime, Timelike, Utc};
use maud::{Markup, html};
use programme::codes::PersonHandle;
use programme::nouns::Role;
use serde::Deserialize;

use super::{Listed, page};
use crate::access::ListPeople;
use crate::api::people as api;
use crate::desk::Answer;
use crate::given::At;
use crate::office::Office;
use crate::pages::door::Member;
use crate::pages::form::{Draft, Form, settled};
use crate::pages::words::for_field;
use crate::problem::{INVALID, Problem};

/// Empty lines for more qualifications.
const MORE: usize = 2;
/// Lines of a form at most; the document of a programme can list more.
const MOST: usize = 100;

/// What the form shows of somebody who is listed already, or of nobody.
pub(super) struct Listing<'a> {
    pub person: Option<&'a Listed>,
    pub known: &'a [String],
}

/// An end as a field for a time takes it; with its seconds where it has some, so that listing anew changes nothing.
fn end(at: DateTime<Utc>) -> String {
    if at.second() == 0 { for_field(at) } else { at.format("%Y-%m-%dT%H:%M:%S").to_string() }
}

impl Listing<'_> {
    pub fn form(&self, draft: &Draft<'_>) -> Markup {
        let (name, roles) = self.person.map_or(("", &[][..]), |it| (it.name.as_str(), &it.roles));
        let held = self.person.map_or(&[][..], |it| &it.qualifications);
        let lines = held.iter().map(Some).chain(std::iter::repeat_n(None, MORE)).enumerate();
        draft.form(html! {
            @match self.person {
                Some(person) => { (draft.hidden("handle", &person.handle)) (draft.hidden("form.revision", person.revision)) }
                None => { (draft.line("handle", "Handle", "The name with which they sign in, such as ines. Whoever runs the service makes the account.", "")) }
            }
            (draft.line("name", "Name", "", name))
            fieldset {
                legend { "Roles" }
                p.hint { "Without any role they have left, and their history stays. An inspector has no other role. The safety officer's role is given and taken by a safety officer, and nobody changes their own." }
                (draft.hidden("roles:list", ""))
                @for role in Role::ALL { (draft.tick("roles[]", role.as_str(), html! { (role.in_words()) }, roles.contains(&role))) }
            }
            fieldset {
                legend { "Qualifications and medicals" }
                p.hint {
                    "A line left empty goes. Without an end it is good for ever."
                    @if !self.known.is_empty() { " Known here: " (self.known.join(", ")) "." }
                }
                (draft.hidden("qualifications:list", ""))
                @for (place, line) in lines {
                    @let (code, ends) = line.map_or(("", String::new()), |(code, ends, _)| (code.as_str(), ends.map(end).unwrap_or_default()));
                    (draft.line(&format!("qualifications[{place}].code?"), &format!("Qualification {}", place + 1), "", code))
                    (draft.moment(&format!("qualifications[{place}].expires:moment?"), &format!("Qualification {} is good until", place + 1), "", &ends))
                }
            }
            (draft.send(if self.person.is_some() { "List them so from now on" } else { "List them" }))
        })
    }
}

/// The person that a form is about.
#[derive(Debug, Deserialize)]
struct Named {
    handle: PersonHandle,
}

fn handle_of(form: &Form) -> Result<PersonHandle, Problem> {
    let Named { handle } = form.only(&["handle"]).given()?.body;
    Ok(handle)
}

/// A line that has an end and no qualification.
fn end_without_qualification(form: &Form) -> Option<usize> {
    let text = |place: usize, field: &str| form.text(&format!("qualifications[{place}].{field}"));
    (0..MOST).find(|place| {
        text(*place, "code?").trim().is_empty() && !text(*place, "expires:moment?").is_empty()
    })
}

/// Lists somebody, or lists them anew where the person saw how they were listed.
pub(crate) async fn list(member: Member<ListPeople>, form: Form, office: Office) -> Answer {
    let (person, seen) = (member.permitted.clone(), form.revision());
    // An empty line between filled ones is no place of the list.
    let (form, filled) = form.filled_first("qualifications", "code?");
    let acted = async {
        if let Some(place) = end_without_qualification(&form) {
            let why = "Name the qualification that ends then, or take its end away.";
            return Err(Problem::of_field(INVALID, format!("qualifications[{place}].code"), why));
        }
        let handle = handle_of(&filled)?;
        api::list_person(person, At(handle), seen, filled.given()?, office.clone()).await
    }
    .await;
    settled(acted, form, &member.place("/people"), async |trouble| {
        page(&office, &member, None, Some(trouble)).await
    })
    .await
}
