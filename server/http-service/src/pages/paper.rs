//! What stands at the foot of every sheet of paper: from which state it was made, and the cautions.

use chrono::{DateTime, Utc};
use maud::{Markup, html};
use programme::codes::ProgrammeId;

use super::words::moment;
use crate::desk::View;
use crate::office::Office;

/// The state that a sheet was made from.
#[derive(Debug, Clone)]
pub(crate) struct MadeFrom {
    /// Size and root of the ledger.
    pub records: u64,
    pub root: String,
    pub at: DateTime<Utc>,
}

impl MadeFrom {
    /// What a view shows; its root is told by [`MadeFrom::rooted`].
    pub fn of(view: View<'_>) -> Self {
        Self { records: view.state.length(), root: String::new(), at: view.now }
    }

    /// With the root over those records. Not to be called while looking at a programme: it waits for the lock that the
    /// one who looks holds already.
    pub fn rooted(self, office: &Office, programme: &ProgrammeId) -> Self {
        let head = office.store.tree_at(programme, self.records);
        Self { root: head.map(|head| head.root.to_string()).unwrap_or_default(), ..self }
    }

    /// In words, with the cautions.
    pub fn told(&self) -> Markup {
        html! {
            "Ledger: " (self.records) " records, root " code { (self.root) } ". "
            "Printed from the state of " (moment(self.at)) "; what was recorded since is not on it. "
            "Rungbook clears nobody to fly: permit, local rules, the pilot in command and licensed inspectors come first. "
            "High-voltage DC, propeller and lithium cells: instructed people only; nobody in the plane of the propeller; fire watch as briefed."
        }
    }

    #[cfg(test)]
    pub fn sample() -> Self {
        Self { records: 412, root: "9f86d081".repeat(8), at: DateTime::UNIX_EPOCH }
    }
}
