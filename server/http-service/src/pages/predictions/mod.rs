//! What could be done next with what is predicted of it, and what came of earlier predictions.

mod line;

use actix_web::http::StatusCode;
use maud::{Markup, html};
use programme::board::Board;
use programme::codes::{PointCode, RunNumber};
use programme::next_steps::{Readiness, next_steps};
use programme::nouns::Direction;
use programme::people::Act;
use programme::prediction;

use super::around::Section;
use super::door::Member;
use super::form::{Draft, Form, Trouble, settled};
use super::point::Recorded;
use super::words::{axis, counted, figure, moment, person};
use crate::access::{Permission, Read, ReviewModels};
use crate::api::predictions::{self as api, PointPredictionsView};
use crate::desk::{Answer, View};
use crate::given::Query;
use crate::office::Office;
use line::near;
pub(crate) use line::{PredictionLine, predicted};

/// Steps that are shown.
const STEPS: usize = 20;
/// Earlier predictions that are shown.
const EARLIER: usize = 100;

/// A step that could be next.
#[derive(Debug, Clone)]
pub(crate) struct StepLine {
    pub code: PointCode,
    pub title: String,
    pub readiness: &'static str,
    pub holds: usize,
    pub opens: usize,
    pub smaller: Vec<String>,
    pub predictions: Vec<PredictionLine>,
    /// What is not predicted, and why.
    pub unknown: Vec<(String, String)>,
}

/// A prediction of a run beside what was measured.
#[derive(Debug, Clone)]
pub(crate) struct ComparedLine {
    pub run: RunNumber,
    pub point: PointCode,
    pub what: String,
    pub predicted: String,
    pub measured: Option<String>,
    pub verdict: String,
    pub outside: bool,
}

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct PredictionsPage {
    pub place: String,
    pub token: String,
    pub steps: Vec<StepLine>,
    pub still: usize,
    pub compared: Vec<ComparedLine>,
    /// Models that missed too often: in JSON, in words, in which runs.
    pub missed: Vec<(String, String, String)>,
    /// Findings, by whom and of what.
    pub reviews: Vec<(String, Markup)>,
    pub may_review: bool,
    pub trouble: Option<Trouble>,
}

