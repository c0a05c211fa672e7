//! Letting a result stand though items changed since, with the reason and the safety officer's signature.

use actix_web::http::StatusCode;
use maud::{Markup, html};
use programme::codes::{PointCode, RunNumber};
use programme::people::Act;
use programme::record::ToleratedChange;
use programme::state::State;

use crate::access::{NarrowRepeats, Permission, Read};
use crate::api::changes as api;
use crate::api::results::ResultStanding;
use crate::desk::Answer;
use crate::given::{At, Number, Query};
use crate::office::Office;
use crate::pages::around::Section;
use crate::pages::door::Member;
use crate::pages::form::{Draft, Form, Trouble, settled};
use crate::pages::point::Recorded;
use crate::pages::words::result_word;
use crate::problem::Problem;

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct NarrowingPage {
    pub place: String,
    pub token: String,
    pub run: RunNumber,
    pub point: PointCode,
    pub standing: ResultStanding,
    /// In JSON, and in words.
    pub changes: Vec<(String, String)>,
    pub tolerated: Vec<String>,
    pub may_narrow: bool,
    pub trouble: Option<Trouble>,
}

fn told(change: &ToleratedChange) -> String {
    let fitted = |version: &Option<String>| version.as_deref().unwrap_or("not fitted").to_owned();
    format!("{}: {} in the run, {} now", change.item, fitted(&change.was), fitted(&change.is))
}

impl NarrowingPage {
    fn of<P>(
        member: &Member<P>,
        state: &State,
        (run, point): (RunNumber, &PointCode),
        trouble: Option<Trouble>,
    ) -> Result<Self, Problem> {
        state.run(run).ok_or_else(|| Problem::unknown("run", run))?;
        let found = state.result(run, point).ok_or_else(|| Problem::unknown("result", point))?;
        let result = found.1;
        let json = |it: &ToleratedChange| serde_json::to_string(it).unwrap_or_default();
        Ok(Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            run,
            point: point.clone(),
            standing: ResultStanding::of(&result.standing),
            changes: state.changes_since(result).iter().map(|it| (json(it), told(it))).collect(),
            tolerated: result.tolerated.iter().map(told).collect(),
            may_narrow: member.may(Act::NarrowRepeats),
            trouble,
        })
    }

    fn body(&self) -> Markup {
        let to = format!("{}/runs/{}/results/{}/narrowing", self.place, self.run, self.point);
        let draft = Draft::new("narrow", &to, &self.token, self.trouble.as_ref());
        html! {
            h1 { "Must " (self.point) " be shown again?" }
            p.lead { a href={ (self.place) "/runs/" (self.run) "/results/" (self.point) } { "Result of run " (self.run) } ": " (result_word(self.standing)) }
            section {
                h2 #changes { "What changed since, of what the point is sensitive to" }
                @if self.changes.is_empty() { p { "Nothing." } }
                ul { @for (_, words) in &self.changes { li { (words) } } }
                @if !self.tolerated.is_empty() { h3 { "For which it need not be shown again already" } ul { @for it in &self.tolerated { li { (it) } } } }
            }
            @if !self.changes.is_empty() {
                section {
                    h2 #narrow { "Let it stand all the same" }
                    @if !self.may_narrow { p { "That is for " (Act::NarrowRepeats.allowed_in_words()) "." } }
                    @else {
                        p { "You sign that these changes, and exactly these, do not touch what the result showed. Another change makes it lapse again." }
                        (draft.form(html! {
                            @for (json, _) in &self.changes { (draft.hidden("changes[]:chosen", json)) }
                            (draft.text("reason", "Why it need not be shown again", ""))
                            (draft.secret())
                            (draft.send("Let it stand"))
                        }))
                    }
                }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::{codes, long};
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            run: RunNumber(3),
            point: codes(1).remove(0),
            standing: ResultStanding::Lapsed,
            changes: vec![("{}".to_owned(), long("inverter: I2 in the run", many)); many],
            tolerated: vec![long("bms: 2.6 in the run", many); many],
            may_narrow: true,
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
pub(crate) async fn narrowing(
    member: Member<Read>,
    run: At<Number<RunNumber>>,
    point: At<PointCode>,
    recorded: Query<Recorded>,
    office: Office,
) -> Answer {
    page(&office, &member, (run.0.0, &point), recorded.recorded, None).await
}

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    of: (RunNumber, &PointCode),
    recorded: Option<u64>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page =
        member.look(office, |view| NarrowingPage::of(member, view.state, of, trouble)).await?;
    let title = format!("Must {} be shown again?", of.1);
    let around = member.around(title, Section::Configuration).recorded(recorded);
    Ok(around.reply(status, page.body()))
}

/// Lets the result stand.
pub(crate) async fn narrow(
    member: Member<NarrowRepeats>,
    form: Form,
    run: At<Number<RunNumber>>,
    point: At<PointCode>,
    office: Office,
) -> Answer {
    let (number, code) = (run.0.0, point.0.clone());
    let person = member.permitted.clone();
    let acted =
        async { api::narrow(person, run, point, form.signed()?, office.clone()).await }.await;
    let place = member.place(&format!("/runs/{number}/results/{code}/narrowing"));
    settled(acted, form, &place, async |trouble| {
        page(&office, &member, (number, &code), None, Some(trouble)).await
    })
    .await
}
