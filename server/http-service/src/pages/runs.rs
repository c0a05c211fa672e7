//! The runs, and opening one.

use actix_web::http::StatusCode;
use chrono::{DateTime, Utc};
use maud::{Markup, html};
use programme::board::Board;
use programme::codes::{PersonHandle, PointCode, RunNumber};
use programme::nouns::{Phase, Role};
use programme::people::Act;
use programme::record::RunKind;

use super::around::Section;
use super::door::Member;
use super::form::{Draft, Form, Trouble, recorded_anew};
use super::words::{counted, moment, phase};
use crate::access::{ConductRuns, Permission, Read};
use crate::api;
use crate::api::runs::RunRow;
use crate::desk::{Answer, View};
use crate::office::Office;

/// A run in the list.
#[derive(Debug, Clone)]
pub(crate) struct RunLine {
    pub run: RunNumber,
    pub kind: RunKind,
    pub points: Vec<PointCode>,
    pub opened_at: DateTime<Utc>,
    pub open: bool,
    pub knocked_off: bool,
    pub powered_minutes: Option<u32>,
    pub landings: usize,
}

/// A point that nothing holds.
#[derive(Debug, Clone)]
pub(crate) struct Choice {
    pub code: PointCode,
    pub title: String,
    pub phase: Phase,
    /// Who is needed.
    pub seats: String,
}

/// Somebody who can be in a crew.
#[derive(Debug, Clone)]
pub(crate) struct Mate {
    pub handle: PersonHandle,
    pub name: String,
    pub roles: Vec<Role>,
}

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct RunsPage {
    pub place: String,
    pub token: String,
    pub may_open: bool,
    /// The run that is open: one at a time.
    pub open: Option<RunNumber>,
    pub choices: Vec<Choice>,
    pub mates: Vec<Mate>,
    /// Newest first.
    pub runs: Vec<RunLine>,
    pub trouble: Option<Trouble>,
}

