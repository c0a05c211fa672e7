//! The people of the programme: roles, qualifications and when they end, and who may sign what.

mod listing;

use std::collections::BTreeSet;

use actix_web::http::StatusCode;
use chrono::{DateTime, Utc};
use maud::{Markup, html};
use programme::nouns::Role;
use programme::people::Act;
use programme::state::Amendable;

use listing::Listing;
pub(crate) use listing::list;

use super::around::Section;
use super::door::Member;
use super::form::{Draft, Trouble};
use super::point::Recorded;
use super::words::{SOON, moment, roles};
use crate::access::{Permission, Read};
use crate::api::people::person_view;
use crate::desk::{Answer, View};
use crate::given::Query;
use crate::office::Office;

/// How a qualification stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Held {
    Good,
    EndsSoon,
    Over,
}

/// Somebody of the programme.
#[derive(Debug, Clone)]
pub(crate) struct Listed {
    handle: String,
    name: String,
    roles: Vec<Role>,
    qualifications: Vec<(String, Option<DateTime<Utc>>, Held)>,
    revision: u64,
}

/// What is signed, who may by role, and who that is.
#[derive(Debug, Clone)]
pub(crate) struct Signs {
    what: &'static str,
    roles: String,
    names: Vec<String>,
}

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct PeoplePage {
    to: String,
    token: String,
    may_list: bool,
    /// Qualifications that points ask for or that somebody has.
    known: Vec<String>,
    trouble: Option<Trouble>,
    /// Those who take part.
    here: Vec<Listed>,
    /// Those who have left.
    left: Vec<Listed>,
    signs: Vec<Signs>,
}

/// What is done with a signature, in the order of a step and then besides it.
const SIGNED: &[Act] = &[
    Act::ApprovePlans,
    Act::ReleasePoints,
    Act::AcknowledgeCards,
    Act::AcceptAsEngineer,
    Act::AcceptAsSafety,
    Act::AgreeLimit,
    Act::AcceptRisk,
    Act::AgreeDeviation,
    Act::CloseExceedances,
    Act::CloseSnags,
    Act::LiftStandDown,
];

impl PeoplePage {
    fn of<P>(member: &Member<P>, view: View<'_>, trouble: Option<Trouble>) -> Self {
        let listed = |person| {
            let person = person_view(view, person).person;
            let held = person.qualifications.iter().map(|it| {
                let soon = it.expires.is_some_and(|expires| expires - view.now <= SOON);
                let held = match (it.is_good(view.now), soon) {
                    (false, _) => Held::Over,
                    (true, true) => Held::EndsSoon,
                    (true, false) => Held::Good,
                };
                (it.code.to_string(), it.expires, held)
            });
            Listed {
                handle: person.handle.to_string(),
                name: person.name.clone(),
                roles: person.roles.clone(),
                qualifications: held.collect(),
                revision: view.state.revision(&Amendable::Person(person.handle.clone())),
            }
        };
        let people = view.state.people.values().map(listed);
        let (here, left): (Vec<_>, Vec<_>) = people.partition(|person| !person.roles.is_empty());
        let signs = SIGNED.iter().map(|act| Signs {
            what: act.in_words(),
            roles: act.allowed_in_words(),
            names: here
                .iter()
                .filter(|person| act.is_allowed_to(&person.roles))
                .map(|person| person.name.clone())
                .collect(),
        });
        let seats = view.state.ladder.rungs().iter().flat_map(|rung| &rung.point.crew);
        let asked = seats.flat_map(|seat| seat.qualifications.iter().map(ToString::to_string));
        let had =
            here.iter().flat_map(|it| it.qualifications.iter().map(|(code, ..)| code.clone()));
        let known: BTreeSet<String> = asked.chain(had).collect();
        Self {
            to: member.place("/people"),
            token: member.visitor.form_token.clone(),
            may_list: member.may(Act::ListPeople),
            known: known.into_iter().collect(),
            trouble,
            signs: signs.collect(),
            here,
            left,
        }
    }

