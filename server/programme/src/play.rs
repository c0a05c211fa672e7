//! Plays a programme's past: its document, and a story of what people did, each act decided as if they did it.
//!
//! A story is TOML: a list of `[[act]]`, in the order in which they were done. The first is `do = "found"`, and founds
//! the programme from its document. Each act says when (`day = -20` and `time = "07:30"`, UTC, counted from the day of
//! now; or `minutes_ago = 25`), `by` whom, what to `do`, and what the person gave. What a person's screen would have
//! shown at that moment (digests, revisions, what stays as it is) is filled in from the state. Every act is decided by
//! the same command as a user's, so that a story cannot tell what the rules do not allow.

mod acts;
mod reading;
#[cfg(test)]
mod tests;
mod words;

use std::collections::VecDeque;
use std::fmt;
use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc};

use acts::{Deed, Scene};

use crate::codes::{PersonHandle, ProgrammeId};
use crate::commands::Stamp;
use crate::document;
use crate::entry::{Draft, Entry};
use crate::refusal::{Fault, Refusal};
use crate::state::State;

/// Where an act stands in its story.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// Its number, from 1.
    pub act: usize,
    /// The line on which it begins, from 1.
    pub line: usize,
    /// The word after `do`.
    pub what: String,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "act {} (line {}, {})", self.act, self.line, self.what)
    }
}

/// Why a past could not be played.
#[derive(Debug, thiserror::Error)]
pub enum PlayError {
    /// The programme's document has faults.
    #[error("the programme's document cannot be used: {}", told(faults))]
    Document {
        /// Every fault, with its line and field.
        faults: Vec<Fault>,
    },
    /// The story has faults.
    #[error("the story cannot be used: {}", told(faults))]
    Story {
        /// Every fault, with its line, its act and field.
        faults: Vec<Fault>,
    },
    /// An act was refused, or what founds the programme was.
    #[error("{place} by {by} at {} was refused: {}", at.to_rfc3339(), reasons(refusal))]
    Refused {
        /// Which act.
        place: Place,
        /// By whom.
        by: PersonHandle,
        /// When.
        at: DateTime<Utc>,
        /// Why.
        refusal: Box<Refusal>,
    },
}

fn told(faults: &[Fault]) -> String {
    let told: Vec<_> =
        faults.iter().map(|fault| format!("{}: {}", fault.field, fault.why)).collect();
    told.join("; ")
}

/// A refusal with each of its reasons, for whoever mends the story.
fn reasons(refusal: &Refusal) -> String {
    match refusal {
        Refusal::Invalid { faults } => told(faults),
        Refusal::Held { holds } => {
            let whys: Vec<_> =
                holds.iter().map(|hold| format!("{}: {}", hold.rule, hold.why)).collect();
            whys.join(" ")
        }
        Refusal::NotPermitted { .. }
        | Refusal::Unknown { .. }
        | Refusal::NotNow { .. }
        | Refusal::Stale { .. } => refusal.to_string(),
    }
}

/// What one step does.
#[derive(Debug)]
enum What {
    /// Founds the programme from its document.
    Found {
        /// The document.
        text: Arc<str>,
        /// Its title.
        title: String,
    },
    /// An act of a story.
    Deed(Deed),
}

/// One command of a past, with who gave it and when. It owns all that it needs, so that it can be decided elsewhere,
/// such as on the thread of a store's writer.
#[derive(Debug, Clone)]
pub struct Step {
    /// When.
    pub at: DateTime<Utc>,
    /// By whom.
    pub by: PersonHandle,
    place: Place,
    what: Arc<What>,
    nth: usize,
    day: NaiveDate,
    now: DateTime<Utc>,
}

impl Step {
    /// Where its act stands in the story.
    pub const fn place(&self) -> &Place {
        &self.place
    }

    /// The title of the programme that the step founds; none for any other step.
    pub fn founds(&self) -> Option<&str> {
        match &*self.what {
            What::Found { title, .. } => Some(title),
            What::Deed(_) => None,
        }
    }

