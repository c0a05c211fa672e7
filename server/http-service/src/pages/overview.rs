//! The programme: how far it is, what can be done next, and what holds the rest.

use actix_web::http::StatusCode;
use maud::{Markup, html};
use programme::board::Board;
use programme::codes::PointCode;
use programme::holds::{Hold, Stage};
use programme::nouns::Phase;

use super::around::Section;
use super::door::Member;
use super::words::{counted, phase, state_word};
use crate::access::Read;
use crate::api::next::next_view;
use crate::api::points::{PointRow, PointState};
use crate::api::programmes::programme_view;
use crate::desk::{Answer, View};
use crate::office::Office;

/// A point in a list.
#[derive(Debug, Clone)]
pub(crate) struct PointLine {
    pub code: PointCode,
    pub title: String,
    pub state: PointState,
    pub holds: Vec<Hold>,
}

impl PointLine {
    pub fn of(row: &PointRow<'_>, holds: Vec<Hold>) -> Self {
        Self { code: row.code.clone(), title: row.title.to_owned(), state: row.state, holds }
    }

    pub fn line(&self, programme: &str) -> Markup {
        html! {
            a href={ (programme) "/points/" (self.code) } { strong { (self.code) } " " (self.title) }
            " " (state_word(self.state))
        }
    }
}

/// One phase, and how much of it is shown.
#[derive(Debug, Clone, Copy)]
pub(crate) struct PhaseLine {
    pub phase: Phase,
    pub accepted: usize,
    pub planned: usize,
}

/// A hold that alone keeps points held.
#[derive(Debug, Clone)]
pub(crate) struct WouldOpen {
    pub hold: Option<Hold>,
    pub rule: &'static str,
    pub stage: Stage,
    pub points: Vec<PointCode>,
}

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct ProgrammePage {
    /// Where the programme is.
    pub place: String,
    pub title: String,
    pub phases: Vec<PhaseLine>,
    pub powered_minutes: u32,
    pub runs: usize,
    pub open_snags: usize,
    pub open_exceedances: usize,
    pub ready: Vec<PointLine>,
    pub held_for_run: Vec<PointLine>,
    pub would_open: Vec<WouldOpen>,
}

impl ProgrammePage {
    fn of(
        place: String,
        id: &programme::codes::ProgrammeId,
        view: View<'_>,
        board: &Board,
    ) -> Self {
        let programme = programme_view(id, view);
        let next = next_view(view, board);
        let planned = || view.state.ladder.rungs().iter().filter(|rung| rung.dropped.is_none());
        let of_phase = |phase| {
            let points = planned().filter(|rung| rung.point.phase == phase);
            let accepted = |rung: &&_| view.state.accepted_result_of(rung).is_some();
            PhaseLine {
                phase,
                accepted: points.clone().filter(accepted).count(),
                planned: points.count(),
            }
        };
        Self {
            place,
            title: programme.title.to_owned(),
            phases: Phase::ALL.map(of_phase).to_vec(),
            powered_minutes: programme.counts.powered_minutes,
            runs: programme.counts.runs,
            open_snags: programme.counts.open_snags,
            open_exceedances: programme.counts.open_exceedances,
            ready: next.ready_to_run.iter().map(|row| PointLine::of(row, Vec::new())).collect(),
            held_for_run: next
                .held_for_run
                .into_iter()
                .map(|held| PointLine::of(&held.point, held.holds))
                .collect(),
            would_open: next
                .would_open
                .into_iter()
                .map(|group| WouldOpen {
                    hold: group.hold,
                    rule: group.rule,
                    stage: group.stage,
                    points: group.points,
                })
                .collect(),
        }
    }

    /// Points that are not accepted yet, up to and with a phase.
    fn left_up_to(&self, last: Phase) -> usize {
        let phases = self.phases.iter().filter(|line| line.phase <= last);
        phases.map(|line| line.planned - line.accepted).sum()
    }

    fn body(&self) -> Markup {
        html! {
            h1 { (self.title) }
            (self.how_far())
            section {
                h2 #next { "What can be done next" }
                (self.next())
            }
            @if !self.is_unplanned() {
                section {
                    h2 #would-open { "What holds the rest" }
                    p { "Each of these alone keeps points held. What would open most comes first." }
                    (self.holding())
                }
            }
        }
    }

    fn is_unplanned(&self) -> bool {
        self.phases.iter().all(|line| line.planned == 0)
    }

