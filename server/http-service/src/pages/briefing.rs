//! The briefing sheet of a run: what everybody there is told before power comes on, on one or two pages of A4.

use std::collections::BTreeMap;

use actix_web::http::StatusCode;
use chrono::{DateTime, Utc};
use maud::{Markup, html};
use programme::codes::RunNumber;
use programme::hours::ConfigurationDigest;
use programme::measure::Unit;
use programme::state::Run;

use super::around::Section;
use super::card::CardShown;
use super::checks::{CheckLine, is_due};
use super::door::Member;
use super::paper::MadeFrom;
use super::words::{counted, figure, moment, observed, person, phase};
use crate::access::Read;
use crate::api::points::rung;
use crate::api::snags::snag_view;
use crate::desk::{Answer, View};
use crate::given::{At, Number};
use crate::office::Office;
use crate::problem::Problem;

/// Somebody of the crew.
#[derive(Debug, Clone)]
pub(crate) struct Seat {
    pub name: String,
    pub role: &'static str,
    pub on_board: bool,
    /// Qualifications that are over.
    pub expired: Vec<String>,
}

/// What the sheet shows.
#[derive(Debug, Clone)]
pub(crate) struct BriefingPage {
    pub place: String,
    pub programme: String,
    pub aircraft: String,
    pub run: RunNumber,
    pub kind: &'static str,
    pub opened: DateTime<Utc>,
    pub crew: Vec<Seat>,
    /// In the order in which they are run.
    pub cards: Vec<CardShown>,
    pub minutes: f64,
    pub energy_kwh: f64,
    /// Observed last: what, when, and whether it is still new enough.
    pub weather: Option<(String, DateTime<Utc>, bool)>,
    pub configuration: String,
    pub fitted: String,
    pub due: Vec<String>,
    pub snags: Vec<String>,
    pub open_exceedances: usize,
    pub made_from: MadeFrom,
}

/// What each run needs told, and which no programme can know: filled in by hand.
const BY_HAND: &[&str] = &[
    "Radio frequency, and the words for knock-it-off",
    "Fire watch: who, where, with what",
    "Emergency number and meeting point",
    "Runway in use, abort point, area to keep clear",
    "Propeller: who stands where while power is on",
];

impl BriefingPage {
    fn of(member: &Member<Read>, view: View<'_>, run: &Run) -> Result<Self, Problem> {
        let View { state, now } = view;
        let cards: Vec<_> = run
            .points
            .iter()
            .map(|code| CardShown::of(state, rung(state, code)?))
            .collect::<Result<_, Problem>>()?;
        let seat = |it: &programme::record::CrewMember| {
            let listed = state.people.get(&it.person);
            let held = listed.map(|person| person.qualifications.as_slice()).unwrap_or_default();
            Seat {
                name: person(state, &it.person),
                role: it.role.in_words(),
                on_board: it.on_board,
                expired: held
                    .iter()
                    .filter(|it| !it.is_good(now))
                    .map(|it| it.code.to_string())
                    .collect(),
            }
        };
        let planned = || run.points.iter().filter_map(|code| run.planned(code));
        let weather = state.latest_weather().map(|seen| {
            let parts = observed(&seen.weather).into_iter();
            let parts: Vec<_> = parts.map(|(label, figure)| format!("{label} {figure}")).collect();
            let until = state.policy.as_ref().map(|policy| policy.weather_good_until(seen.at));
            (parts.join(", "), seen.at, until.is_some_and(|until| now <= until))
        });
        let checks = state.checks.by_code.values().map(|known| CheckLine::of(view, known, &[]));
        let fitted = run.fitted();
        let items: Vec<_> =
            fitted.iter().map(|(item, version)| format!("{item} {version}")).collect();
        let snag = |snag: &programme::state::Snag| {
            let seen = snag_view(snag)?;
            let grounds = if seen.grounding { " (grounds)" } else { "" };
            Ok(format!("{} {}{grounds}", seen.snag, seen.title))
        };
        Ok(Self {
            place: member.place(""),
            programme: state.title.clone(),
            aircraft: state.aircraft.as_ref().map(|it| it.name.clone()).unwrap_or_default(),
            run: run.number,
            kind: run.what.in_words(),
            opened: run.opened_at,
            crew: run.crew.iter().map(seat).collect(),
            minutes: planned().map(|point| point.duration_min).sum(),
            energy_kwh: planned().map(|point| point.energy_kwh).sum(),
            cards,
            weather,
            configuration: ConfigurationDigest::of(&fitted).short,
            fitted: items.join("; "),
            due: checks.filter(is_due).map(|it| format!("{} ({})", it.title, it.code)).collect(),
            snags: state.open_snags().map(snag).collect::<Result<_, Problem>>()?,
            open_exceedances: state.open_exceedances().count(),
            made_from: MadeFrom::of(view),
        })
    }

