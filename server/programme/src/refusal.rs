//! Why a command was not carried out. A refusal is the program working, not an error of it.

use serde::Serialize;

use crate::codes::PersonHandle;
use crate::holds::Hold;
use crate::people::Act;

/// One thing that is wrong with what was given.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub struct Fault {
    /// Where: a path such as `points[3].criteria[0].unit`, or `points.csv line 4, column target`.
    pub field: String,
    /// What is wrong there and what would be right, in a sentence.
    pub why: String,
}

impl Fault {
    /// A fault at a place.
    pub fn at(field: impl Into<String>, why: impl Into<String>) -> Self {
        Self { field: field.into(), why: why.into() }
    }
}

/// Why a command was refused, with what would clear it.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// The person's roles do not allow the act.
    #[error("{person} may not {act}: that is for {allowed}", act = act.in_words(), allowed = act.allowed_in_words())]
    NotPermitted {
        /// Who asked.
        person: PersonHandle,
        /// For what.
        act: Act,
    },
    /// Something that was named does not exist.
    #[error("there is no {what} \"{code}\" in this programme")]
    Unknown {
        /// What kind of thing.
        what: &'static str,
        /// What it was called.
        code: String,
    },
    /// What was given is impossible or incomplete.
    #[error("{} of the things given cannot be accepted", faults.len())]
    Invalid {
        /// Every fault.
        faults: Vec<Fault>,
    },
    /// Stated conditions are not met: every hold at once.
    #[error("held: {} of the stated conditions are not met", holds.len())]
    Held {
        /// Every hold.
        holds: Vec<Hold>,
    },
    /// The programme is not in the state that the command needs.
    #[error("{why}")]
    NotNow {
        /// A stable code, such as `run-already-closed`.
        code: &'static str,
        /// Why not.
        why: String,
        /// What would make it possible.
        clears: String,
    },
    /// What the person saw is not what stands there now.
    #[error("{what} has changed since: it is at revision {present}, you gave {given}")]
    Stale {
        /// What changed.
        what: String,
        /// Its revision now.
        present: u64,
        /// The revision that was given.
        given: u64,
    },
}
