//! The ladder: every point, what it waits for, and where it stands, as a picture and as a list.

mod picture;

use actix_web::http::StatusCode;
use maud::{Markup, html};
use programme::board::Board;
use programme::codes::PointCode;
use programme::nouns::Phase;
use serde::Deserialize;

use super::around::Section;
use super::door::Member;
use super::words::{STATES, phase, state_word, symbols};
use crate::access::Read;
use crate::api::points::{PointRow, PointState};
use crate::desk::{Answer, View};
use crate::given::Query;
use crate::office::Office;

/// A larger ladder is drawn for each who looks, so that what is kept of all programmes stays small.
const LARGEST_KEPT: usize = 256 * 1024;

/// A point of the ladder.
#[derive(Debug, Clone)]
pub(crate) struct Step {
    pub code: PointCode,
    pub title: String,
    pub phase: Phase,
    pub state: PointState,
    pub holds: usize,
    pub after: Vec<PointCode>,
}

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct LadderPage {
    pub place: String,
    /// Told as tables in place of pictures.
    pub as_list: bool,
    pub steps: Vec<Step>,
}

impl LadderPage {
    /// The page, with whether time alone changes nothing of it before the next whole second.
    fn of(place: String, as_list: bool, view: View<'_>, board: &Board) -> (Self, bool) {
        let rungs = view.state.ladder.rungs().iter().enumerate();
        let mut lasts = true;
        let steps = rungs.map(|(at, rung)| {
            let (reasons, these_last) = board.lasting_reasons(at, view.state, view.now);
            lasts &= these_last;
            let row = PointRow::of(view.state, rung, &reasons);
            Step {
                code: row.code.clone(),
                title: row.title.to_owned(),
                phase: row.phase,
                state: row.state,
                holds: row.holds,
                after: rung.point.after_points.clone(),
            }
        });
        let steps = steps.collect();
        (Self { place, as_list, steps }, lasts)
    }

    fn of_phase(&self, phase: Phase) -> Vec<&Step> {
        self.steps.iter().filter(|step| step.phase == phase).collect()
    }

    fn body(&self) -> Markup {
        html! {
            h1 { "The ladder" }
            @if self.steps.is_empty() { p { "No point is planned yet. An import of a document plans many at once." } }
            @else if self.as_list { p { a href={ (self.place) "/ladder" } { "As a picture" } } }
            @else { (symbols()) p { a href={ (self.place) "/ladder?as=list" } { "As a list, with whole titles" } } }
            @for of in Phase::ALL {
                @let steps = self.of_phase(of);
                @if !steps.is_empty() {
                    section id=(of) {
                        h2 { (phase(of)) }
                        @if self.as_list { (self.list(&steps)) }
                        @else {
                            div.picture tabindex="0" role="region" aria-label={ "Picture of the phase " (phase(of)) } {
                                (picture::picture(&self.place, &steps, phase(of)))
                            }
                        }
                    }
                }
            }
            (legend())
        }
    }

    fn list(&self, steps: &[&Step]) -> Markup {
        html! {
            div.wide {
                table {
                    thead { tr { th scope="col" { "Point" } th scope="col" { "Stands" } th scope="col" { "Holds" } th scope="col" { "After" } } }
                    tbody {
                        @for step in steps {
                            tr {
                                th scope="row" { a href={ (self.place) "/points/" (step.code) } { (step.code) " " (step.title) } }
                                td { (state_word(step.state)) }
                                td { @if !matches!(step.state, PointState::Accepted | PointState::Dropped) { (step.holds) } }
                                td { @for (place, code) in step.after.iter().enumerate() { @if place > 0 { ", " } (code) } }
                            }
                        }
                    }
                }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use super::tests::{codes, long};
        let states = [
            PointState::Accepted,
            PointState::Released,
            PointState::Held,
            PointState::Lapsed,
            PointState::Ready,
            PointState::NotMet,
            PointState::InRun,
            PointState::Dropped,
            PointState::AwaitingAcceptance,
        ];
        let page = |many: usize, as_list: bool| {
            let codes = codes(many);
            let step = |(place, code): (usize, &PointCode)| Step {
                code: code.clone(),
                title: long("Taxi at 28 kt", many),
                phase: Phase::ALL[place % 5],
                state: states[place % states.len()],
                holds: place,
                after: codes[place.saturating_sub(place % 4 * 5)..place]
                    .iter()
                    .step_by(5)
                    .cloned()
                    .collect(),
            };
            let steps = codes.iter().enumerate().map(step).collect();
            Self { place: "/programmes/tug".to_owned(), as_list, steps }.body()
        };
        vec![
            ("ordinary", page(14, false)),
            ("a list", page(14, true)),
            ("empty", page(0, false)),
            ("worst case", page(240, false)),
            ("worst case as a list", page(240, true)),
        ]
    }
}

/// What the shapes mean.
fn legend() -> Markup {
    html! {
        section.legend {
            h2 { "Shapes" }
            ul { @for state in STATES { li { (state_word(state)) } } }
            p { "A line leads from a point to those that wait for it. What waits for a point of another phase says so in its box." }
        }
    }
}

/// How the ladder is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Shape {
    List,
}

/// What the address may say.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
pub(crate) struct Asked {
    r#as: Option<Shape>,
}

/// The page. Everybody is shown the same ladder, so it is drawn once for all who look within a second.
pub(crate) async fn show(member: Member<Read>, asked: Query<Asked>, office: Office) -> Answer {
    let as_list = asked.r#as == Some(Shape::List);
    let kept = (member.programme.id.clone(), as_list);
    let is_present = member.past.is_none();
    let body = member
        .look_at_ladder(&office, |view, board| {
            let seq = view.state.length();
            if is_present && let Some(body) = office.ladders.of(&kept, seq, view.now) {
                return Ok(body);
            }
            let (page, lasts) = LadderPage::of(member.place(""), as_list, view, board);
            let body = page.body();
            if is_present && lasts && body.0.len() <= LARGEST_KEPT {
                office.ladders.put(kept, seq, view.now, body.clone());
            }
            Ok(body)
        })
        .await?;
    Ok(member.around("The ladder", Section::Ladder).live().reply(StatusCode::OK, body))
}
