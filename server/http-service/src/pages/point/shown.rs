//! What the page of a point shows.

use chrono::{DateTime, Utc};
use maud::{Markup, html};
use programme::card::Difference;
use programme::codes::{PersonHandle, PointCode, RunNumber};
use programme::holds::Hold;
use programme::state::{Rung, State};

use super::signing::{PartShown, in_words};
use crate::api::points::{PointState, RungView};
use crate::api::results::ResultStanding;
use crate::api::sign_offs::PartName;
use crate::desk::View;
use crate::pages::card::CardShown;
use crate::pages::door::Member;
use crate::pages::form::Trouble;
use crate::pages::words::{counted, holds_list, moment, person, result_word, state_word};
use crate::problem::Problem;

/// Something that was signed or refused.
#[derive(Debug, Clone)]
pub(crate) struct Happened {
    pub what: String,
    pub by: String,
    pub at: DateTime<Utc>,
    pub record: u64,
    /// What there is to say besides.
    pub more: String,
}

/// A result in the list.
#[derive(Debug, Clone)]
pub(crate) struct ResultLine {
    pub run: RunNumber,
    pub by: String,
    pub at: DateTime<Utc>,
    pub standing: ResultStanding,
    pub exceeded: bool,
}

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct PointPage {
    /// Where the programme is.
    pub place: String,
    pub token: String,
    pub now: DateTime<Utc>,
    pub card: CardShown,
    pub state: PointState,
    pub summary: String,
    pub planned_by: String,
    pub planned_at: DateTime<Utc>,
    pub dropped: Option<String>,
    pub after: Vec<PointCode>,
    pub waited_for_by: Vec<PointCode>,
    pub holds: Vec<Hold>,
    pub changed_since: Vec<Difference>,
    pub signed_before: bool,
    pub parts: Vec<PartShown>,
    pub results: Vec<ResultLine>,
    pub history: Vec<Happened>,
    pub trouble: Option<Trouble>,
}