    fn body(&self) -> Markup {
        html! {
            div.screen {
                p { a href={ (self.place) "/runs/" (self.run) } { "Back to run " (self.run) } " · " a href={ (self.place) "/runs/" (self.run) "/cards" } { "Its cards" } }
                p { button type="button" data-print hidden { "Print" } }
            }
            article.leaf {
                p.sheet-head { span { (self.programme) @if !self.aircraft.is_empty() { " · " (self.aircraft) } } span { "Configuration " code { (self.configuration) } } }
                h1 { "Briefing, run " (self.run) ", " (self.kind) }
                p.source { "Opened " (moment(self.opened)) ". Planned: " (counted(self.cards.len(), "point", "points")) ", " (figure(self.minutes, Unit::Minute)) ", " (figure(self.energy_kwh, Unit::KilowattHour)) " out of the pack." }
                p.warn { strong { "Anyone may stop. " } "Knock-it-off ends the run, a stand-down everything; neither needs a reason first. The pilot in command decides on board." }
                (self.crew())
                (self.points())
                (self.limits())
                (self.hazards())
                (self.state())
                (self.by_hand())
                p.sheet-foot {
                    "Cards: " @for (place, card) in self.cards.iter().enumerate() { @if place > 0 { ", " } (card.code) " " code { (card.digest) } } ". "
                    (self.made_from.told())
                }
            }
        }
    }

    fn crew(&self) -> Markup {
        html! {
            h2 { "Crew" }
            @if self.crew.is_empty() { p { "Nobody is named." } }
            ul {
                @for seat in &self.crew {
                    li {
                        strong { (seat.name) } ", " (seat.role) ", " @if seat.on_board { "on board" } @else { "on the ground" }
                        @if !seat.expired.is_empty() { ", " strong { "over: " (seat.expired.join(", ")) } }
                    }
                }
            }
        }
    }

    fn points(&self) -> Markup {
        html! {
            h2 { "Points, in this order" }
            @if self.cards.is_empty() { p { "None." } }
            ol {
                @for card in &self.cards {
                    li {
                        strong { (card.code) } " " (card.title) " (" (phase(card.phase)) ", " (card.duration) ", " (card.energy) ")"
                        @if !card.conditions.is_empty() { br; @for (place, (axis, target)) in card.conditions.iter().enumerate() { @if place > 0 { ", " } (axis) " " strong { (target) } } }
                        @if !card.stop_criteria.is_empty() { br; strong { "Stop at once if: " } (card.stop_criteria.join(" · ")) }
                        @if let Some(conditions) = &card.release_conditions { br; strong { "Released under: " } (conditions) }
                        @if !card.weather.is_empty() { br; span.source { "Weather: " (card.weather.join("; ")) } }
                    }
                }
            }
        }
    }

