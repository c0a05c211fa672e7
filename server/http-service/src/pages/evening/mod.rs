//! A test day on one page: what was done and found, and what is open for the next.

mod gathered;
mod shown;

use actix_web::http::StatusCode;
use chrono::{Days, NaiveDate, NaiveTime};
use maud::{Markup, html};
use serde::Deserialize;

pub(crate) use shown::EveningPage;

use super::around::Section;
use super::door::Member;
use super::paper::MadeFrom;
use super::words::counted;
use crate::access::Read;
use crate::desk::Answer;
use crate::given::{At, Named, Query};
use crate::office::Office;
use crate::problem::Problem;

/// A day, in UTC, as the path names it: `2026-05-02`.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Day(pub NaiveDate);

impl std::str::FromStr for Day {
    type Err = chrono::ParseError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        text.parse().map(Self)
    }
}

impl Named for Day {
    const SEGMENT: &'static str = "day";
    const WHAT: &'static str = "day";
}

/// As known when.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Known {
    /// A record's number, a moment or `now`; absent: at the end of the day, or now while it lasts.
    pub as_of: Option<String>,
}

/// The summary of a day.
pub(crate) async fn show(
    member: Member<Read>,
    day: At<Day>,
    known: Query<Known>,
    office: Office,
) -> Answer {
    let day = day.0.0;
    let today = office.now().date_naive();
    if day > today {
        return Err(Problem::unknown("day up to now", day));
    }
    // The day is over at the midnight that follows it.
    let over = (day < today).then(|| day.checked_add_days(Days::new(1))).flatten();
    let end = over.map(|next| next.and_time(NaiveTime::MIN).and_utc().to_rfc3339());
    let past = match known.as_of.as_deref() {
        Some("now") => None,
        Some(moment) => Some(moment.to_owned()),
        None => end,
    };
    let id = &member.programme.id;
    let page = office
        .look_at_ladder(&member.permitted, past.as_deref(), |view, board| {
            let made_from = MadeFrom::of(view);
            Ok(EveningPage::of(member.place(""), day, view, board, made_from))
        })
        .await?;
    let signed = office.store.checkpoint(id, Some(page.made_from.records)).await?;
    let page = EveningPage {
        checkpoint: signed.map(|it| it.signed.to_string()),
        is_past: past.is_some(),
        made_from: page.made_from.clone().rooted(&office, id),
        ..page
    };
    let around = member.around(format!("Evening summary {day}"), Section::Days).of_all_time();
    Ok(around.reply(StatusCode::OK, page.body()))
}

/// The days on which something was done.
#[derive(Debug, Clone)]
pub(crate) struct DaysPage {
    place: String,
    /// Newest first: the day, and how many runs and results there were.
    days: Vec<(NaiveDate, usize, usize)>,
}

impl DaysPage {
    fn body(&self) -> Markup {
        html! {
            h1 { "Test days" }
            p { "One page for each day in UTC on which something was run, found or checked, as it stood when the day ended." }
            @if self.days.is_empty() { p { "There was none yet." } }
            ul.runs {
                @for (day, runs, results) in &self.days {
                    li {
                        a href={ (self.place) "/days/" (day) } { strong { (day.format("%A %-d %B %Y")) } }
                        p.short { (counted(*runs, "run", "runs")) ", " (counted(*results, "result", "results")) }
                    }
                }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        let day = chrono::DateTime::UNIX_EPOCH.date_naive();
        let page = |many: usize| {
            let days = day.iter_days().take(many).map(|day| (day, many, many)).collect();
            Self { place: "/programmes/tug".to_owned(), days }.body()
        };
        vec![("ordinary", page(3)), ("empty", page(0)), ("worst case", page(400))]
    }
}

/// All test days.
pub(crate) async fn days(member: Member<Read>, office: Office) -> Answer {
    let page = member
        .look(&office, |view| {
            let days = gathered::days(view.state).into_iter().rev();
            let days = days.map(|(day, (runs, results))| (day, runs, results)).collect();
            Ok(DaysPage { place: member.place(""), days })
        })
        .await?;
    Ok(member.around("Test days", Section::Days).reply(StatusCode::OK, page.body()))
}
