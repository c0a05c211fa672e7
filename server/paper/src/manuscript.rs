//! What stands in a paper before it is set: blocks in order, all of them plain data.

use chrono::{DateTime, Datelike, Timelike, Utc};
use serde::Serialize;

use crate::plot::Plot;
use crate::words::{clean, clean_cell};

/// The size of the ledger that a paper was made from, its root, and the moment that it shows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CheckpointFacts {
    /// How many records the ledger has.
    pub records: u64,
    /// The root over them, in hexadecimal.
    pub root: String,
    /// The moment that the paper shows.
    pub at: DateTime<Utc>,
}

/// A column of a table.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Column {
    title: &'static str,
    width: f64,
    mono: bool,
}

/// A column of this title and share of the width.
pub(crate) const fn column(title: &'static str, width: f64) -> Column {
    Column { title, width, mono: false }
}

/// As [`column()`], for digests.
pub(crate) const fn digests(title: &'static str, width: f64) -> Column {
    Column { title, width, mono: true }
}

/// A line on which a person signs by hand.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct SignLine {
    pub role: &'static str,
    pub means: &'static str,
}

/// One block of a paper.
#[derive(Debug, Clone, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub(crate) enum Block {
    Chapter { text: String },
    Part { text: String },
    Label { text: String },
    Text { text: String },
    Note { text: String },
    List { items: Vec<String> },
    Facts { rows: Vec<(String, String)> },
    Table { columns: Vec<Column>, rows: Vec<Vec<String>> },
    Plot(Plot),
    Signatures { lines: Vec<SignLine> },
}

/// Blocks as they are put together.
#[derive(Debug, Clone, Default)]
pub(crate) struct Blocks(Vec<Block>);

impl Blocks {
    pub fn chapter(&mut self, text: impl AsRef<str>) {
        self.0.push(Block::Chapter { text: clean(text.as_ref()) });
    }

    pub fn part(&mut self, text: impl AsRef<str>) {
        self.0.push(Block::Part { text: clean(text.as_ref()) });
    }

    pub fn label(&mut self, text: impl AsRef<str>) {
        self.0.push(Block::Label { text: clean(text.as_ref()) });
    }

    pub fn text(&mut self, text: impl AsRef<str>) {
        self.0.push(Block::Text { text: clean(text.as_ref()) });
    }

    pub fn note(&mut self, text: impl AsRef<str>) {
        self.0.push(Block::Note { text: clean(text.as_ref()) });
    }

    /// A list; nothing where it is empty.
    pub fn list<T: AsRef<str>>(&mut self, items: impl IntoIterator<Item = T>) {
        let items: Vec<_> = items.into_iter().map(|item| clean(item.as_ref())).collect();
        if !items.is_empty() {
            self.0.push(Block::List { items });
        }
    }

    /// Names with what is known of them.
    pub fn facts<V: AsRef<str>>(&mut self, rows: impl IntoIterator<Item = (&'static str, V)>) {
        let rows = rows.into_iter();
        let rows = rows.map(|(name, value)| (name.to_owned(), clean_cell(value.as_ref())));
        self.0.push(Block::Facts { rows: rows.collect() });
    }

    /// A table; in its place `none` where it has no rows.
    pub fn table<const N: usize>(
        &mut self,
        columns: [Column; N],
        rows: impl IntoIterator<Item = [String; N]>,
        none: &str,
    ) {
        let cell = |(value, column): (&String, &Column)| {
            if column.mono { clean(value) } else { clean_cell(value) }
        };
        let rows: Vec<Vec<_>> =
            rows.into_iter().map(|row| row.iter().zip(&columns).map(cell).collect()).collect();
        if rows.is_empty() {
            self.text(none);
        } else {
            self.0.push(Block::Table { columns: columns.into(), rows });
        }
    }

    pub fn plot(&mut self, plot: Plot) {
        self.0.push(Block::Plot(plot));
    }

    pub fn signatures(&mut self, lines: impl IntoIterator<Item = SignLine>) {
        self.0.push(Block::Signatures { lines: lines.into_iter().collect() });
    }

    /// How much there is to set: cells, paragraphs and marks.
    fn weight(&self) -> usize {
        let of = |block: &Block| match block {
            Block::Table { columns, rows } => columns.len() * (rows.len() + 1),
            Block::Facts { rows } => 2 * rows.len(),
            Block::List { items } => items.len(),
            Block::Plot(plot) => plot.weight(),
            Block::Signatures { lines } => 4 * lines.len(),
            Block::Chapter { .. }
            | Block::Part { .. }
            | Block::Label { .. }
            | Block::Text { .. }
            | Block::Note { .. } => 1,
        };
        self.0.iter().map(of).sum()
    }
}

/// A paper that is written and not yet set.
#[derive(Debug, Clone)]
pub struct Manuscript {
    pub(crate) title: String,
    pub(crate) of: String,
    pub(crate) programme: String,
    pub(crate) draft: bool,
    pub(crate) front: Blocks,
    pub(crate) blocks: Blocks,
}

/// A paper as the template reads it.
#[derive(Debug, Serialize)]
pub(crate) struct ToSet<'a> {
    title: String,
    of: String,
    programme: String,
    draft: bool,
    size: String,
    root: &'a str,
    time: String,
    date: [u32; 5],
    front: &'a [Block],
    blocks: &'a [Block],
}

impl Manuscript {
    /// How much there is to set, in cells, paragraphs and marks.
    pub(crate) fn weight(&self) -> usize {
        self.front.weight() + self.blocks.weight()
    }

    pub(crate) fn to_set<'a>(&'a self, facts: &'a CheckpointFacts) -> ToSet<'a> {
        let at = facts.at;
        ToSet {
            title: clean(&self.title),
            of: clean(&self.of),
            programme: clean(&self.programme),
            draft: self.draft,
            size: facts.records.to_string(),
            root: &facts.root,
            time: at.format("%Y-%m-%d %H:%M UTC").to_string(),
            // The template's dates have no years outside of these.
            date: [
                at.year().clamp(0, 9999).unsigned_abs(),
                at.month(),
                at.day(),
                at.hour(),
                at.minute(),
            ],
            front: &self.front.0,
            blocks: &self.blocks.0,
        }
    }
}