    fn limits(&self) -> Markup {
        let mut limits: BTreeMap<&str, (&str, &str)> = BTreeMap::new();
        for (code, channel, allowed) in self.cards.iter().flat_map(|card| &card.limits) {
            limits.entry(code).or_insert((channel, allowed));
        }
        html! {
            h2 { "Limits" }
            @if limits.is_empty() { p { "None in force." } }
            ul.limits { @for (code, (channel, allowed)) in limits { li { (channel) ": " strong { (allowed) } " " span.code { (code) } } } }
        }
    }

    fn hazards(&self) -> Markup {
        let mut hazards = BTreeMap::new();
        for hazard in self.cards.iter().flat_map(|card| &card.hazards) {
            hazards.entry(hazard.code.as_str()).or_insert(hazard);
        }
        html! {
            h2 { "Hazards, and what is done about them" }
            @if hazards.is_empty() { p { "None is named." } }
            ul {
                @for (code, hazard) in hazards {
                    li {
                        strong { (hazard.title) } " " span.code { (code) }
                        @match &hazard.residual { Some(residual) => { ", residual risk " strong { (residual) } }, None => ", residual risk not judged" }
                        ": " (hazard.effect) " " (hazard.mitigations.join(" "))
                    }
                }
            }
        }
    }

    fn state(&self) -> Markup {
        html! {
            h2 { "Aircraft and weather" }
            ul {
                li {
                    strong { "Weather: " }
                    @match &self.weather {
                        Some((told, at, is_new)) => { (told.trim_end_matches('.')) ", observed " (moment(*at)) @if !is_new { ". " strong { "Too old: observe it again" } } "." }
                        None => strong { "nobody has observed it." },
                    }
                }
                li { strong { "Checks due: " } @if self.due.is_empty() { "none" } @else { (self.due.join("; ")) } "." }
                li { strong { "Open snags: " } @if self.snags.is_empty() { "none" } @else { (self.snags.join("; ")) } "; open exceedances: " (self.open_exceedances) "." }
                li { strong { "Fitted: " } span.fitted { @if self.fitted.is_empty() { "nothing recorded" } @else { (self.fitted) } } "." }
            }
        }
    }

    fn by_hand(&self) -> Markup {
        html! {
            h2 { "To be filled in by hand" }
            table.to-fill { tbody { @for what in BY_HAND { tr { th scope="row" { (what) } td { span.for-ears { "left free" } } } } } }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use super::tests::long;
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            programme: long("Electric glider tug", many),
            aircraft: "Tug".to_owned(),
            run: RunNumber(25),
            kind: "flight",
            opened: DateTime::UNIX_EPOCH,
            crew: vec![
                Seat {
                    name: long("Jonas", many),
                    role: "test pilot",
                    on_board: true,
                    expired: vec!["medical".to_owned(); many / 10],
                };
                many
            ],
            cards: vec![CardShown::sample(many); many.min(12)],
            minutes: 15.0,
            energy_kwh: 1.2,
            weather: (many > 0).then(|| (long("Wind 8 kt", many), DateTime::UNIX_EPOCH, many < 10)),
            configuration: "9f86d0818888".to_owned(),
            fitted: long("battery 1; motor 2", many),
            due: vec![long("Insulation", many); many / 3],
            snags: vec![long("3 Chafed cable", many); many],
            open_exceedances: many,
            made_from: MadeFrom::sample(),
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}

/// The sheet of a run.
pub(crate) async fn show(
    member: Member<Read>,
    run: At<Number<RunNumber>>,
    office: Office,
) -> Answer {
    let number = run.0.0;
    let page = member
        .look(&office, |view| {
            let run = view.state.run(number).ok_or_else(|| Problem::unknown("run", number))?;
            BriefingPage::of(&member, view, run)
        })
        .await?;
    let made_from = page.made_from.rooted(&office, &member.programme.id);
    let page = BriefingPage { made_from, ..page };
    let around = member.around(format!("Briefing, run {number}"), Section::Runs);
    Ok(around.reply(StatusCode::OK, page.body()))
}
