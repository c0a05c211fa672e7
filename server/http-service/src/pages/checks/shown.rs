//! What the pages of checks show.

use chrono::{DateTime, TimeDelta, Utc};
use maud::{Markup, html};
use programme::nouns::{Check, Phase, Role, Validity};
use programme::people::Act;
use programme::state::{CheckState, State};

use crate::api::checks::{CheckStanding, CheckView, DoneView, check_view};
use crate::desk::View;
use crate::pages::door::Member;
use crate::pages::form::{Draft, Trouble};
use crate::pages::words::{check_word, counted, hours_and_minutes, moment, person, phase};

/// Checks that become due within so many hours are told beside those that are due.
const SOON: TimeDelta = TimeDelta::hours(24);

/// One time that it was done, as pages tell it.
#[derive(Debug, Clone)]
pub(crate) struct Time {
    pub by: String,
    pub at: DateTime<Utc>,
    pub passed: bool,
    pub findings: String,
    pub record: u64,
}

impl Time {
    fn of(state: &State, done: &DoneView<'_>) -> Self {
        Self {
            by: person(state, done.by),
            at: done.at,
            passed: done.passed,
            findings: done.findings.to_owned(),
            record: done.seq,
        }
    }
}

/// A check, and whether it is good.
#[derive(Debug, Clone)]
pub(crate) struct CheckLine {
    pub code: String,
    pub title: String,
    pub method: String,
    pub standing: CheckStanding,
    /// Why it is not good, or until when it is, in words.
    pub because: String,
    pub due_at: Option<DateTime<Utc>>,
    /// Whether it becomes due within a day.
    pub soon: bool,
    pub last_pass: Option<Time>,
    pub failure: Option<Time>,
    /// Who may do it, in words.
    pub by: String,
    /// Whether the visitor may.
    pub may: bool,
}

/// Whether a check is due or was not passed.
pub(crate) const fn is_due(line: &CheckLine) -> bool {
    !matches!(line.standing, CheckStanding::Good)
}

impl CheckLine {
    pub fn of(view: View<'_>, known: &CheckState, roles: &[Role]) -> Self {
        let seen = check_view(view, known);
        let check = seen.check;
        let by: Vec<_> = check.by.iter().map(|role| role.with_article()).collect();
        let time = |done: &DoneView<'_>| Time::of(view.state, done);
        Self {
            code: check.code.to_string(),
            title: check.title.clone(),
            method: check.method.clone(),
            standing: seen.standing,
            because: because(&seen),
            due_at: seen.due_at,
            soon: seen.standing == CheckStanding::Good
                && seen.due_at.is_some_and(|due| due - view.now <= SOON),
            last_pass: seen.last_pass.as_ref().map(time),
            failure: seen.failure.as_ref().map(time),
            by: by.join(" or "),
            may: Act::DoChecks.is_allowed_to(roles)
                && roles.iter().any(|role| check.by.contains(role)),
        }
    }

    /// Title, code, standing and why.
    pub fn told(&self, place: &str) -> Markup {
        html! {
            a href={ (place) "/checks/" (self.code) } { strong { (self.title) } " " span.code { (self.code) } }
            " " span.standing.bad[is_due(self)] { (check_word(self.standing)) }
            p.source {
                (self.because)
                @if let Some(due) = self.due_at {
                    @if is_due(self) { " By the clock it was due " } @else { " By the clock it is good until " }
                    (moment(due)) "."
                }
                @if let Some(pass) = &self.last_pass { " Last passed " (moment(pass.at)) ", " (pass.by) "." }
                " Done by " (self.by) "."
            }
            @if let Some(failure) = &self.failure { p { strong { "Did not pass " } (moment(failure.at)) ", " (failure.by) ": " (failure.findings) } }
        }
    }

    #[cfg(test)]
    pub fn sample(place: usize, many: usize) -> Self {
        use crate::pages::tests::long;
        let time = Time {
            by: long("Ruth", many),
            at: DateTime::UNIX_EPOCH,
            passed: true,
            findings: long("830 kΩ at 500 V after one minute.", many),
            record: 412,
        };
        Self {
            code: format!("C-ISO-{place}"),
            title: long("Insulation resistance", many),
            method: long("Isolated and locked out, 500 V for a minute.", many),
            standing: if place.is_multiple_of(2) {
                CheckStanding::Overdue
            } else {
                CheckStanding::Good
            },
            because: "12 h under power since it was passed.".to_owned(),
            due_at: (many > 1).then_some(DateTime::UNIX_EPOCH),
            soon: place.is_multiple_of(3),
            last_pass: (many > 1).then(|| time.clone()),
            failure: (many > 10).then_some(time),
            by: "an engineer or the ground crew".to_owned(),
            may: true,
        }
    }
}

