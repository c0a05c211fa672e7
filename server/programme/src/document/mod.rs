//! The one document in which a team writes its programme, read, checked, turned into records, and given back.
//!
//! A document is TOML: `[aircraft]`, `[policy]`, and lists of `[[people]]`, `[[items]]`, `[[channels]]`, `[[recorders]]`,
//! `[[limits]]`, `[[checks]]`, `[[hazards]]`, `[[documents]]` and `[[points]]`. What it leaves out stays as it is: an import adds
//! and changes, and takes nothing away. Points can also be kept in a spreadsheet, see [`points_table`].

mod check;
mod cycles;
mod export;
mod found;
mod import;
mod places;
pub mod points_table;
mod read;
mod records;
mod references;
mod tables;
#[cfg(test)]
mod tests;

use serde::{Deserialize, Serialize};

pub use check::check;
pub(crate) use check::{
    check_proposed, faults_of_heating_order, faults_of_quarantine, unknown_items,
};
pub use export::export;
pub use found::found;
pub use import::{ImportDocument, ImportPoints, PointsFile};
pub(crate) use places::Path;
pub use places::Places;
pub use read::read_toml;
pub(crate) use read::syntax_fault;
pub use records::to_records;
pub(crate) use references::unit_fits;
pub(crate) use tables::TableReader;

use crate::nouns::{
    Aircraft, Channel, Check, Document, Hazard, Item, Limit, Person, Point, Policy, Recorder,
};

/// The greatest document or spreadsheet that is read, in bytes.
pub const LARGEST_DOCUMENT: usize = 8 * 1024 * 1024;

/// The most points that one document or spreadsheet may hold.
pub const MOST_POINTS: usize = 20_000;

/// A programme as a team writes it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProgrammeDocument {
    /// What the programme is called; it must be the title that the programme was founded with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub title: Option<String>,
    /// The aircraft.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub aircraft: Option<Aircraft>,
    /// What the programme has decided for itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub policy: Option<Policy>,
    /// People with their roles and qualifications.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub people: Vec<Person>,
    /// Items of the configuration as fitted.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub items: Vec<Item>,
    /// Channels and derived parameters.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub channels: Vec<Channel>,
    /// Recorders with the mapping of their columns.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub recorders: Vec<Recorder>,
    /// Limits.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub limits: Vec<Limit>,
    /// Checks.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub checks: Vec<Check>,
    /// Hazards.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hazards: Vec<Hazard>,
    /// Documents.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub documents: Vec<Document>,
    /// Points, in the order in which people think of them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub points: Vec<Point>,
}

impl ProgrammeDocument {
    /// Whether it says nothing at all.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}
