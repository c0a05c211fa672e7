//! The state of a programme: the fold of its records.

use crate::entry::Entry;

/// All that the records say, put together.
#[derive(Debug, Clone, Default)]
pub struct State {
    length: u64,
}

impl State {
    /// Takes in the next record. Never refuses: what is recorded has happened.
    pub fn apply(&mut self, entry: &Entry) {
        self.length = entry.seq;
    }

    /// How many records were taken in.
    pub const fn length(&self) -> u64 {
        self.length
    }
}
