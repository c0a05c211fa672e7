//! What the pages of snags show.

use chrono::{DateTime, Utc};
use maud::{Markup, html};
use programme::codes::{RunNumber, SnagNumber};
use programme::nouns::{Phase, Severity};
use programme::people::Act;
use programme::state::{Snag, State};

use crate::api::snags::{SnagView, snag_view};
use crate::desk::View;
use crate::pages::door::Member;
use crate::pages::form::{Draft, Trouble};
use crate::pages::words::{counted, moment, person, phase, severity, severity_code};
use crate::problem::Problem;

/// So many closed ones are shown at a time.
const CLOSED: usize = 50;

/// A snag in a list.
#[derive(Debug, Clone)]
pub(crate) struct SnagLine {
    pub snag: SnagNumber,
    pub title: String,
    pub grounding: bool,
    pub severity: Severity,
    pub phases: Vec<Phase>,
    pub item: Option<String>,
    pub run: Option<RunNumber>,
    pub found: (String, DateTime<Utc>),
    pub closed: Option<(String, DateTime<Utc>)>,
    /// What was done last.
    pub last_action: Option<String>,
}

impl SnagLine {
    pub fn of(state: &State, seen: &SnagView<'_>) -> Self {
        Self {
            snag: seen.snag,
            title: seen.title.to_owned(),
            grounding: seen.grounding,
            severity: seen.severity,
            phases: seen.phases.to_vec(),
            item: seen.item.map(ToString::to_string),
            run: seen.run,
            found: (person(state, seen.by), seen.at),
            closed: seen.closed.as_ref().map(|it| (person(state, it.by), it.at)),
            last_action: seen.work.iter().rev().find_map(|it| it.action).map(str::to_owned),
        }
    }

    /// Whether it grounds, and which phases.
    fn grounds(&self) -> Option<String> {
        if !self.grounding {
            return None;
        }
        let phases: Vec<_> = self.phases.iter().map(|it| phase(*it).to_lowercase()).collect();
        Some(match (self.closed.is_some(), phases.is_empty()) {
            (true, _) => "grounded".to_owned(),
            (false, true) => "grounds".to_owned(),
            (false, false) => format!("grounds {}", phases.join(", ")),
        })
    }

    /// Title, whether it grounds, and what is known.
    pub fn told(&self, place: &str) -> Markup {
        html! {
            a href={ (place) "/snags/" (self.snag) } { strong { "Snag " (self.snag) } " " (self.title) }
            @if let Some(grounds) = self.grounds() { " " span.standing.bad[self.closed.is_none()] { (grounds) } }
            p.source {
                (severity(self.severity))
                @if let Some(item) = &self.item { " · on " (item) }
                @if let Some(run) = self.run { " · in run " (run) }
                " · found by " (self.found.0) ", " (moment(self.found.1))
                @if let Some((by, at)) = &self.closed { " · closed by " (by) ", " (moment(*at)) }
            }
            @if let Some(action) = &self.last_action { p.short { (action) } }
        }
    }

    #[cfg(test)]
    pub fn sample(number: usize, many: usize) -> Self {
        use crate::pages::tests::long;
        Self {
            snag: SnagNumber(number as u32 + 1),
            title: long("Chafed cable at the rear battery box", many),
            grounding: number.is_multiple_of(2),
            severity: Severity::ALL[number % 4],
            phases: Phase::ALL.into_iter().take(number % 6).collect(),
            item: Some("battery".to_owned()),
            run: Some(RunNumber(25)),
            found: (long("Ruth", many), DateTime::UNIX_EPOCH),
            closed: (number % 3 == 2).then(|| ("Tomas".to_owned(), DateTime::UNIX_EPOCH)),
            last_action: Some(long("Sleeve put over it.", many)),
        }
    }
}

/// All snags.
#[derive(Debug, Clone)]
pub(crate) struct SnagsPage {
    pub place: String,
    pub token: String,
    pub may_open: bool,
    /// Newest first.
    pub open: Vec<SnagLine>,
    /// Newest first, some of them.
    pub closed: Vec<SnagLine>,
    /// Where older closed ones begin.
    pub older: Option<SnagNumber>,
    /// Code and title of what is fitted.
    pub items: Vec<(String, String)>,
    /// The last runs, newest first.
    pub runs: Vec<RunNumber>,
    pub trouble: Option<Trouble>,
}