impl PredictionsPage {
    fn of<P>(member: &Member<P>, view: View<'_>, board: &Board, trouble: Option<Trouble>) -> Self {
        let View { state, now } = view;
        let steps = next_steps(state, board, now);
        let line = |step: &programme::next_steps::NextStep<'_>| {
            let seen = PointPredictionsView::of(state, &step.rung.point, now);
            let smaller = step.proposals().into_iter().map(|it| {
                let way = match it.direction {
                    Direction::Up => "up",
                    Direction::Down => "down",
                };
                let shown = it.shown.map_or_else(|| "nothing".to_owned(), |it| it.to_string());
                let propose = it.propose.map(|it| format!("; show {it} first"));
                format!(
                    "{} {way}: {shown} was shown, {} is too far{}",
                    axis(it.axis),
                    it.target,
                    propose.unwrap_or_default()
                )
            });
            StepLine {
                code: step.rung.point.code.clone(),
                title: step.rung.point.title.clone(),
                readiness: match step.readiness {
                    Readiness::Open => "all stated conditions are met",
                    Readiness::HeldForRun => "can be released, and is held against the run",
                    Readiness::Held => "held",
                },
                holds: step.reasons.len(),
                opens: step.opens,
                smaller: smaller.collect(),
                predictions: seen
                    .predictions
                    .iter()
                    .map(|it| PredictionLine::of(state, it))
                    .collect(),
                unknown: seen
                    .unavailable
                    .iter()
                    .map(|it| (predicted(state, &it.what), it.because.clone()))
                    .collect(),
            }
        };
        let mut compared: Vec<ComparedLine> = prediction::outcomes(state)
            .map(|it| {
                let kept = it.predicted;
                let of = |value: f64| figure(near(value), kept.unit);
                ComparedLine {
                    run: it.run,
                    point: kept.point.clone(),
                    what: predicted(state, &kept.what),
                    predicted: format!(
                        "{}, from {} to {}",
                        of(kept.estimate),
                        of(kept.low),
                        of(kept.high)
                    ),
                    measured: it.measured.as_ref().map(|it| of(it.figure)),
                    outside: matches!(
                        it.verdict,
                        prediction::Verdict::Below | prediction::Verdict::Above
                    ),
                    verdict: it.verdict.in_words(),
                }
            })
            .collect();
        compared.reverse();
        compared.truncate(EARLIER);
        let missed = prediction::missed(state).into_iter().map(|it| {
            let runs: Vec<_> = it.at.iter().map(|(run, _)| run.to_string()).collect();
            let json = serde_json::to_string(&it.what).unwrap_or_default();
            (json, predicted(state, &it.what), runs.join(", "))
        });
        let reviews = state.predictions.reviews.iter().rev().map(|it| {
            let by = html! { (predicted(state, &it.what)) ", by " (person(state, &it.by)) ", " (moment(it.at)) };
            (it.findings.clone(), by)
        });
        Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            still: steps.len(),
            steps: steps.iter().take(STEPS).map(line).collect(),
            compared,
            missed: missed.collect(),
            reviews: reviews.collect(),
            may_review: member.may(Act::ReviewModels),
            trouble,
        }
    }

    fn body(&self) -> Markup {
        html! {
            h1 { "Predictions" }
            p.lead { "What earlier runs let expect of the next steps, and what came of earlier predictions. A prediction is advice; its interval is one of 95 %." }
            nav.within aria-label="On this page" {
                a href="#next" { "Next steps" }
                a href="#compared" { "Predicted beside measured" }
                a href="#models" { "Models" }
                a href={ (self.place) "/envelope" } { "Shown envelope" }
            }
            section {
                h2 #next { "Next steps" }
                @if self.steps.is_empty() { p { "No point is still to be shown." } }
                @else { p { "The first " (self.steps.len()) " of " (counted(self.still, "point", "points")) " that are still to be shown." } }
                ul.groups { @for step in &self.steps { li { (self.step(step)) } } }
            }
            (self.beside())
            (self.models())
        }
    }

    fn step(&self, step: &StepLine) -> Markup {
        html! {
            p { a href={ (self.place) "/points/" (step.code) } { strong { (step.code) } " " (step.title) } }
            p { (step.readiness) @if step.holds > 0 { ", " a href={ (self.place) "/points/" (step.code) "#holds" } { (counted(step.holds, "hold", "holds")) } } @if step.opens > 0 { " · " (counted(step.opens, "point waits", "points wait")) " for it" } }
            @for it in &step.smaller { p.warn { (it) } }
            @for it in &step.predictions { (it.shown()) }
            @if !step.predictions.is_empty() {
                details { summary { "What that rests on" } ul.source { @for it in &step.predictions { (it.basis()) } } }
            }
            @if !step.unknown.is_empty() {
                details { summary { (counted(step.unknown.len(), "figure is", "figures are")) " not predicted" } ul { @for (what, why) in &step.unknown { li { (what) ": " (why) } } } }
            }
            @if step.predictions.is_empty() && step.unknown.is_empty() { p.source { "Nothing is predicted of it." } }
        }
    }

    fn beside(&self) -> Markup {
        html! {
            section {
                h2 #compared { "Predicted beside measured" }
                @if self.compared.is_empty() { p { "No prediction was kept with a run yet." } }
                @else {
                    div.wide tabindex="0" role="region" aria-label="Predicted beside measured" {
                        table.stack {
                            thead { tr { th scope="col" { "Run and point" } th scope="col" { "What" } th scope="col" { "Predicted" } th scope="col" { "Measured" } th scope="col" { "So it was" } } }
                            tbody { @for it in &self.compared { tr.bad[it.outside] {
                                td { a href={ (self.place) "/runs/" (it.run) } { "Run " (it.run) } br; (it.point) }
                                td { (it.what) }
                                td data-is="Predicted" { (it.predicted) }
                                td data-is="Measured" { (it.measured.as_deref().unwrap_or("nothing yet")) }
                                td data-is="So it was" { @if it.outside { strong { (it.verdict) } } @else { (it.verdict) } }
                            } } }
                        }
                    }
                }
            }
        }
    }

    fn models(&self) -> Markup {
        let to = format!("{}/predictions/reviews", self.place);
        let draft = Draft::new("review", &to, &self.token, self.trouble.as_ref());
        let choices: Vec<_> =
            self.missed.iter().map(|(json, words, _)| (json.clone(), words.clone())).collect();
        html! {
            section {
                h2 #models { "Models" }
                @if self.missed.is_empty() { p { "No model has missed too often since it was reviewed last." } }
                @for (_, words, runs) in &self.missed { p.warn { strong { (words) } ": missed in run " (runs) ". Points that rest on it are held until it is reviewed." } }
                @if !self.missed.is_empty() && !self.may_review { p { "Reviewing it is for " (Act::ReviewModels.allowed_in_words()) "." } }
                @if (!self.missed.is_empty() && self.may_review) || self.trouble.is_some() {
                    (draft.form(html! {
                        (draft.choice("what:chosen", "The model of", "", "", &choices))
                        (draft.text("findings", "What was found, and what was done", ""))
                        (draft.send("Record the review"))
                    }))
                }
                @if !self.reviews.is_empty() { h3 { "Reviews" } ul { @for (findings, by) in &self.reviews { li { p.prose { (findings) } p.source { (by) } } } } }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use super::tests::{codes, long};
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            still: many,
            steps: codes(many)
                .into_iter()
                .map(|code| StepLine {
                    code,
                    title: long("Taxi", many),
                    readiness: "held",
                    holds: many,
                    opens: many,
                    smaller: vec![long("Speed up: 20 kt was shown", many)],
                    predictions: vec![PredictionLine::sample(many); 3],
                    unknown: vec![("Energy".to_owned(), long("No run has it.", many))],
                })
                .collect(),
            compared: codes(many)
                .into_iter()
                .map(|point| ComparedLine {
                    run: RunNumber(3),
                    point,
                    what: long("Energy", many),
                    predicted: "3.2 kWh, from 3 kWh to 3.4 kWh".to_owned(),
                    measured: (many > 10).then(|| "3.6 kWh".to_owned()),
                    verdict: "above the 95 % interval".to_owned(),
                    outside: true,
                })
                .collect(),
            missed: (0..many)
                .map(|place| (format!("{place}"), long("Energy", many), "3, 4".to_owned()))
                .collect(),
            reviews: (0..many).map(|_| (long("The plate.", many), html! { "by Tomas" })).collect(),
            may_review: true,
            trouble: None,
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
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
    let page = member
        .look_at_ladder(office, |view, board| Ok(PredictionsPage::of(member, view, board, trouble)))
        .await?;
    let around = member.around("Predictions", Section::Predictions).recorded(recorded);
    Ok(around.reply(status, page.body()))
}

/// Records that a model was reviewed.
pub(crate) async fn review(member: Member<ReviewModels>, form: Form, office: Office) -> Answer {
    let person = member.permitted.clone();
    let acted = async { api::review(person, form.given()?, office.clone()).await }.await;
    settled(acted, form, &member.place("/predictions"), async |trouble| {
        page(&office, &member, None, Some(trouble)).await
    })
    .await
}
