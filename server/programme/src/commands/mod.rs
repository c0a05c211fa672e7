//! Commands: what people ask for, and the decision about it. One file per kind of decision.
//!
//! A command looks at the state and gives the records to write, or refuses. It touches nothing.

use chrono::{DateTime, Utc};

use crate::codes::PersonHandle;
use crate::entry::Draft;
use crate::people::Act;
use crate::refusal::Refusal;
use crate::state::State;

/// Who asks, and when.
#[derive(Debug, Clone)]
pub struct Stamp {
    /// Who.
    pub by: PersonHandle,
    /// When, by the server's clock.
    pub now: DateTime<Utc>,
}

/// Something that a person asks for.
pub trait Command {
    /// What it takes to be allowed to ask.
    fn act(&self) -> Act;

    /// Decides; writes nothing. Called after permission was checked.
    ///
    /// # Errors
    ///
    /// [`Refusal`], naming everything that stands against it.
    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal>;
}

/// Checks permission, then lets the command decide.
///
/// # Errors
///
/// [`Refusal::NotPermitted`], or what the command refuses.
pub fn decide(state: &State, command: &impl Command, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
    let act = command.act();
    if !act.is_allowed_to(state.roles(&stamp.by)) {
        return Err(Refusal::NotPermitted { person: stamp.by.clone(), act });
    }
    command.decide(state, stamp)
}