/// Why a check is not good, or what it has left.
fn because(seen: &CheckView<'_>) -> String {
    let since = seen.powered_min_since.map(|minutes| {
        let allowed = seen.check.validity.powered_hours;
        let allowed = allowed.map(|hours| format!(" of {hours} h that it is good for"));
        format!(
            "{} under power since it was passed{}.",
            hours_and_minutes(minutes),
            allowed.unwrap_or_default()
        )
    });
    let unknown = seen
        .hours_unknown_of
        .map(|run| format!("The times of run {run}, since it was passed, are not complete."));
    let ended = seen
        .ended_by
        .map(|record| format!("A happening or an exchange ended it, record no. {record}."));
    let parts: Vec<_> = [ended, unknown, since].into_iter().flatten().collect();
    if parts.is_empty() && seen.last_pass.is_none() {
        return "Nobody has recorded a pass.".to_owned();
    }
    parts.join(" ")
}

/// How long a check is good for.
fn validity(validity: &Validity) -> String {
    let Validity { powered_hours, clock_hours, days, until, until_changed } = validity;
    let hours = |hours: &Option<f64>, what: &str| hours.map(|hours| format!("{hours} h {what}"));
    let until: Vec<_> = until.iter().map(ToString::to_string).collect();
    let changed: Vec<_> = until_changed.iter().map(ToString::to_string).collect();
    let parts = [
        hours(powered_hours, "under power"),
        hours(clock_hours, "by the clock"),
        days.map(|days| counted(days as usize, "day", "days")),
        (!until.is_empty()).then(|| format!("until {}", until.join(", "))),
        (!changed.is_empty()).then(|| format!("until {} is exchanged", changed.join(" or "))),
    ];
    parts.into_iter().flatten().collect::<Vec<_>>().join("; ")
}

/// The form by which a check is reported as done. A pass is chosen, never presumed.
///
/// `besides` goes with it.
pub(crate) fn form(draft: &Draft<'_>, besides: Markup) -> Markup {
    let outcomes = [("", "choose"), ("true", "it passed"), ("false", "it did not pass")];
    let outcomes = outcomes.map(|(value, words)| (value.to_owned(), words.to_owned()));
    draft.form(html! {
        (besides)
        (draft.choice("passed:chosen", "How it came out", "", "", &outcomes))
        (draft.text("findings", "Readings and what was seen", "Each figure with its unit."))
        (draft.moment("observed_at:moment?", "When it was done", "Left empty: now.", ""))
        (draft.send("Record the check"))
    })
}

/// All checks.
#[derive(Debug, Clone)]
pub(crate) struct ChecksPage {
    pub place: String,
    pub token: String,
    pub may_report: bool,
    pub lines: Vec<CheckLine>,
    /// Kinds of happenings that end checks or put items into quarantine.
    pub events: Vec<String>,
    /// What happened, newest first: kind, account, who, when.
    pub happenings: Vec<(String, String, String, DateTime<Utc>)>,
    pub trouble: Option<Trouble>,
}

/// So many happenings are shown.
const HAPPENINGS: usize = 20;