    /// Decides what is recorded.
    ///
    /// The founding is decided before any record, or after the programme's first alone, where a store has written
    /// that already.
    ///
    /// # Errors
    ///
    /// [`Refusal`], as the command refuses.
    pub fn decide(&self, state: &State) -> Result<Vec<Draft>, Refusal> {
        match &*self.what {
            What::Found { text, .. } => {
                let mut drafts = document::found(text)?;
                if state.length() > 0 {
                    drafts.remove(0);
                }
                Ok(drafts)
            }
            What::Deed(deed) => {
                let stamp = Stamp { by: self.by.clone(), now: self.at };
                let scene = Scene { state, stamp: &stamp, day: self.day, now: self.now };
                deed.decide(self.nth, &scene)
            }
        }
    }

    /// The error that tells of a refusal of this step, with its place in the story.
    pub fn refused(&self, refusal: Refusal) -> PlayError {
        PlayError::Refused {
            place: self.place.clone(),
            by: self.by.clone(),
            at: self.at,
            refusal: Box::new(refusal),
        }
    }
}

/// Plays a past step by step.
#[derive(Debug, Clone)]
pub struct Player {
    title: String,
    steps: VecDeque<Step>,
}

impl Player {
    /// Reads a programme's document and a story about it, told from `now`.
    ///
    /// # Errors
    ///
    /// [`PlayError::Document`] and [`PlayError::Story`] with every fault of the text: unknown fields, unknown acts,
    /// moments out of order or after `now`. What the rules refuse is told when it is played.
    pub fn new(programme: &str, story: &str, now: DateTime<Utc>) -> Result<Self, PlayError> {
        let read =
            document::read_toml(programme).map_err(|faults| PlayError::Document { faults })?;
        let title = read.title.unwrap_or_default();
        document::found(programme).map_err(|refusal| match refusal {
            Refusal::Invalid { faults } => PlayError::Document { faults },
            other => PlayError::Document { faults: vec![Fault::at("document", other.to_string())] },
        })?;
        let founding = What::Found { text: Arc::from(programme), title: title.clone() };
        let steps =
            reading::steps(story, founding, now).map_err(|faults| PlayError::Story { faults })?;
        Ok(Self { title, steps: steps.into() })
    }

    /// What the programme is called.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// How many steps are left.
    pub fn len(&self) -> usize {
        self.steps.len()
    }

    /// Whether all was played.
    pub fn is_empty(&self) -> bool {
        self.steps.is_empty()
    }

    /// The steps that are left, to be decided elsewhere.
    pub fn into_steps(self) -> impl Iterator<Item = Step> {
        self.steps.into_iter()
    }

    /// Decides the next step against the state as it stands: when, by whom, and what is recorded. None when all was
    /// played.
    ///
    /// What it gives must be taken into the state before the next is asked for.
    #[expect(clippy::type_complexity, reason = "when, by whom, what: as an entry begins")]
    pub fn next(
        &mut self,
        state: &State,
    ) -> Option<Result<(DateTime<Utc>, PersonHandle, Vec<Draft>), PlayError>> {
        let step = self.steps.pop_front()?;
        let decided = step.decide(state).map_err(|refusal| step.refused(refusal));
        Some(decided.map(|drafts| (step.at, step.by, drafts)))
    }

    /// Plays all that is left onto a bare state.
    ///
    /// # Errors
    ///
    /// [`PlayError::Refused`] for the first step that the rules refuse.
    pub fn replay(mut self, programme: &ProgrammeId) -> Result<(State, Vec<Entry>), PlayError> {
        let (mut state, mut entries) = (State::default(), Vec::new());
        while let Some(decided) = self.next(&state) {
            let (at, by, drafts) = decided?;
            for draft in drafts {
                let seq = state.length() + 1;
                let entry = Entry::new(programme.clone(), seq, at, by.clone(), draft);
                state.apply(&entry);
                entries.push(entry);
            }
        }
        Ok((state, entries))
    }
}
