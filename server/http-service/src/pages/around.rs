//! What is around the body of every page: head, who you are, the way to stop everything, and where else to go.

use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use actix_web::http::header::{HeaderName, HeaderValue};
use chrono::{DateTime, SecondsFormat, Utc};
use maud::{DOCTYPE, Markup, html};

use super::assets;
use super::door::{OwnProgramme, Visitor};
use super::words::{moment, roles};

/// Where in the menu a page stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Section {
    None,
    Today,
    Programme,
    Ladder,
    Runs,
    Recordings,
    Envelope,
    Predictions,
    Configuration,
    Hazards,
    Days,
    Dates,
    Hours,
    Progress,
    Snags,
    Checks,
    People,
    Ledger,
    Evidence,
    Tomorrow,
    Forecast,
    Past,
    StandDown,
}

/// The menu of a programme: section, words, and where it is.
const MENU: &[(Section, &str, &str)] = &[
    (Section::Today, "Today", "/today"),
    (Section::Tomorrow, "Tomorrow", "/tomorrow"),
    (Section::Programme, "Programme", ""),
    (Section::Ladder, "Ladder", "/ladder"),
    (Section::Runs, "Runs", "/runs"),
    (Section::Recordings, "Recordings", "/recordings"),
    (Section::Envelope, "Envelope", "/envelope"),
    (Section::Predictions, "Predictions", "/predictions"),
    (Section::Forecast, "Forecast", "/forecast"),
    (Section::Configuration, "Configuration", "/configuration"),
    (Section::Hazards, "Hazards", "/hazards"),
    (Section::Days, "Test days", "/days"),
    (Section::Dates, "Dates", "/dates"),
    (Section::Hours, "Hours and log", "/hours"),
    (Section::Progress, "Progress", "/progress"),
    (Section::Snags, "Snags", "/snags"),
    (Section::Checks, "Checks", "/checks"),
    (Section::People, "People", "/people"),
    (Section::Ledger, "Ledger", "/ledger"),
    (Section::Evidence, "Evidence", "/evidence"),
    (Section::Past, "The past", "/past"),
    (Section::StandDown, "Stand-down", "/stand-down"),
];

/// What is around a page.
#[derive(Debug, Clone)]
pub(crate) struct Around {
    pub title: String,
    pub visitor: Option<Visitor>,
    pub programme: Option<OwnProgramme>,
    pub section: Section,
    pub now: DateTime<Utc>,
    /// The record that was just made, told at the top.
    pub recorded: Option<u64>,
    /// Whether the page follows the ledger while it is open.
    pub follows: bool,
    /// Whether browsers may keep the page for where there is no signal.
    pub keeps: bool,
    /// The past moment as of which the page is shown.
    pub past: Option<String>,
}

/// Tells the service worker that it may keep a page, and for whom it was made.
static KEEP: HeaderName = HeaderName::from_static("rungbook-keep");

impl Around {
    pub fn of_nobody(title: impl Into<String>, now: DateTime<Utc>) -> Self {
        let title = title.into();
        Self {
            title,
            visitor: None,
            programme: None,
            section: Section::None,
            now,
            recorded: None,
            follows: false,
            keeps: false,
            past: None,
        }
    }

    /// The page follows the ledger while it is open: it shows what others do without being loaded anew.
    pub fn live(self) -> Self {
        Self { follows: true, ..self }
    }

    /// The page opens where there is no signal, once it was opened where there was one. What this means for what a device
    /// keeps stands in [`assets`].
    pub fn keeps(self) -> Self {
        Self { keeps: true, ..self }
    }

    /// The page shows the ledger itself, or tells by itself which moment it shows: no words of the past stand around it.
    pub fn of_all_time(self) -> Self {
        Self { past: None, ..self }
    }

    /// Tells that a record of this number was made.
    pub fn recorded(self, seq: Option<u64>) -> Self {
        Self { recorded: seq, ..self }
    }

    /// The record to tell of. Its number comes by the address, which anybody can write: one that is not there is not told.
    fn recorded_in_ledger(&self) -> Option<u64> {
        let records = self.programme.as_ref().map_or(0, |programme| programme.records);
        self.recorded.filter(|seq| (1..=records).contains(seq))
    }

    /// The whole page as a reply.
    pub fn reply(&self, status: StatusCode, body: Markup) -> HttpResponse {
        let mut reply = HttpResponse::build(status);
        let person = self
            .visitor
            .as_ref()
            .filter(|_| self.keeps && self.past.is_none() && status == StatusCode::OK);
        if let Some(Ok(person)) = person.map(|it| HeaderValue::from_str(it.handle.as_str())) {
            reply.insert_header((KEEP.clone(), person));
        }
        reply.content_type("text/html; charset=utf-8").body(self.page(body).into_string())
    }