    /// The form by which somebody is listed, or listed anew.
    fn listing<'a>(&'a self, person: Option<&'a Listed>) -> Markup {
        let name =
            person.map_or_else(|| "new".to_owned(), |person| format!("of-{}", person.handle));
        let draft = Draft::new(&name, &self.to, &self.token, self.trouble.as_ref());
        let refused = self.trouble.as_ref().is_some_and(|trouble| trouble.form == name);
        let listing = Listing { person, known: &self.known };
        html! {
            details open[refused] {
                summary { (if person.is_some() { "Other roles, other qualifications, or left" } else { "Somebody who joins" }) }
                (listing.form(&draft))
            }
        }
    }

    fn body(&self) -> Markup {
        html! {
            h1 { "People" }
            @if self.here.is_empty() { p { "Nobody takes part yet." } }
            ul.points { @for person in &self.here { li { (person.told()) @if self.may_list { (self.listing(Some(person))) } } } }
            section {
                h2 #new { "List somebody" }
                @if self.may_list { (self.listing(None)) }
                @else { p { "Listing people, their roles and their qualifications is for " (Act::ListPeople.allowed_in_words()) "." } }
            }
            section {
                h2 #signing { "Who may sign what" }
                p { "Each signs with their own PIN or password. Nobody signs two parts of the same step, and who planned, recorded or did the last work signs no part that judges it." }
                div.wide tabindex="0" role="region" aria-labelledby="signing" {
                    table.stack {
                        thead { tr { th scope="col" { "To" } th scope="col" { "is for" } th scope="col" { "That is" } } }
                        tbody {
                            @for it in &self.signs {
                                tr {
                                    th scope="row" { (it.what) }
                                    td data-is="is for" { (it.roles) }
                                    td data-is="That is" { @if it.names.is_empty() { strong { "nobody" } } @else { (it.names.join(", ")) } }
                                }
                            }
                        }
                    }
                }
                p.source { "Which level of risk needs which role besides stands in the programme's risk matrix." }
            }
            @if !self.left.is_empty() {
                section {
                    h2 #left { "Have left" }
                    ul.points { @for person in &self.left { li { (person.name) " " span.code { (person.handle) } @if self.may_list { (self.listing(Some(person))) } } } }
                }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use super::tests::long;
        let person = |number: usize, many: usize| Listed {
            handle: format!("jonas-{number}"),
            name: long("Jonas", many),
            roles: Role::ALL.to_vec(),
            qualifications: [Held::Good, Held::EndsSoon, Held::Over]
                .map(|held| ("medical".to_owned(), Some(DateTime::UNIX_EPOCH), held))
                .into_iter()
                .cycle()
                .take(many)
                .collect(),
            revision: 12,
        };
        let page = |many: usize| Self {
            to: "/programmes/tug/people".to_owned(),
            token: "0".repeat(64),
            may_list: many > 0,
            known: vec!["medical".to_owned(); many],
            trouble: None,
            here: (0..many).map(|number| person(number, many)).collect(),
            left: (many..many + many / 2).map(|number| person(number, many)).collect(),
            signs: SIGNED
                .iter()
                .map(|act| Signs {
                    what: act.in_words(),
                    roles: act.allowed_in_words(),
                    names: vec![long("Jonas", many); many],
                })
                .collect(),
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}

impl Listed {
    fn told(&self) -> Markup {
        html! {
            strong { (self.name) } " " span.code { (self.handle) } ", " (roles(&self.roles))
            @if self.qualifications.is_empty() { p.source { "No qualification is listed." } }
            @else {
                ul.plain.short {
                    @for (code, expires, held) in &self.qualifications {
                        li {
                            (code) ": "
                            @match (held, expires) {
                                (Held::Over, Some(at)) => { strong { "over" } " since " (moment(*at)) }
                                (Held::EndsSoon, Some(at)) => { strong { "ends soon" } ", " (moment(*at)) }
                                (Held::Good, Some(at)) => { "good until " (moment(*at)) }
                                (_, None) => "good, without end",
                            }
                        }
                    }
                }
            }
        }
    }
}

/// The page.
pub(crate) async fn show(
    member: Member<Read>,
    recorded: Query<Recorded>,
    office: Office,
) -> Answer {
    page(&office, &member, recorded.recorded, None).await
}

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    recorded: Option<u64>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page = member.look(office, |view| Ok(PeoplePage::of(member, view, trouble))).await?;
    Ok(member.around("People", Section::People).recorded(recorded).reply(status, page.body()))
}
