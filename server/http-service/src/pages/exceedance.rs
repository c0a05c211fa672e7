//! An exceedance: what went beyond, what an engineer says of it, and the safety officer who closes it.

use actix_web::http::StatusCode;
use chrono::{DateTime, Utc};
use maud::{Markup, html};
use programme::codes::{ExceedanceNumber, RunNumber};
use programme::measure::Unit;
use programme::nouns::Statistic;
use programme::people::Act;
use programme::state::{Amendable, State};
use programme::verdict::of_change;

use super::around::Section;
use super::door::Member;
use super::form::{Draft, Form, Trouble, settled};
use super::point::Recorded;
use super::words::{channel_name, exact, figure, limit, moment, person, seconds, short, statistic};
use crate::access::{CloseExceedances, ExplainExceedances, Permission, Read};
use crate::api::exceedances as api;
use crate::desk::Answer;
use crate::given::{At, Number, Query};
use crate::office::Office;
use crate::problem::Problem;

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct ExceedancePage {
    pub place: String,
    pub token: String,
    pub number: ExceedanceNumber,
    pub run: RunNumber,
    pub limit: String,
    pub allowed: String,
    pub what: &'static str,
    pub peak: String,
    pub duration_s: Option<f64>,
    pub noted_by: String,
    pub noted_at: DateTime<Utc>,
    /// Recording, channel, beginning, peak, dwell, revision of the limit.
    pub found: Option<Found>,
    /// Explanation, action, by whom, when.
    pub explained: Option<(String, String, String, DateTime<Utc>)>,
    pub closed: Option<(String, DateTime<Utc>)>,
    /// What whoever closes it signs.
    pub digest: Option<String>,
    pub revision: u64,
    pub may_explain: bool,
    pub may_close: bool,
    pub trouble: Option<Trouble>,
}

/// What a recording tells of it.
#[derive(Debug, Clone)]
pub(crate) struct Found {
    pub recording: String,
    pub channel: String,
    pub started_at: DateTime<Utc>,
    pub peak_at: DateTime<Utc>,
    pub dwell_s: f64,
    pub limit_revision: u64,
    pub odd_one_out: Option<String>,
}

