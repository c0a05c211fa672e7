//! What stands against an act, as holds: all of it is told at once.

use crate::holds::{Hold, Stage, Subject};
use crate::refusal::Refusal;

/// A hold that no source of holds knows, for it stands against this act alone.
pub(super) fn hold(
    rule: &'static str,
    (what, code): (&'static str, impl ToString),
    why: impl Into<String>,
    clears: impl Into<String>,
    source: impl Into<String>,
) -> Hold {
    Hold {
        rule,
        subject: Subject { what, code: code.to_string() },
        why: why.into(),
        clears: clears.into(),
        source: source.into(),
        stage: Stage::Release,
    }
}

/// Refuses where anything holds, with all of it.
pub(super) fn unless_held(holds: Vec<Hold>) -> Result<(), Refusal> {
    if holds.is_empty() { Ok(()) } else { Err(Refusal::Held { holds }) }
}