    /// The whole page.
    pub fn page(&self, body: Markup) -> Markup {
        html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="color-scheme" content="light dark";
                    title { (self.title) " · Rungbook" }
                    link rel="icon" href=(assets::ICON.place()) type="image/svg+xml";
                    link rel="stylesheet" href=(assets::STYLE.place());
                    script src=(assets::SCRIPT.place()) defer {}
                }
                body data-made=(self.now.to_rfc3339_opts(SecondsFormat::Millis, true)) data-person=[self.visitor.as_ref().map(|it| it.handle.as_str())] data-name=[self.visitor.as_ref().map(|it| it.name.as_str())] {
                    a.skip href="#main" { "Skip to the page" }
                    (self.head())
                    @if let Some(programme) = &self.programme {
                        div data-part="stand-down" {
                            (self.stand_down(programme))
                            (self.copy(programme))
                        }
                    }
                    aside.kept #kept aria-label="Kept on this device" aria-live="polite" hidden {}
                    div.columns {
                        @if let Some(programme) = &self.programme { (self.menu(programme)) }
                        main #main tabindex="-1" data-live=[self.stream()] data-seq=[self.programme.as_ref().map(|it| it.records)] data-keep[self.keeps && self.past.is_none()] {
                            @if let Some(seq) = self.recorded_in_ledger() {
                                p.recorded role="status" { "Recorded as no. " (seq) " of the ledger." }
                            }
                            @if let Some(past) = &self.past {
                                p.past role="status" {
                                    strong { "As it stood " (past_in_words(past)) ". " }
                                    "Nothing can be sent from here, and links lead to the present. "
                                    a href="?" { "Show the present" }
                                }
                                fieldset.past disabled { (body) }
                            } @else { (body) }
                        }
                    }
                    (self.foot())
                    @if self.follows && self.past.is_none() { p.news #news aria-live="polite" {} }
                }
            }
        }
    }

    /// Where the page hears that the ledger has grown.
    fn stream(&self) -> Option<String> {
        let programme = self.programme.as_ref().filter(|_| self.follows && self.past.is_none())?;
        Some(format!("/programmes/{}/events", programme.id))
    }

    fn head(&self) -> Markup {
        html! {
            header.top data-part="head" {
                p.mark {
                    a href="/" { "Rungbook" }
                    @if let Some(programme) = &self.programme {
                        " "
                        a.of href={ "/programmes/" (programme.id) } { (programme.title) }
                    }
                }
                @if let Some(programme) = &self.programme {
                    a.jump href="#menu" { "Menu" }
                    @if let Some(run) = programme.open_run {
                        a.jump href={ "/programmes/" (programme.id) "/runs/" (run) } { "Run " (run) span.more { " is open" } }
                    }
                    a.stop href={ "/programmes/" (programme.id) "/stand-down" } { "Stop everything" }
                }
            }
        }
    }

    fn stand_down(&self, programme: &OwnProgramme) -> Markup {
        html! {
            @if programme.stand_downs > 0 {
                p.standing-down role="alert" {
                    strong { "Stand-down in force. " }
                    "Nothing is released and nothing runs. "
                    a href={ "/programmes/" (programme.id) "/stand-down" } { "Who called it, and why" }
                }
            }
        }
    }

    fn copy(&self, programme: &OwnProgramme) -> Markup {
        html! {
            @if programme.is_copy {
                p.standing-down role="alert" {
                    strong { "This ledger goes on from a copy. " }
                    "What was recorded after the copy was made is missing, and nobody signs until test lead and safety officer have acknowledged that. "
                    a href={ "/programmes/" (programme.id) "/past" } { "What is known of it" }
                }
            }
        }
    }

    fn menu(&self, programme: &OwnProgramme) -> Markup {
        html! {
            nav.menu #menu aria-label="Programme" {
                ul {
                    @for (section, words, place) in MENU {
                        li {
                            a href={ "/programmes/" (programme.id) (place) } aria-current=[(*section == self.section).then_some("page")] { (words) }
                        }
                    }
                }
            }
        }
    }

    fn foot(&self) -> Markup {
        html! {
            footer {
                @if let Some(visitor) = &self.visitor {
                    form.who method="post" action="/sign-out" {
                        input type="hidden" name="form.token" value=(visitor.form_token);
                        p {
                            "You are " strong { (visitor.name) }
                            @if let Some(programme) = &self.programme { ", " (roles(&programme.roles)) }
                            "."
                        }
                        button.quiet { "Sign out" }
                        a.jump href="/account" { "Your account" }
                        @if self.programme.is_some() { a.jump href="/" { "All your programmes" } }
                    }
                }
                p { "Page made " (moment(self.now)) ". Times are UTC." }
                p.caution {
                    "Rungbook advises and clears nobody to fly: the authority's permit and conditions, local rules, the pilot in command and licensed inspectors come first. "
                    "High-voltage DC, propellers and burning lithium cells kill: only instructed people work near them, with the pack isolated wherever the work allows it, and nobody stands in the plane of a propeller whose motor can be powered."
                }
            }
        }
    }
}

/// A past moment as an address gives it.
fn past_in_words(past: &str) -> String {
    if past.bytes().all(|digit| digit.is_ascii_digit()) {
        format!("after record {past}")
    } else {
        format!("at {past}")
    }
}
