//! Reads a document, and tells everything that is wrong with its form and with each part of it alone.

use serde::de::DeserializeOwned;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::places::{Path, Places, line_and_column};
use super::tables::TableReader;
use super::{LARGEST_DOCUMENT, MOST_POINTS, ProgrammeDocument};
use crate::nouns::{
    Aircraft, Channel, Check, Document, Hazard, Item, Limit, Person, Point, Policy, Recorder,
};
use crate::refusal::Fault;

/// The most faults that are told at once; a document with more is best looked at from its top again.
pub(super) const MOST_FAULTS: usize = 1000;

/// The most signs of TOML's grammar that are read. Prose and figures have a tenth as many signs as letters; text of nothing but
/// brackets would take a hundred times its size in memory.
const MOST_SIGNS: usize = 700_000;

/// The most faults of syntax that are told at once.
const MOST_SYNTAX_FAULTS: usize = 20;

/// The sections of a document, as people see them when they mistype one.
const SECTIONS: &str = "title, aircraft, policy, people, items, channels, recorders, limits, checks, hazards, documents, points";

/// Something that a document holds and that can be looked at alone.
trait Noun: DeserializeOwned {
    /// What is wrong with it alone.
    fn faults(&self, at: &str) -> Vec<Fault>;
}

macro_rules! nouns {
    ($($name:ident),+) => {
        $(impl Noun for $name {
            fn faults(&self, at: &str) -> Vec<Fault> {
                $name::faults(self, at)
            }
        })+
    };
}

nouns!(Aircraft, Policy, Person, Item, Channel, Recorder, Limit, Check, Hazard, Document, Point);

/// Reads a document.
///
/// # Errors
///
/// Every fault, each with its line and field, in the order of the lines: text that is no TOML; unknown, missing or
/// mistyped fields; codes, titles, units and figures that cannot be. What parts say of each other is looked at by
/// [`super::check()`].
pub fn read_toml(text: &str) -> Result<ProgrammeDocument, Vec<Fault>> {
    if text.len() > LARGEST_DOCUMENT {
        return Err(vec![Fault::at(
            "document",
            format!("is larger than {} MiB; split it", LARGEST_DOCUMENT / 1024 / 1024),
        )]);
    }
    let signs = text.bytes().filter(|byte| b"[]{},.=".contains(byte)).count();
    if signs > MOST_SIGNS {
        return Err(vec![Fault::at(
            "document",
            format!(
                "has {signs} brackets, commas, points and equals signs, and at most {MOST_SIGNS} are read; split it"
            ),
        )]);
    }
    let (root, errors) = DeTable::parse_recoverable(text);
    if !errors.is_empty() {
        let mut faults: Vec<_> = errors.iter().map(|error| syntax_fault(text, error)).collect();
        // One slip can make the reader stumble over all that follows.
        faults.dedup();
        faults.truncate(MOST_SYNTAX_FAULTS);
        return Err(faults);
    }
    let mut root = root.into_inner();
    let places = Places::with(text, root.clone());
    let mut reading = Reading { faults: Vec::new() };
    let document = reading.document(&mut root);
    if reading.faults.is_empty() {
        return Ok(document);
    }
    let too_many = reading.faults.len() > MOST_FAULTS;
    let mut faults = places.told(reading.faults);
    faults.truncate(MOST_FAULTS);
    if too_many {
        faults.push(Fault::at("document", "has more faults than these; mend these first"));
    }
    Err(faults)
}

/// What is wrong with a text that is no TOML, with its line.
pub(crate) fn syntax_fault(text: &str, error: &toml::de::Error) -> Fault {
    let (line, column) = line_and_column(text, error.span().map_or(0, |span| span.start));
    Fault::at(format!("line {line}, column {column}"), format!("is no TOML: {}", error.message()))
}

struct Reading {
    faults: Vec<Fault>,
}

impl Reading {
    fn document(&mut self, root: &mut DeTable<'_>) -> ProgrammeDocument {
        let document = ProgrammeDocument {
            title: self.title(root),
            aircraft: self.one(root, "aircraft"),
            policy: self.one(root, "policy"),
            people: self.many(root, "people"),
            items: self.many(root, "items"),
            channels: self.many(root, "channels"),
            recorders: self.many(root, "recorders"),
            limits: self.many(root, "limits"),
            checks: self.many(root, "checks"),
            hazards: self.many(root, "hazards"),
            documents: self.many(root, "documents"),
            points: self.many(root, "points"),
        };
        for unknown in root.keys() {
            self.faults.push(Fault::at(
                unknown.get_ref().as_ref(),
                format!("is no section of a programme: use {SECTIONS}"),
            ));
        }
        if root.is_empty() && self.faults.is_empty() && document.is_empty() {
            self.faults.push(Fault::at("document", "says nothing"));
        }
        document
    }

    fn title(&mut self, root: &mut DeTable<'_>) -> Option<String> {
        let title = root.remove("title")?;
        match title.get_ref().as_str() {
            Some(title) if !title.trim().is_empty() && title.chars().count() <= 200 => {
                return Some(title.to_owned());
            }
            _ => self.faults.push(Fault::at("title", "must be text of 1 to 200 characters")),
        }
        None
    }

    fn one<T: Noun>(&mut self, root: &mut DeTable<'_>, section: &str) -> Option<T> {
        let value = root.remove(section)?;
        self.table(&Path::default().key(section), value)
    }

    fn many<T: Noun>(&mut self, root: &mut DeTable<'_>, section: &str) -> Vec<T> {
        let Some(value) = root.remove(section) else { return Vec::new() };
        let path = Path::default().key(section);
        let DeValue::Array(list) = value.into_inner() else {
            self.faults.push(Fault::at(
                section,
                format!("must be a list: begin each entry with [[{section}]]"),
            ));
            return Vec::new();
        };
        if section == "points" && list.len() > MOST_POINTS {
            self.faults.push(Fault::at(section, format!("are more than {MOST_POINTS}")));
            return Vec::new();
        }
        let mut read = Vec::with_capacity(list.len());
        for (place, value) in list.into_iter().enumerate() {
            if self.faults.len() > MOST_FAULTS {
                break;
            }
            read.extend(self.table(&path.index(place), value));
        }
        read
    }

    fn table<T: Noun>(&mut self, path: &Path, value: Spanned<DeValue<'_>>) -> Option<T> {
        TableReader::new(path, value).read(&mut self.faults, T::faults)
    }
}