    fn how_far(&self) -> Markup {
        let before_flight = self.left_up_to(Phase::Taxi);
        html! {
            @if self.is_unplanned() {
                p.lead { "No point is planned yet. " }
                p { "A document with points, limits, hazards and people is imported by whoever runs the server (" code { "rungbook import" } "), or point by point over the API. What each page needs, it says itself." }
            } @else { p.lead {
                @if before_flight == 0 {
                    "Every point before the first flight is accepted. "
                } @else {
                    (counted(before_flight, "point", "points")) " to be accepted before the first flight. "
                }
                (counted(self.left_up_to(Phase::Envelope), "point", "points")) " to the full envelope."
            } }
            table.phases {
                caption { "Points accepted, by phase" }
                thead { tr { th scope="col" { "Phase" } th scope="col" { "Accepted" } th scope="col" { "Planned" } th scope="col" { span.for-ears { "Share" } } } }
                tbody {
                    @for line in &self.phases {
                        tr {
                            th scope="row" { a href={ (self.place) "/ladder#" (line.phase) } { (phase(line.phase)) } }
                            td { (line.accepted) }
                            td { (line.planned) }
                            td.share { meter min="0" max=(line.planned.max(1)) value=(line.accepted) { (line.accepted) " of " (line.planned) } }
                        }
                    }
                }
            }
            p {
                (counted(self.runs, "run", "runs")) ", " (self.powered_minutes / 60) " h " (self.powered_minutes % 60) " min under power; "
                (counted(self.open_snags, "open snag", "open snags")) ", " (counted(self.open_exceedances, "open exceedance", "open exceedances")) "."
            }
        }
    }

    fn next(&self) -> Markup {
        html! {
            @if self.ready.is_empty() && self.held_for_run.is_empty() {
                @if self.is_unplanned() { p { "Nothing, until a point is planned." } }
                @else { p { "No point can be released or run now. What holds them stands below." } }
            }
            @if !self.ready.is_empty() {
                h3 { "All stated conditions are met" }
                ul.points { @for point in &self.ready { li { (point.line(&self.place)) } } }
                p { a.button href={ (self.place) "/runs#open" } { "Open a run" } }
            }
            @if !self.held_for_run.is_empty() {
                h3 { "Can be released, and waits for this before it can run" }
                ul.points {
                    @for point in &self.held_for_run {
                        li {
                            (point.line(&self.place))
                            ul.short { @for hold in &point.holds { li { (hold.why) } } }
                        }
                    }
                }
            }
        }
    }

    fn holding(&self) -> Markup {
        html! {
            @if self.would_open.is_empty() { p { "Nothing alone does: every held point has more than one hold." } }
            ol.groups {
                @for group in &self.would_open {
                    li {
                        p.why {
                            @match &group.hold {
                                Some(hold) => { (hold.why) }
                                None => { code { (group.rule) } }
                            }
                        }
                        @if let Some(hold) = &group.hold { p.clears { span.lead { "Clears it: " } (hold.clears) } }
                        p.opens {
                            "Then " (counted(group.points.len(), "point", "points")) " could be "
                            (match group.stage { Stage::Release => "released", Stage::Run => "run" }) ": "
                            @for (place, code) in group.points.iter().enumerate() {
                                @if place > 0 { ", " }
                                a href={ (self.place) "/points/" (code) } { (code) }
                            }
                            "."
                        }
                    }
                }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use super::tests::{codes, holds, long};
        let line = |code: PointCode, many| PointLine {
            code,
            title: long("Taxi at 28 kt", many),
            state: PointState::Ready,
            holds: holds(many),
        };
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            title: long("Electric glider tug", many),
            phases: Phase::ALL
                .map(|phase| PhaseLine { phase, accepted: many / 2, planned: many })
                .to_vec(),
            powered_minutes: 61 * many as u32,
            runs: many,
            open_snags: many,
            open_exceedances: many,
            ready: codes(many / 3).into_iter().map(|code| line(code, 0)).collect(),
            held_for_run: codes(many).into_iter().map(|code| line(code, many)).collect(),
            would_open: holds(many)
                .into_iter()
                .map(|hold| WouldOpen {
                    rule: hold.rule,
                    stage: hold.stage,
                    hold: Some(hold),
                    points: codes(many),
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

/// The page.
pub(crate) async fn show(member: Member<Read>, office: Office) -> Answer {
    let page = member
        .look_at_ladder(&office, |view, board| {
            Ok(ProgrammePage::of(member.place(""), &member.programme.id, view, board))
        })
        .await?;
    let around = member.around(member.programme.title.clone(), Section::Programme).live();
    Ok(around.reply(StatusCode::OK, page.body()))
}

#[cfg(test)]
mod tests {
    use super::ProgrammePage;

    #[test]
    fn a_programme_without_points_is_not_told_to_have_every_point_accepted() {
        for (of, page) in ProgrammePage::samples() {
            let page = page.into_string();
            assert_eq!(page.contains("No point is planned yet"), of == "empty", "{of}");
            assert!(!page.contains("Every point before the first flight is accepted"), "{of}");
        }
    }
}
