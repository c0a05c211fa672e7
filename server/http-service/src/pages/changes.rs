//! What changed between two moments.

use actix_web::http::StatusCode;
use maud::{Markup, html};
use serde::Deserialize;

use super::around::Section;
use super::door::Member;
use super::words::{counted, holds_list, moment, state_word};
use crate::access::Read;
use crate::api::differences::{Differences, PointChanged, between};
use crate::desk::Answer;
use crate::given::Query;
use crate::office::Office;

/// Which two moments, as the address gives them.
#[derive(Debug, Deserialize)]
pub(crate) struct Moments {
    #[serde(default)]
    from: String,
    #[serde(default)]
    to: String,
}

/// What the page shows.
#[derive(Debug)]
pub(crate) struct ChangesPage {
    pub place: String,
    pub found: Differences,
    /// The names of those who recorded something, in the order of the records.
    pub names: Vec<String>,
}

impl ChangesPage {
    fn body(&self) -> Markup {
        let Differences { from, to, summary, records_in_between, records, points } = &self.found;
        html! {
            h1 { "What changed" }
            p.lead { "After record " (from) ", up to record " (to) ". " (summary) }
            nav.within aria-label="On this page" {
                a href="#points" { (counted(points.len(), "point", "points")) }
                a href="#records" { (counted(records.len(), "record", "records")) }
            }
            section {
                h2 #points { "Points" }
                @if points.is_empty() { p { "Every point stands as it did." } }
                @for point in points { (self.point(point)) }
            }
            section {
                h2 #records { "Records" }
                @if *records_in_between > records.len() as u64 {
                    p { "The last " (records.len()) " of " (records_in_between) "." }
                }
                ol.records {
                    @for (record, name) in records.iter().zip(&self.names) {
                        li { "No. " (record.record) ", " (moment(record.at)) ": " (name) " " (record.what) "." }
                    }
                }
            }
        }
    }

    fn point(&self, it: &PointChanged) -> Markup {
        html! {
            h3 { a href={ (self.place) "/points/" (it.point) } { (it.point) } " " (it.title) }
            p {
                @match it.before {
                    Some(before) if before == it.after => { (state_word(it.after)) " as before. " }
                    Some(before) => { "Was " (state_word(before)) ", is " (state_word(it.after)) ". " }
                    None => { "New in the plan. " (state_word(it.after)) " " }
                }
                @if it.planned_anew { "Its plan is another. " }
            }
            @if !it.cleared.is_empty() {
                h4 { "Cleared" }
                ul { @for hold in &it.cleared { li { (hold.why) } } }
            }
            @if !it.new.is_empty() {
                h4 { "New" }
                (holds_list(&it.new))
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use super::tests::{codes, holds, long};
        use crate::api::differences::ChangeTold;
        use crate::api::points::PointState;
        use chrono::DateTime;
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            names: vec!["Marit".to_owned(); many],
            found: Differences {
                from: 120,
                to: 120 + many as u64,
                summary: format!("{many} records in between."),
                records_in_between: many as u64,
                records: (0..many)
                    .map(|place| ChangeTold {
                        record: 121 + place as u64,
                        kind: "weather-observed",
                        at: DateTime::UNIX_EPOCH,
                        by: programme::codes::PersonHandle::new("marit").expect("it is a handle"),
                        what: long("observed the weather", many),
                    })
                    .collect(),
                points: codes(many)
                    .into_iter()
                    .map(|point| PointChanged {
                        point,
                        title: long("Taxi at 28 kt", many),
                        before: Some(PointState::Ready),
                        after: PointState::Held,
                        planned_anew: true,
                        cleared: holds(2),
                        new: holds(3),
                    })
                    .collect(),
            },
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}

/// The page.
pub(crate) async fn show(member: Member<Read>, asked: Query<Moments>, office: Office) -> Answer {
    let from = if asked.from.is_empty() { "signed" } else { asked.from.as_str() };
    let to = Some(asked.to.as_str()).filter(|to| !to.is_empty());
    let found = between(&office, &member.permitted, from, to).await?;
    let names = office.store.read(&member.programme.id, |state, _| {
        found.records.iter().map(|it| super::words::person(state, &it.by)).collect()
    });
    let page = ChangesPage { place: member.place(""), names: names.unwrap_or_default(), found };
    Ok(member
        .around("What changed", Section::Ledger)
        .of_all_time()
        .reply(StatusCode::OK, page.body()))
}
