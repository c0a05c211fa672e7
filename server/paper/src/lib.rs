//! Papers: the evidence document of a programme, and drafts of what a team owes its authority, as PDF.
//!
//! A paper is written from the state (a [`Manuscript`]) and then set, which takes its time. Everything is an argument: the
//! state, the moment, the root of the ledger. Nothing here reads a disk, a network, a clock or a random source.
//!
//! What is not known is printed as "not recorded". Nothing here says that anything is safe.

mod drafts;
mod evidence;
mod manuscript;
mod parts;
mod plot;
mod requirements;
mod scope;
#[cfg(test)]
mod tests;
mod typeset;
mod words;

use chrono::NaiveDate;
use programme::codes::PointCode;
use programme::scope::Scope;
use programme::state::State;

pub use drafts::{Draft, draft};
pub use evidence::evidence;
pub use manuscript::{CheckpointFacts, Manuscript};

/// Why there is no paper.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Trouble {
    /// There is no such point.
    #[error("there is no point {point}")]
    NoSuchPoint {
        /// Which.
        point: PointCode,
    },
    /// Nothing was run on the day.
    #[error("nothing was run on {day}")]
    NothingThatDay {
        /// The day, in UTC.
        day: NaiveDate,
    },
    /// There is more to set than is done in reasonable time.
    #[error("the paper would have {parts} parts, and at most {most} are set")]
    TooLong {
        /// How much there is to set.
        parts: usize,
        /// How much is set at most.
        most: usize,
    },
    /// The typesetter failed: a fault of the program.
    #[error("the paper could not be set: {why}")]
    Unset {
        /// What it says.
        why: String,
    },
}

/// The evidence document of a scope, as PDF.
///
/// The same state and facts give the same bytes. Where a lock is held on the state, write with [`evidence()`] under it, and set
/// with [`Manuscript::typeset`] after.
///
/// # Errors
///
/// [`Trouble`].
pub fn document(scope: &Scope, state: &State, facts: &CheckpointFacts) -> Result<Vec<u8>, Trouble> {
    evidence(scope, state, facts.at)?.typeset(facts)
}
