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
    /// The ledger as far as a view goes.
    pub fn of(office: &Office, programme: &ProgrammeId, view: View<'_>) -> Self {
        let records = view.state.length();
        let head = office.store.tree_at(programme, records);
        let root = head.map(|head| head.root.to_string()).unwrap_or_default();
        Self { records, root, at: view.now }
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
