//! What a file offers to whoever maps it, and what of it carries no channel.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

/// Kinds that are told apart at most; what is beyond them counts as one kind.
const MOST_KINDS: usize = 64;

/// One column that a file offers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Field {
    /// What a mapping calls it.
    pub name: String,
    /// Its unit; absent where neither the file nor its format says.
    pub unit: Option<String>,
    /// Smallest figure that the file's own description allows, in `unit`.
    pub lowest: Option<f64>,
    /// Greatest figure that the file's own description allows, in `unit`.
    pub highest: Option<f64>,
}

impl Field {
    /// A field without a range of its own.
    pub(super) fn new(name: &str, unit: Option<&str>) -> Self {
        let unit = unit.map(str::to_owned);
        Self { name: name.to_owned(), unit, lowest: None, highest: None }
    }
}

/// What of a file was passed over because it carries no channel: each kind, in words, with how often it came.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct PassedOver(BTreeMap<String, u64>);

impl PassedOver {
    /// One more of a kind.
    pub(super) fn count(&mut self, kind: &str) {
        if let Some(count) = self.0.get_mut(kind) {
            *count += 1;
        } else if self.0.len() < MOST_KINDS {
            self.0.insert(kind.to_owned(), 1);
        } else {
            *self.0.entry("others".to_owned()).or_default() += 1;
        }
    }

    /// How often a kind came.
    pub fn of(&self, kind: &str) -> u64 {
        self.0.get(kind).copied().unwrap_or(0)
    }

    /// All kinds in alphabetical order, with how often each came.
    pub fn kinds(&self) -> impl Iterator<Item = (&str, u64)> {
        self.0.iter().map(|(kind, count)| (kind.as_str(), *count))
    }
}
