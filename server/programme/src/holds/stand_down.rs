//! A stop called on the whole programme holds every point until the safety officer lifts it.

use chrono::{DateTime, Utc};

use super::words::{moment, said};
use super::{Explained, Reason, Rule, Subject};
use crate::codes::PersonHandle;
use crate::state::{Rung, State};

static CALLED: Rule = Rule::against_release(
    "stand-down",
    "No point goes ahead while a stand-down of the programme is in force.",
);

pub(super) static RULES: &[&Rule] = &[&CALLED];

/// A stand-down that nobody has lifted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StandDown {
    /// The record that called it.
    pub seq: u64,
    /// Who called it.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
}

pub(super) fn collect(_: &Rung, state: &State, _: DateTime<Utc>, found: &mut Vec<Reason>) {
    found.extend(state.stand_downs.iter().filter(|called| called.lifted.is_none()).map(|called| {
        Reason::StandDown(StandDown { seq: called.seq, by: called.by.clone(), at: called.at })
    }));
}

impl Explained for StandDown {
    fn rule(&self) -> &'static Rule {
        &CALLED
    }

    fn subject(&self, _: &Rung) -> Subject {
        Subject::new("stand-down", self.seq)
    }

    fn why(&self, _: &Rung, state: &State) -> String {
        let reason = state.stand_downs.iter().find(|called| called.seq == self.seq);
        let reason = reason.map_or("", |called| called.reason.as_str());
        format!("{} called a stand-down at {}: {}", self.by, moment(self.at), said(reason))
    }

    fn clears(&self, _: &Rung, _: &State) -> String {
        "The safety officer lifts the stand-down, with reasons.".to_owned()
    }

    fn source(&self, _: &Rung, _: &State) -> String {
        "Rungbook rule: anyone can stop everything, and only the safety officer lifts it".to_owned()
    }
}