impl PointPage {
    pub fn of<P>(
        member: &Member<P>,
        view: View<'_>,
        rung: &Rung,
        seen: RungView<'_>,
        trouble: Option<Trouble>,
    ) -> Result<Self, Problem> {
        let View { state, now } = view;
        let name = |handle: &PersonHandle| person(state, handle);
        let history = history(state, &seen);
        let own = |part: PartName| {
            let whose = &member.visitor.handle;
            seen.signatures.iter().any(|it| it.part == part && it.by == whose)
                || seen.refusals.iter().any(|it| it.part == part && it.by == whose)
        };
        let acceptance = |part: PartName| {
            matches!(part, PartName::EngineeringAcceptance | PartName::SafetyAcceptance)
        };
        Ok(Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            now,
            card: CardShown::of(state, rung)?,
            state: seen.state,
            planned_by: name(seen.planned_by),
            planned_at: seen.planned_at,
            dropped: seen.dropped.as_ref().map(|it| format!("{}: {}", name(it.by), it.reason)),
            after: seen.plan.after_points.clone(),
            waited_for_by: seen.waited_for_by.to_vec(),
            results: seen
                .results
                .iter()
                .map(|result| ResultLine {
                    run: result.run,
                    by: name(result.by),
                    at: result.at,
                    standing: result.standing,
                    exceeded: result.exceeded,
                })
                .collect(),
            // Results are accepted where they are shown whole.
            parts: seen
                .to_sign
                .parts
                .into_iter()
                .filter(|part| !acceptance(part.part))
                .map(|part| {
                    let own = own(part.part);
                    PartShown::of(part, own, name)
                })
                .collect(),
            changed_since: seen.to_sign.changed_since,
            signed_before: rung.signers.iter().any(|it| it.by == member.visitor.handle),
            holds: seen.holds,
            summary: seen.summary,
            history,
            trouble,
        })
    }

    pub fn body(&self) -> Markup {
        let code = &self.card.code;
        html! {
            h1 { (code) " " (self.card.title) }
            p.lead { (state_word(self.state)) " " (self.summary) }
            (self.next())
            @if let Some(dropped) = &self.dropped { p.warn { "Taken out of the plan by " (dropped) } }
            nav.within aria-label="On this page" {
                a href="#holds" { (counted(self.holds.len(), "hold", "holds")) }
                a href="#card" { "Card" }
                a href="#sign" { "Sign" }
                a href="#results" { "Results" }
                a href="#history" { "History" }
                a href={ (self.place) "/points/" (code) "/card" } { "Print the card" }
            }
            section {
                h2 #holds { "Holds" }
                @if self.holds.is_empty() {
                    p { "All stated conditions are met. That is no clearance to fly: the permit, local rules and the pilot in command come first." }
                }
                (holds_list(&self.holds))
            }
            (self.changes())
            @if self.signed_before {
                p { a href={ (self.place) "/changes?from=signed:" (code) } { "Everything that changed since you last signed this point" } }
            }
            section {
                h2 #card { "The card" }
                p.source { "Planned by " (self.planned_by) ", " (moment(self.planned_at)) ". Digest " code.digest { (self.card.digest) } }
                (self.card.on_screen())
                p { (self.points("Waits for", &self.after)) }
                p { (self.points("Waited for by", &self.waited_for_by)) }
            }
            section {
                h2 #sign { "Sign" }
                p { "Nobody signs two parts of one step, and the author of a plan signs none of them." }
                @for part in &self.parts {
                    (part.shown(&format!("{}/points/{code}", self.place), &self.token, self.now, self.trouble.as_ref()))
                }
            }
            (self.shown_by_runs())
            (self.past())
        }
    }

    fn points(&self, words: &str, points: &[PointCode]) -> Markup {
        html! {
            (words) ": "
            @if points.is_empty() { "no other point" }
            @for (place, code) in points.iter().enumerate() {
                @if place > 0 { ", " }
                a href={ (self.place) "/points/" (code) } { (code) }
            }
            "."
        }
    }

    fn changes(&self) -> Markup {
        let told = |value: &Option<serde_json::Value>| {
            value.as_ref().map_or_else(
                || "nothing".to_owned(),
                |value| match value {
                    serde_json::Value::String(text) => text.clone(),
                    other => other.to_string(),
                },
            )
        };
        html! {
            @if !self.changed_since.is_empty() {
                section.warn {
                    h2 #changed { "Changed since you last signed this point" }
                    dl.changes {
                        @for change in &self.changed_since {
                            dt { code { (change.at) } }
                            dd { "was " del { (told(&change.before)) } ", is " ins { (told(&change.after)) } }
                        }
                    }
                }
            }
        }
    }

    fn shown_by_runs(&self) -> Markup {
        html! {
            section {
                h2 #results { "Results" }
                @if self.results.is_empty() { p { "No run has a result for it yet." } }
                ul {
                    @for result in &self.results {
                        li {
                            a href={ (self.place) "/runs/" (result.run) "/results/" (self.card.code) } { "Result of run " (result.run) }
                            ": " (result_word(result.standing))
                            @if result.exceeded { ", " strong { "beyond a limit" } }
                            ". Recorded by " (result.by) ", " (moment(result.at)) "."
                        }
                    }
                }
            }
        }
    }

    fn past(&self) -> Markup {
        html! {
            section {
                h2 #history { "History" }
                @if self.history.is_empty() { p { "Nobody has signed or refused a part of it yet." } }
                ul {
                    @for it in &self.history {
                        li { (it.what) " by " (it.by) ", " (moment(it.at)) ", record no. " (it.record) @if !it.more.is_empty() { ": " (it.more) } }
                    }
                }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::{codes, holds, long};
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            now: DateTime::UNIX_EPOCH,
            card: CardShown::sample(many),
            state: PointState::Held,
            summary: long("It is held.", many),
            planned_by: "Marit".to_owned(),
            planned_at: DateTime::UNIX_EPOCH,
            dropped: (many > 10).then(|| long("Marit: Covered by another.", many)),
            after: codes(many),
            waited_for_by: codes(many),
            holds: holds(many),
            changed_since: (0..many)
                .map(|place| Difference {
                    at: format!("point.conditions.speed{place}.target"),
                    before: Some(28.0.into()),
                    after: None,
                })
                .collect(),
            signed_before: many > 0,
            parts: [PartName::PlanApproval, PartName::Release, PartName::Acknowledgement]
                .map(|part| PartShown::sample(part, many))
                .to_vec(),
            results: vec![
                ResultLine {
                    run: RunNumber(3),
                    by: "Jonas".to_owned(),
                    at: DateTime::UNIX_EPOCH,
                    standing: ResultStanding::Lapsed,
                    exceeded: true,
                };
                many
            ],
            history: vec![
                Happened {
                    what: "Release".to_owned(),
                    by: "Sofia".to_owned(),
                    at: DateTime::UNIX_EPOCH,
                    record: 412,
                    more: long("refused", many),
                };
                many
            ],
            trouble: None,
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}

/// What was signed and refused, the last first.
fn history(state: &State, seen: &RungView<'_>) -> Vec<Happened> {
    let signed = seen.signatures.iter().map(|it| {
        let mut more =
            if it.stands { "stands".to_owned() } else { "does not stand any more".to_owned() };
        if let Some(until) = it.valid_until {
            more.push_str(&format!(", good until {} UTC", until.format("%Y-%m-%d %H:%M")));
        }
        if let Some(conditions) = it.conditions {
            more.push_str(&format!(", under: {conditions}"));
        }
        let what = in_words(it.part).to_owned();
        Happened { what, by: person(state, it.by), at: it.at, record: it.record, more }
    });
    let refused = seen.refusals.iter().map(|it| Happened {
        what: format!("{} refused", in_words(it.part)),
        by: person(state, it.by),
        at: it.at,
        record: it.record,
        more: it.reasons.to_owned(),
    });
    let mut history: Vec<_> = signed.chain(refused).collect();
    history.sort_by_key(|it| std::cmp::Reverse(it.record));
    history
}
