//! What a file offers to whoever maps it, and what of it carries no channel.

use std::collections::BTreeMap;
use std::io::{Read, Take};

use serde::{Deserialize, Serialize};

use crate::{Block, ChannelSpec, ColumnPlan, Sink, Unreadable};

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

/// Bytes of a file that are looked at to tell what it offers.
const BYTES_TO_LOOK_AT: u64 = 16 << 20;

/// Which of a format's columns have a figure in the first 16 MiB of a file.
///
/// # Errors
///
/// What reading the file as the format gives, where nothing was found before.
pub(super) fn offered<R: Read>(
    source: R,
    columns: &[(&str, Option<&str>)],
    read: impl FnOnce(Take<R>, &[ColumnPlan], &mut dyn Sink) -> Result<PassedOver, Unreadable>,
) -> Result<Vec<Field>, Unreadable> {
    let plan = |name: &str| ColumnPlan {
        column: name.to_owned(),
        channel: ChannelSpec {
            code: name.to_owned(),
            unit: String::new(),
            lowest: None,
            highest: None,
            accuracy: None,
        },
        scale: 1.0,
        offset: 0.0,
    };
    let plans: Vec<ColumnPlan> = columns.iter().map(|(name, _)| plan(name)).collect();
    let mut seen = Seen(vec![false; columns.len()]);
    let outcome = read(source.take(BYTES_TO_LOOK_AT), &plans, &mut seen);
    let found = columns.iter().zip(&seen.0).filter(|(_, seen)| **seen);
    let fields: Vec<Field> = found.map(|((name, unit), _)| Field::new(name, *unit)).collect();
    match outcome {
        // The end of what was looked at may be in the middle of a line.
        Err(fault) if fields.is_empty() => Err(fault),
        Ok(_) | Err(_) => Ok(fields),
    }
}

/// Notes which columns ever have a value.
struct Seen(Vec<bool>);

impl Sink for Seen {
    fn take(&mut self, block: &mut Block) -> Result<(), Unreadable> {
        for (seen, column) in self.0.iter_mut().zip(&block.columns) {
            *seen = *seen || column.iter().any(|value| !value.is_nan());
        }
        Ok(())
    }
}
