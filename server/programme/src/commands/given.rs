//! What people give with a command, looked at before anything is decided: texts, moments, revisions, nouns.

use std::fmt::Display;

use chrono::{DateTime, TimeDelta, Utc};

use super::Stamp;
use crate::document::{self, ProgrammeDocument};
use crate::entry::Draft;
use crate::nouns::judging::Judging;
use crate::record::Record;
use crate::refusal::{Fault, Refusal};
use crate::state::{Amendable, State};

/// How far ahead of the server's clock the clock of a phone may be.
const CLOCKS_DIFFER: TimeDelta = TimeDelta::minutes(2);

/// Collects everything that is wrong with what was given.
pub(super) struct Given<'a> {
    state: &'a State,
    now: DateTime<Utc>,
    pub(super) judging: Judging<'static>,
    found: Vec<Fault>,
}

impl<'a> Given<'a> {
    pub(super) const fn new(state: &'a State, stamp: &Stamp) -> Self {
        Self { state, now: stamp.now, judging: Judging::of(""), found: Vec::new() }
    }

    /// Text of one or more lines with something in it.
    pub(super) fn text(mut self, field: &str, text: &str) -> Self {
        self.judging.text(field, text);
        self
    }

    /// As [`Given::text`], where it was given.
    pub(super) fn optional_text(mut self, field: &str, text: Option<&String>) -> Self {
        if let Some(text) = text {
            self.judging.text(field, text);
        }
        self
    }

    /// One line with something in it.
    pub(super) fn title(mut self, field: &str, text: &str) -> Self {
        self.judging.title(field, text);
        self
    }

    /// Notes a fault unless something holds.
    pub(super) fn must(mut self, holds: bool, field: &str, why: impl Into<String>) -> Self {
        self.judging.must(holds, field, why);
        self
    }

    /// A moment at which something was seen: not before the programme was founded, and not in the future.
    pub(super) fn seen_at(mut self, field: &str, at: Option<DateTime<Utc>>) -> Self {
        let Some(at) = at else { return self };
        self.judging.must(
            at <= self.now + CLOCKS_DIFFER,
            field,
            format!("{} has not come yet: give the moment at which it was seen", at.to_rfc3339()),
        );
        if let Some(founded) = self.state.founded_at {
            self.judging.must(
                at >= founded,
                field,
                format!(
                    "{} is before the programme was founded at {}",
                    at.to_rfc3339(),
                    founded.to_rfc3339()
                ),
            );
        }
        self
    }

    /// When something was seen, as people give it with a command.
    pub(super) fn observed(self, at: Option<DateTime<Utc>>) -> Self {
        self.seen_at("observed_at", at)
    }

    /// What is wrong with a noun: looked at alone, and against the programme.
    ///
    /// `section` is the list of the document that it belongs to; the places that are told are those in the noun.
    pub(super) fn noun(
        mut self,
        alone: Vec<Fault>,
        document: &ProgrammeDocument,
        section: &str,
    ) -> Self {
        self.found.extend(alone);
        let in_list = format!("{section}[0].");
        let itself = format!("{section}[0]");
        for fault in document::check(document, self.state) {
            let field = fault.field.strip_prefix(&in_list).unwrap_or(&fault.field);
            let field = if field == itself { "" } else { field };
            self.found.push(Fault::at(field, fault.why));
        }
        self
    }

    /// Faults that were found elsewhere.
    pub(super) fn faults(mut self, faults: Vec<Fault>) -> Self {
        self.found.extend(faults);
        self
    }

    /// Refuses where anything is wrong, with all of it.
    pub(super) fn settled(mut self) -> Result<(), Refusal> {
        let mut faults = self.judging.done();
        faults.append(&mut self.found);
        if faults.is_empty() { Ok(()) } else { Err(Refusal::Invalid { faults }) }
    }
}

/// Refuses where a thing is not at the revision that the person saw. Where none was given nothing is asked.
pub(super) fn at_revision(
    state: &State,
    of: &Amendable,
    expected: Option<u64>,
) -> Result<(), Refusal> {
    let present = state.revision(of);
    match expected {
        Some(given) if given != present => {
            Err(Refusal::Stale { what: of.to_string(), present, given })
        }
        Some(_) | None => Ok(()),
    }
}

/// Refuses what would change nothing.
pub(super) fn changes(differs: bool, what: impl Display) -> Result<(), Refusal> {
    if differs {
        return Ok(());
    }
    Err(not_now(
        "nothing-changes",
        format!("{what} is already as given"),
        "Nothing needs to be done.",
    ))
}

/// A refusal because of the state that the programme is in.
pub(super) fn not_now(
    code: &'static str,
    why: impl Into<String>,
    clears: impl Into<String>,
) -> Refusal {
    Refusal::NotNow { code, why: why.into(), clears: clears.into() }
}

/// A refusal because something that was named does not exist.
pub(super) fn unknown(what: &'static str, code: impl ToString) -> Refusal {
    Refusal::Unknown { what, code: code.to_string() }
}

/// The one draft of a command.
pub(super) fn one(record: impl Into<Record>) -> Vec<Draft> {
    vec![record.into().into()]
}

/// The one draft of a command about something that was seen.
pub(super) fn one_seen(
    observed_at: Option<DateTime<Utc>>,
    record: impl Into<Record>,
) -> Vec<Draft> {
    vec![Draft { observed_at, record: record.into() }]
}