impl ChecksPage {
    pub fn of<P>(member: &Member<P>, view: View<'_>, trouble: Option<Trouble>) -> Self {
        let state = view.state;
        let checks = || state.checks.by_code.values();
        let events = state.known_events().into_iter().map(ToString::to_string);
        let happenings = state.checks.happenings.iter().rev().take(HAPPENINGS);
        Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            may_report: member.may(Act::ReportEvents),
            lines: checks()
                .map(|known| CheckLine::of(view, known, &member.programme.roles))
                .collect(),
            events: events.collect(),
            happenings: happenings
                .map(|it| (it.event.to_string(), it.account.clone(), person(state, &it.by), it.at))
                .collect(),
            trouble,
        }
    }

    pub fn body(&self) -> Markup {
        let (due, good): (Vec<_>, Vec<_>) = self.lines.iter().partition(|line| is_due(line));
        html! {
            h1 { "Checks" }
            @if let Some(trouble) = self.trouble.as_ref().filter(|_| self.events.is_empty()) { (trouble.alone()) }
            @if self.lines.is_empty() { p { "No check is defined yet. Engineers and the test lead define them." } }
            @else {
                @for (title, empty, lines) in [("Due", "None is due.", due), ("Good", "None is good.", good)] {
                    section {
                        h2 { (title) }
                        @if lines.is_empty() { p { (empty) } }
                        ul.points { @for line in lines { li { (line.told(&self.place)) } } }
                    }
                }
            }
            (self.happened())
        }
    }

    fn happened(&self) -> Markup {
        let to = format!("{}/happenings", self.place);
        let draft = Draft::new("happened", &to, &self.token, self.trouble.as_ref());
        let choices: Vec<_> = self.events.iter().map(|it| (it.clone(), it.clone())).collect();
        html! {
            section {
                h2 #happenings { "Happenings that end checks" }
                @if self.happenings.is_empty() { p { "None was reported." } }
                ul.calls {
                    @for (event, account, by, at) in &self.happenings {
                        li { p.why { (event) } p { (account) } p.source { (by) ", " (moment(*at)) } }
                    }
                }
                @if self.may_report && !self.events.is_empty() {
                    (draft.form(html! {
                        (draft.choice("event", "What happened", "It ends every check that names it, at once. For anything else open a snag.", "", &choices))
                        (draft.text("account", "How it went", ""))
                        (draft.moment("observed_at:moment?", "When", "Left empty: now.", ""))
                        (draft.send("Report it"))
                    }))
                }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::long;
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            may_report: many > 0,
            lines: (0..many).map(|place| CheckLine::sample(place, many)).collect(),
            events: (0..many).map(|place| format!("event-{place}")).collect(),
            happenings: vec![
                (
                    "hard-landing".to_owned(),
                    long("Flat from a metre.", many),
                    "Jonas".to_owned(),
                    DateTime::UNIX_EPOCH
                );
                many.min(HAPPENINGS)
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

/// One check.
#[derive(Debug, Clone)]
pub(crate) struct CheckPage {
    pub place: String,
    pub token: String,
    pub line: CheckLine,
    pub validity: String,
    pub phases: Vec<Phase>,
    pub source: String,
    /// Newest first.
    pub times: Vec<Time>,
    /// How many older ones are not shown.
    pub older: usize,
    pub trouble: Option<Trouble>,
}

/// So many times are shown.
const TIMES: usize = 100;

impl CheckPage {
    pub fn of<P>(
        member: &Member<P>,
        view: View<'_>,
        known: &CheckState,
        trouble: Option<Trouble>,
    ) -> Self {
        let Check { validity: good_for, phases, source, .. } = &known.check;
        let times = known.done.iter().rev().take(TIMES).map(crate::api::checks::done_view);
        Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            line: CheckLine::of(view, known, &member.programme.roles),
            validity: validity(good_for),
            phases: phases.clone(),
            source: source.clone(),
            times: times.map(|done| Time::of(view.state, &done)).collect(),
            older: known.done.len().saturating_sub(TIMES),
            trouble,
        }
    }

    pub fn body(&self) -> Markup {
        let line = &self.line;
        let to = format!("{}/checks/{}/done", self.place, line.code);
        let draft = Draft::new("done", &to, &self.token, self.trouble.as_ref());
        let phases: Vec<_> = self.phases.iter().map(|it| phase(*it)).collect();
        html! {
            p { a href={ (self.place) "/checks" } { "All checks" } }
            h1 { (line.title) " " span.code { (line.code) } }
            @if let Some(trouble) = self.trouble.as_ref().filter(|_| !line.may) { (trouble.alone()) }
            p.lead { span.standing.bad[is_due(line)] { (check_word(line.standing)) } " " (line.because) }
            dl.pairs {
                dt { "How it is done" } dd.prose { (line.method) }
                dt { "Good for" } dd { (self.validity) }
                @if let Some(due) = line.due_at { dt { "Due by the clock" } dd { (moment(due)) } }
                dt { "Needed in" } dd { @if phases.is_empty() { "the points that name it" } @else { (phases.join(", ")) } }
                dt { "Done by" } dd { (line.by) }
                dt { "Asked for by" } dd { (self.source) }
            }
            section {
                h2 #done { "It was done" }
                @if line.may { (form(&draft, html! {})) }
                @else { p { "Your roles may not record it: that is for " (line.by) ". Whoever found something wrong " a href={ (self.place) "/snags#open" } { "opens a snag" } "." } }
            }
            section {
                h2 #times { "Each time" }
                @if self.times.is_empty() { p { "It was never done." } }
                ul.calls {
                    @for time in &self.times {
                        li {
                            p.why { @if time.passed { "Passed" } @else { "Did not pass" } }
                            p.prose { (time.findings) }
                            p.source { (time.by) ", " (moment(time.at)) ", " a href={ (self.place) "/ledger/" (time.record) } { "record no. " (time.record) } }
                        }
                    }
                }
                @if self.older > 0 { p { (counted(self.older, "older time is", "older times are")) " in the ledger." } }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        let page = |many: usize| {
            let line = CheckLine::sample(many, many);
            Self {
                place: "/programmes/tug".to_owned(),
                token: "0".repeat(64),
                validity: "7 days; until hard-landing".to_owned(),
                phases: Phase::ALL.into_iter().take(many).collect(),
                source: crate::pages::tests::long("test plan, section 3", many),
                times: line.last_pass.clone().into_iter().cycle().take(many).collect(),
                older: many / 2,
                line,
                trouble: None,
            }
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}