impl RunsPage {
    fn of<P>(member: &Member<P>, view: View<'_>, board: &Board, trouble: Option<Trouble>) -> Self {
        let View { state, now } = view;
        let seats = |seat: &programme::nouns::CrewSeat| {
            let place = if seat.on_board { "on board" } else { "on the ground" };
            format!("{} × {} {place}", seat.count, seat.role.in_words())
        };
        let choices = board.next(state, now).unheld.into_iter().filter_map(|code| {
            let point = &state.rung(&code)?.point;
            Some(Choice {
                title: point.title.clone(),
                phase: point.phase,
                seats: point.crew.iter().map(seats).collect::<Vec<_>>().join(", "),
                code,
            })
        });
        let mates = state.people.values().filter_map(|person| {
            let roles: Vec<_> =
                person.roles.iter().copied().filter(|role| *role != Role::Viewer).collect();
            let mate = Mate { handle: person.handle.clone(), name: person.name.clone(), roles };
            (!mate.roles.is_empty()).then_some(mate)
        });
        let runs = state.runs.iter().rev().map(RunRow::from).map(|row| RunLine {
            run: row.run,
            kind: row.kind,
            points: row.points.to_vec(),
            opened_at: row.opened_at,
            open: row.open,
            knocked_off: row.knocked_off,
            powered_minutes: row.powered_minutes,
            landings: row.landings,
        });
        Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            may_open: member.may(Act::ConductRuns),
            open: state.open_run().map(|run| run.number),
            choices: choices.collect(),
            mates: mates.collect(),
            runs: runs.collect(),
            trouble,
        }
    }

    fn body(&self) -> Markup {
        html! {
            h1 { "Runs" }
            section {
                h2 #open { "Open a run" }
                @match self.open {
                    Some(run) => { p { a.button href={ (self.place) "/runs/" (run) } { "Run " (run) " is open" } } p { "There is one run at a time." } }
                    None => { (self.opening()) }
                }
            }
            section {
                h2 { "All runs" }
                @if self.runs.is_empty() { p { "No run yet." } }
                ul.runs { @for run in &self.runs { li { (self.line(run)) } } }
            }
        }
    }

    fn line(&self, run: &RunLine) -> Markup {
        html! {
            a href={ (self.place) "/runs/" (run.run) } { strong { "Run " (run.run) } ", " (run.kind.in_words()) }
            @if run.open { " " strong { "open" } }
            @if run.knocked_off { " " strong { "knocked off" } }
            p.source {
                (moment(run.opened_at)) " · "
                @for (place, code) in run.points.iter().enumerate() { @if place > 0 { ", " } (code) }
                " · "
                @match run.powered_minutes {
                    Some(minutes) => { (minutes) " min under power" }
                    None => { "times not complete" }
                }
                @if run.kind == RunKind::Flight { " · " (counted(run.landings, "landing", "landings")) }
            }
        }
    }

    fn opening(&self) -> Markup {
        let to = format!("{}/runs", self.place);
        let draft = Draft::new("open", &to, &self.token, self.trouble.as_ref());
        html! {
            @if !self.may_open {
                p { "Your roles may not open one: that is for " (Act::ConductRuns.allowed_in_words()) "." }
            } @else if self.choices.is_empty() && self.trouble.is_none() {
                p { "No point can be run now. " a href={ (self.place) "#next" } { "What can be done next" } }
            } @else {
                (draft.form(html! {
                    fieldset {
                        legend { "Points, all of one phase" }
                        (draft.hidden("points:list", ""))
                        @for choice in &self.choices {
                            (draft.tick("points[]", choice.code.as_str(), html! {
                                strong { (choice.code) } " " (choice.title)
                                span.source { " " (phase(choice.phase)) @if !choice.seats.is_empty() { " · needs " (choice.seats) } }
                            }, self.choices.len() == 1))
                        }
                    }
                    fieldset.crew {
                        legend { "Crew" }
                        (draft.hidden("crew:list", ""))
                        @for mate in &self.mates { (mate.row(&draft)) }
                    }
                    (draft.send("Open the run"))
                }))
            }
        }
    }

    #[cfg(test)]
    #[allow(clippy::unwrap_used)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use super::tests::{codes, long};
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            may_open: true,
            open: None,
            choices: codes(many)
                .into_iter()
                .map(|code| Choice {
                    code,
                    title: long("Taxi at 28 kt", many),
                    phase: Phase::Taxi,
                    seats: "1 × test pilot on board".to_owned(),
                })
                .collect(),
            mates: codes(many)
                .into_iter()
                .map(|code| Mate {
                    handle: PersonHandle::new(code.as_str()).unwrap(),
                    name: long("Jonas", many),
                    roles: Role::ALL.to_vec(),
                })
                .collect(),
            runs: (1..=many as u32)
                .map(|run| RunLine {
                    run: RunNumber(run),
                    kind: RunKind::Flight,
                    points: codes(many),
                    opened_at: DateTime::UNIX_EPOCH,
                    open: false,
                    knocked_off: true,
                    powered_minutes: (run > 1).then_some(run),
                    landings: 1,
                })
                .collect(),
            trouble: None,
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}

impl Mate {
    /// Whether and as what somebody is in the crew.
    fn row(&self, draft: &Draft<'_>) -> Markup {
        let choice = |role: &Role, on_board: bool| {
            let place = if on_board { "on board" } else { "on the ground" };
            let member =
                serde_json::json!({ "person": self.handle, "role": role, "on_board": on_board });
            (member.to_string(), format!("{} {place}", role.in_words()))
        };
        let mut choices = vec![(String::new(), "not in this run".to_owned())];
        choices
            .extend(self.roles.iter().flat_map(|role| [choice(role, false), choice(role, true)]));
        draft.choice_of_list("crew[]:chosen?", self.handle.as_str(), &self.name, &choices)
    }
}

/// The page.
pub(crate) async fn show(member: Member<Read>, office: Office) -> Answer {
    page(&office, &member, None).await
}

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page = member
        .look_at_ladder(office, |view, board| Ok(RunsPage::of(member, view, board, trouble)))
        .await?;
    Ok(member.around("Runs", Section::Runs).live().reply(status, page.body()))
}

/// Opens a run.
pub(crate) async fn open(member: Member<ConductRuns>, form: Form, office: Office) -> Answer {
    let acted =
        async { api::runs::open(member.permitted.clone(), form.given()?, office.clone()).await }
            .await;
    match recorded_anew(acted, &member.place("/runs"), "run").await {
        Ok(reply) => Ok(reply),
        Err(problem) => page(&office, &member, Some(form.trouble(problem))).await,
    }
}