impl ExceedancePage {
    fn of<P>(
        member: &Member<P>,
        state: &State,
        number: ExceedanceNumber,
        trouble: Option<Trouble>,
    ) -> Result<Self, Problem> {
        let known = state.exceedances.iter().find(|it| it.number == number);
        let known = known.ok_or_else(|| Problem::unknown("exceedance", number))?;
        let seen = api::exceedance_view(state, known)?;
        let of = state.limits.by_code.get(&known.limit);
        let unit = of.map_or(Unit::One, |of| match known.statistic {
            Statistic::TimeAbove => Unit::Second,
            other => of_change(other, of.limit.unit),
        });
        Ok(Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            number,
            run: known.run,
            limit: known.limit.to_string(),
            allowed: of
                .map(|of| {
                    format!("{}: {}", channel_name(state, &of.limit.channel), limit(&of.limit))
                })
                .unwrap_or_default(),
            what: statistic(known.statistic),
            peak: figure(known.peak, unit),
            duration_s: known.duration_s,
            noted_by: person(state, &known.by),
            noted_at: known.at,
            found: known.found.as_ref().map(|found| Found {
                recording: found.recording.to_string(),
                channel: of.map(|of| of.limit.channel.to_string()).unwrap_or_default(),
                started_at: found.started_at,
                peak_at: found.peak_at,
                dwell_s: found.dwell_s,
                limit_revision: found.limit_revision,
                odd_one_out: found.odd_one_out.as_ref().map(|code| channel_name(state, code)),
            }),
            explained: seen.explained.as_ref().map(|it| {
                (it.explanation.to_owned(), it.action.to_owned(), person(state, it.by), it.at)
            }),
            closed: seen.closed.as_ref().map(|it| (person(state, it.by), it.at)),
            digest: seen.digest.as_ref().map(ToString::to_string),
            revision: state.revision(&Amendable::Exceedance(number)),
            may_explain: member.may(Act::ExplainExceedances),
            may_close: member.may(Act::CloseExceedances),
            trouble,
        })
    }

    fn here(&self) -> String {
        format!("{}/exceedances/{}", self.place, self.number)
    }

    fn body(&self) -> Markup {
        let standing = match (&self.closed, &self.explained) {
            (Some(_), _) => "closed",
            (None, Some(_)) => "explained, waits for the safety officer",
            (None, None) => "open, waits for an engineer's explanation",
        };
        html! {
            h1 { "Exceedance " (self.number) ": " (self.limit) }
            p.lead { strong { (standing) } ". " (self.allowed) ". Peak " strong { (self.peak) } " (" (self.what) ")" @if let Some(duration) = self.duration_s { ", for " (seconds(duration)) } "." }
            dl.pairs {
                dt { "Run" } dd { a href={ (self.place) "/runs/" (self.run) } { "Run " (self.run) } }
                @if let Some(found) = &self.found {
                    dt { "Began" } dd { (exact(found.started_at)) ", by the recorder's clock" }
                    dt { "Peak at" } dd { (exact(found.peak_at)) }
                    dt { "Dwell" } dd { (seconds(found.dwell_s)) }
                    dt { "Limit" } dd { "as record " (found.limit_revision) " set it" }
                    @if let Some(odd) = &found.odd_one_out { dt { "Odd one out" } dd { (odd) } }
                    dt { "Recording" } dd {
                        a href={ (self.place) "/recordings/" (found.recording) } { (short(&found.recording)) } ", "
                        a href={ (self.place) "/recordings/" (found.recording) "/plot?channel=" (found.channel) "&around=" (self.number) } { "see it plotted" }
                    }
                }
                dt { "Noted" } dd { "by " (self.noted_by) ", " (moment(self.noted_at)) }
            }
            section {
                h2 #explanation { "Explanation" }
                @match &self.explained {
                    Some((why, action, by, at)) => {
                        p.prose { (why) }
                        p { strong { "Done about it: " } span.prose { (action) } }
                        p.source { (by) ", " (moment(*at)) }
                    }
                    None => { p { "None yet." } }
                }
                (self.explaining())
            }
            section { h2 #closing { "Closing" } (self.closing()) }
        }
    }

    fn explaining(&self) -> Markup {
        let to = format!("{}/explanation", self.here());
        let draft = Draft::new("explain", &to, &self.token, self.trouble.as_ref());
        let refused = self.trouble.as_ref().is_some_and(|it| it.form == "explain");
        html! {
            @if self.closed.is_some() {
            } @else if !self.may_explain {
                p { "Explaining it is for " (Act::ExplainExceedances.allowed_in_words()) "." }
            } @else {
                details open[refused || self.explained.is_none()] {
                    summary { @if self.explained.is_some() { "Explain it anew" } @else { "Explain it" } }
                    (draft.form(html! {
                        (draft.hidden("form.revision", self.revision))
                        (draft.text("explanation", "Why it happened", ""))
                        (draft.text("action", "What was done or will be", ""))
                        (draft.send("Record the explanation"))
                    }))
                }
            }
        }
    }

    fn closing(&self) -> Markup {
        let to = format!("{}/closing", self.here());
        let draft = Draft::new("close", &to, &self.token, self.trouble.as_ref());
        html! {
            @match (&self.closed, &self.digest) {
                (Some((by, at)), _) => { p { "Closed by " (by) ", " (moment(*at)) "." } }
                (None, None) => { p { "The safety officer closes it once it is explained." } }
                (None, Some(_)) if !self.may_close => { p { "Closing it is for " (Act::CloseExceedances.allowed_in_words()) "." } }
                (None, Some(digest)) => {
                    p { "You sign the exceedance with its explanation as they stand above, digest " code.digest { (digest) } "." }
                    (draft.form(html! {
                        (draft.hidden("digest", digest))
                        (draft.secret())
                        (draft.send("Close it"))
                    }))
                }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use super::tests::long;
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            number: ExceedanceNumber(2),
            run: RunNumber(3),
            limit: "L-WINDING".to_owned(),
            allowed: long("Winding: at most 120 °C", many),
            what: "greatest",
            peak: "124.5 °C".to_owned(),
            duration_s: Some(41.2),
            noted_by: "Tomas".to_owned(),
            noted_at: DateTime::UNIX_EPOCH,
            found: (many > 0).then(|| Found {
                recording: "0".repeat(64),
                channel: "motor_winding_t_1".to_owned(),
                started_at: DateTime::UNIX_EPOCH,
                peak_at: DateTime::UNIX_EPOCH,
                dwell_s: 5.0,
                limit_revision: 12,
                odd_one_out: Some(long("Winding 2", many)),
            }),
            explained: (many > 0).then(|| {
                let why = long("The flap was shut.", many);
                (why.clone(), why, "Tomas".to_owned(), DateTime::UNIX_EPOCH)
            }),
            closed: None,
            digest: (many > 0).then(|| "9f86d081".repeat(8)),
            revision: 12,
            may_explain: true,
            may_close: true,
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
    exceedance: At<Number<ExceedanceNumber>>,
    recorded: Query<Recorded>,
    office: Office,
) -> Answer {
    page(&office, &member, exceedance.0.0, recorded.recorded, None).await
}

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    number: ExceedanceNumber,
    recorded: Option<u64>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page =
        member.look(office, |view| ExceedancePage::of(member, view.state, number, trouble)).await?;
    let title = format!("Exceedance {number}");
    Ok(member.around(title, Section::Recordings).recorded(recorded).reply(status, page.body()))
}

async fn ended<P: Permission>(
    acted: Answer,
    form: Form,
    (office, member, number): (&Office, &Member<P>, ExceedanceNumber),
) -> Answer {
    settled(acted, form, &member.place(&format!("/exceedances/{number}")), async |trouble| {
        page(office, member, number, None, Some(trouble)).await
    })
    .await
}

/// Explains it.
pub(crate) async fn explain(
    member: Member<ExplainExceedances>,
    form: Form,
    exceedance: At<Number<ExceedanceNumber>>,
    office: Office,
) -> Answer {
    let number = exceedance.0.0;
    let (person, seen) = (member.permitted.clone(), form.revision());
    let acted =
        async { api::explain(person, exceedance, seen, form.given()?, office.clone()).await }.await;
    ended(acted, form, (&office, &member, number)).await
}

/// Closes it.
pub(crate) async fn close(
    member: Member<CloseExceedances>,
    form: Form,
    exceedance: At<Number<ExceedanceNumber>>,
    office: Office,
) -> Answer {
    let number = exceedance.0.0;
    let person = member.permitted.clone();
    let acted =
        async { api::close(person, exceedance, form.signed()?, office.clone()).await }.await;
    ended(acted, form, (&office, &member, number)).await
}