impl SnagsPage {
    pub fn of<P>(
        member: &Member<P>,
        view: View<'_>,
        before: Option<u32>,
        trouble: Option<Trouble>,
    ) -> Result<Self, Problem> {
        let state = view.state;
        let line = |snag: &Snag| Ok(SnagLine::of(state, &snag_view(snag)?));
        let newest = || state.snags.iter().rev();
        let closed = newest()
            .filter(|snag| snag.closed.is_some())
            .filter(|snag| before.is_none_or(|before| snag.number.0 < before));
        let mut closed: Vec<_> =
            closed.take(CLOSED + 1).map(line).collect::<Result<_, Problem>>()?;
        let more = closed.len() > CLOSED;
        closed.truncate(CLOSED);
        let items = state.configuration.items.values();
        Ok(Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            may_open: member.may(Act::OpenSnags),
            open: newest()
                .filter(|snag| snag.closed.is_none())
                .map(line)
                .collect::<Result<_, Problem>>()?,
            older: closed.last().filter(|_| more).map(|line| line.snag),
            closed,
            items: items
                .map(|fitted| (fitted.item.code.to_string(), fitted.item.title.clone()))
                .collect(),
            runs: state.runs.iter().rev().take(20).map(|run| run.number).collect(),
            trouble,
        })
    }

    pub fn body(&self) -> Markup {
        let grounding = self.open.iter().filter(|line| line.grounding).count();
        html! {
            h1 { "Snags" }
            p.lead {
                @if self.open.is_empty() { "No snag is open." }
                @else { (counted(self.open.len(), "snag is open", "snags are open")) ", " @if grounding == 0 { "none grounds." } @else { (counted(grounding, "grounds.", "ground.")) } }
            }
            ul.points { @for line in &self.open { li { (line.told(&self.place)) } } }
            (self.opening())
            section {
                h2 #closed { "Closed" }
                @if self.closed.is_empty() { p { "None." } }
                ul.points { @for line in &self.closed { li { (line.told(&self.place)) } } }
                @if let Some(before) = self.older { p { a.button href={ (self.place) "/snags?before=" (before) "#closed" } { "Older" } } }
            }
        }
    }

    fn opening(&self) -> Markup {
        let to = format!("{}/snags", self.place);
        let draft = Draft::new("open", &to, &self.token, self.trouble.as_ref());
        let pair = |value: String, words: String| (value, words);
        let mut grounds = vec![pair(String::new(), "choose".to_owned())];
        grounds.push(pair("true".to_owned(), "yes: nothing runs while it is open".to_owned()));
        grounds.push(pair("false".to_owned(), "no".to_owned()));
        let mut severities = vec![pair(String::new(), "choose".to_owned())];
        severities.extend(
            Severity::ALL.map(|it| pair(severity_code(it).to_owned(), severity(it).to_owned())),
        );
        let mut items = vec![pair(String::new(), "none, or not known".to_owned())];
        items.extend(
            self.items.iter().map(|(code, title)| pair(code.clone(), format!("{title} ({code})"))),
        );
        let mut runs = vec![pair(String::new(), "in none".to_owned())];
        runs.extend(self.runs.iter().map(|run| pair(run.to_string(), format!("run {run}"))));
        html! {
            section {
                h2 #open { "Open a snag" }
                @if self.may_open {
                    (draft.form(html! {
                        (draft.line("title", "What was found", "A defect, or anything that is not as it should be.", ""))
                        (draft.choice("grounding:chosen", "Does it ground the aircraft?", "In doubt: yes. It can never be made not to ground again, only closed.", "", &grounds))
                        (draft.choice("severity", "How bad it could be", "", "", &severities))
                        (draft.choice("item?", "On which item", "", "", &items))
                        (draft.choice("run:count?", "In which run", "", "", &runs))
                        fieldset {
                            legend { "It grounds these phases only" }
                            p.hint { "None ticked: all." }
                            (draft.hidden("phases:list", ""))
                            @for it in Phase::ALL { (draft.tick("phases[]", it.as_str(), html! { (phase(it)) }, false)) }
                        }
                        (draft.moment("observed_at:moment?", "When it was found", "Left empty: now.", ""))
                        (draft.send("Open the snag"))
                    }))
                } @else { p { "Your roles may not open one: that is for " (Act::OpenSnags.allowed_in_words()) ". Tell one of them." } }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        let page = |many: usize| {
            let lines = (0..many).map(|number| SnagLine::sample(number, many));
            let (open, closed) = lines.partition(|line| line.closed.is_none());
            Self {
                place: "/programmes/tug".to_owned(),
                token: "0".repeat(64),
                may_open: many > 0,
                open,
                closed,
                older: (many > 10).then_some(SnagNumber(3)),
                items: vec![("battery".to_owned(), "Battery".to_owned()); many],
                runs: (0..many as u32).map(RunNumber).collect(),
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

/// Work on a snag, as pages tell it.
#[derive(Debug, Clone)]
pub(crate) struct Worked {
    pub by: String,
    pub at: DateTime<Utc>,
    pub cause: Option<String>,
    pub action: Option<String>,
}

/// One snag.
#[derive(Debug, Clone)]
pub(crate) struct SnagPage {
    pub place: String,
    pub token: String,
    pub line: SnagLine,
    pub work: Vec<Worked>,
    /// To be signed with the closing; absent when it is closed.
    pub digest: Option<String>,
    /// What was signed, where it is closed.
    pub signed: Option<String>,
    pub may_work: bool,
    pub may_close: bool,
    pub trouble: Option<Trouble>,
}

impl SnagPage {
    pub fn of<P>(
        member: &Member<P>,
        view: View<'_>,
        snag: &Snag,
        trouble: Option<Trouble>,
    ) -> Result<Self, Problem> {
        let seen = snag_view(snag)?;
        let worked = seen.work.iter().map(|it| Worked {
            by: person(view.state, it.by),
            at: it.at,
            cause: it.cause.map(str::to_owned),
            action: it.action.map(str::to_owned),
        });
        Ok(Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            line: SnagLine::of(view.state, &seen),
            work: worked.collect(),
            digest: seen.digest.as_ref().map(ToString::to_string),
            signed: seen.closed.as_ref().map(|it| it.digest.to_string()),
            may_work: member.may(Act::WorkSnags),
            may_close: member.may(Act::CloseSnags),
            trouble,
        })
    }

    pub fn body(&self) -> Markup {
        let line = &self.line;
        html! {
            p { a href={ (self.place) "/snags" } { "All snags" } }
            h1 { "Snag " (line.snag) ": " (line.title) }
            @if let Some(trouble) = self.trouble.as_ref().filter(|_| self.digest.is_none()) { (trouble.alone()) }
            p.lead {
                @match &line.closed {
                    Some((by, at)) => { "Closed by " (by) ", " (moment(*at)) "." }
                    None => {
                        strong { "Open" } ", " @match line.grounds() { Some(grounds) => (grounds), None => "does not ground" } "."
                    }
                }
            }
            dl.pairs {
                dt { "How bad it could be" } dd { (severity(line.severity)) }
                dt { "On" } dd { (line.item.as_deref().unwrap_or("no item")) }
                dt { "In" } dd { @match line.run { Some(run) => { a href={ (self.place) "/runs/" (run) } { "run " (run) } } None => "no run" } }
                dt { "Found" } dd { (line.found.0) ", " (moment(line.found.1)) }
                @if let Some(signed) = &self.signed { dt { "Digest signed" } dd { code.digest { (signed) } } }
            }
            section {
                h2 #work { "Work" }
                @if self.work.is_empty() { p { "Nobody has recorded any." } }
                ul.calls {
                    @for work in &self.work {
                        li {
                            @if let Some(cause) = &work.cause { p { strong { "Cause: " } (cause) } }
                            @if let Some(action) = &work.action { p { strong { "Done: " } (action) } }
                            @if work.cause.is_none() && work.action.is_none() { p { "It grounds from then on." } }
                            p.source { (work.by) ", " (moment(work.at)) }
                        }
                    }
                }
            }
            @if let Some(digest) = &self.digest { (self.working()) (self.closing(digest)) }
        }
    }

    fn working(&self) -> Markup {
        let to = format!("{}/snags/{}/work", self.place, self.line.snag);
        let draft = Draft::new("work", &to, &self.token, self.trouble.as_ref());
        html! {
            section {
                h2 { "Record work" }
                @if self.may_work {
                    (draft.form(html! {
                        (draft.text("cause?", "Cause, as far as it is known", ""))
                        (draft.text("action?", "What was done", ""))
                        @if !self.line.grounding { (draft.tick("grounds_now:chosen", "true", html! { "It grounds the aircraft from now on" }, false)) }
                        (draft.moment("observed_at:moment?", "When", "Left empty: now.", ""))
                        (draft.send("Record the work"))
                    }))
                } @else { p { "Your roles may not record work: that is for " (Act::WorkSnags.allowed_in_words()) "." } }
            }
        }
    }

    fn closing(&self, digest: &str) -> Markup {
        let to = format!("{}/snags/{}/closing", self.place, self.line.snag);
        let draft = Draft::new("close", &to, &self.token, self.trouble.as_ref());
        html! {
            section {
                h2 #close { "Close it" }
                @if self.line.grounding { p { "It grounds: an engineer who did not do the last work on it closes it." } }
                @if self.may_close {
                    (draft.form(html! {
                        (draft.hidden("digest", digest))
                        (draft.text("cause", "Cause", ""))
                        (draft.text("action", "What was done, and how it was seen to help", ""))
                        p.source { "You sign the snag as it stands above, digest " code.digest { (digest) } "." }
                        (draft.secret())
                        (draft.send("Close the snag"))
                    }))
                } @else { p { "Your roles may not close it: that is for " (Act::CloseSnags.allowed_in_words()) "." } }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::long;
        let page = |many: usize| {
            let line = SnagLine { closed: None, ..SnagLine::sample(many, many) };
            Self {
                place: "/programmes/tug".to_owned(),
                token: "0".repeat(64),
                work: vec![
                    Worked {
                        by: long("Ruth", many),
                        at: DateTime::UNIX_EPOCH,
                        cause: (many > 1).then(|| long("The clip was missing.", many)),
                        action: (many > 2).then(|| long("Clip fitted.", many)),
                    };
                    many
                ],
                line,
                digest: Some("9f86d081".repeat(8)),
                signed: None,
                may_work: true,
                may_close: many > 0,
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
