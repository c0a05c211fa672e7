//! Where each field of a document stands, so that a fault can be told with its line.

use std::fmt;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::refusal::Fault;

/// One step into a document.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Step {
    /// Into a table.
    Key(String),
    /// Into a list.
    Index(usize),
}

/// Steps from the top of a document to one value.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Path(pub(super) Vec<Step>);

impl Path {
    /// The path of something in this table.
    pub(crate) fn key(&self, key: &str) -> Self {
        let mut steps = self.0.clone();
        steps.push(Step::Key(key.to_owned()));
        Self(steps)
    }

    /// The path of something in this list.
    pub(crate) fn index(&self, index: usize) -> Self {
        let mut steps = self.0.clone();
        steps.push(Step::Index(index));
        Self(steps)
    }

    /// The path of what this is in.
    pub(crate) fn parent(&self) -> Option<(Self, &Step)> {
        let (last, before) = self.0.split_last()?;
        Some((Self(before.to_vec()), last))
    }

    /// Reads what [`fmt::Display`] writes.
    pub(crate) fn read(text: &str) -> Self {
        let mut steps = Vec::new();
        for part in text.split('.').filter(|part| !part.is_empty()) {
            let (key, indices) = part.split_once('[').unwrap_or((part, ""));
            if !key.is_empty() {
                steps.push(Step::Key(key.to_owned()));
            }
            let indices = indices.split(['[', ']']);
            steps.extend(indices.filter_map(|index| index.parse().ok()).map(Step::Index));
        }
        Self(steps)
    }
}

impl fmt::Display for Path {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, step) in self.0.iter().enumerate() {
            match step {
                Step::Key(key) if place == 0 => f.write_str(key)?,
                Step::Key(key) => write!(f, ".{key}")?,
                Step::Index(index) => write!(f, "[{index}]")?,
            }
        }
        Ok(())
    }
}

/// Line and column of a place in a text, both from 1; the column counts characters.
pub(super) fn line_and_column(text: &str, offset: usize) -> (usize, usize) {
    let before = text.get(..offset).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    let start = before.rfind('\n').map_or(0, |newline| newline + 1);
    (line, before[start..].chars().count() + 1)
}

/// The places of everything in one document.
pub struct Places<'t> {
    text: &'t str,
    /// Where each line begins, so that looking one up is quick in a large document.
    line_starts: Vec<usize>,
    root: DeTable<'t>,
}

impl<'t> Places<'t> {
    /// Of a TOML text. What cannot be read has no place.
    pub fn of(text: &'t str) -> Self {
        Self::with(text, DeTable::parse_recoverable(text).0.into_inner())
    }

    pub(crate) fn with(text: &'t str, root: DeTable<'t>) -> Self {
        let newlines = text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n');
        let line_starts = std::iter::once(0).chain(newlines.map(|(at, _)| at + 1)).collect();
        Self { text, line_starts, root }
    }

    /// Puts the line before the field of each fault: `line 12, points[3].title`.
    ///
    /// Where a field is missing it is the line of what it is missing in.
    pub fn told(&self, faults: Vec<Fault>) -> Vec<Fault> {
        let mut placed: Vec<_> = faults
            .into_iter()
            .map(|fault| (self.line_of(&Path::read(&fault.field)), fault))
            .collect();
        placed.sort_by_key(|(line, _)| *line);
        placed
            .into_iter()
            .map(|(line, fault)| Fault::at(format!("line {line}, {}", fault.field), fault.why))
            .collect()
    }

    /// The line of a value, of the key that leads to it, or of the nearest thing that it would stand in.
    pub(crate) fn line_of(&self, path: &Path) -> usize {
        let offset = self.span_of(path).map_or(0, |span| span.start.min(self.text.len()));
        self.line_starts.partition_point(|start| *start <= offset)
    }

    fn span_of(&self, path: &Path) -> Option<Range<usize>> {
        let (first, rest) = path.0.split_first()?;
        let Step::Key(key) = first else { return None };
        let (name, mut value) = self.root.get_key_value(key.as_str())?;
        // A list of tables has no place of its own; its first element has.
        let mut span = if rest.is_empty() { first_place(value) } else { name.span() };
        for (place, step) in rest.iter().enumerate() {
            let last = place + 1 == rest.len();
            match (step, value.get_ref()) {
                (Step::Key(key), DeValue::Table(table)) => {
                    let Some((name, inner)) = table.get_key_value(key.as_str()) else { break };
                    span = if last { name.span() } else { inner.span() };
                    value = inner;
                }
                (Step::Index(index), DeValue::Array(list)) => {
                    let Some(inner) = list.get(*index) else { break };
                    span = inner.span();
                    value = inner;
                }
                _ => break,
            }
        }
        Some(span)
    }
}

fn first_place(value: &Spanned<DeValue<'_>>) -> Range<usize> {
    match value.get_ref() {
        DeValue::Array(list) => list.first().map_or_else(|| value.span(), Spanned::span),
        _ => value.span(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_reads_back_what_it_writes() {
        for text in ["title", "points[3].criteria[0].unit", "policy.risk.rows[1][2]"] {
            assert_eq!(Path::read(text).to_string(), text);
        }
    }

    #[test]
    fn a_field_is_told_with_its_line_and_a_missing_one_with_that_of_its_table() {
        let text = "title = \"t\"\n\n[[points]]\ncode = \"A\"\ncrew = [\n  { role = 1 },\n]\n\n[[points]]\ncode = \"B\"\n";
        let places = Places::of(text);
        let line = |path: &str| places.line_of(&Path::read(path));
        assert_eq!(line("title"), 1);
        assert_eq!(line("points[0].code"), 4);
        assert_eq!(line("points[0].crew[0].role"), 6);
        assert_eq!(line("points[0].missing"), 3);
        assert_eq!(line("points[1]"), 9);
        assert_eq!(line("points[1].code"), 10);
    }
}
