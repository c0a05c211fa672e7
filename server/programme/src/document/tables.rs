//! Reads one table of a document into its noun, and tells every fault of its form, not the first one only.
//!
//! Serde stops at the first fault. So a faulty value is taken out and the table is read again, until all of it was
//! looked at; and where a field is missing something stands in for it, so that what comes after is still seen. A
//! table that needed any of this is never used: it only served to find the faults.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use serde::de::DeserializeOwned;
use serde_path_to_error::Segment;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::places::{Path, Step};
use crate::refusal::Fault;

/// The most faults that are sought in one table.
const MOST_ROUNDS: usize = 100;

/// Text that stands in for a missing field. It is a valid code and a valid title, and nobody writes it.
const STAND_IN: &str = "0-stands-in-for-a-missing-field-0";

/// Reads one table.
pub(crate) struct TableReader<'a, 'i> {
    at: &'a Path,
    value: Spanned<DeValue<'i>>,
    /// Original paths of what was taken out because of a fault that was told.
    taken_out: BTreeSet<Path>,
    /// Original paths of what stands in for something missing.
    stood_in: BTreeSet<Path>,
    /// By original path of a list: the places taken out of it, rising, so that those after keep their numbers.
    gaps: BTreeMap<Path, Vec<usize>>,
}

impl<'a, 'i> TableReader<'a, 'i> {
    /// For what stands at a path.
    pub(crate) fn new(at: &'a Path, value: Spanned<DeValue<'i>>) -> Self {
        Self {
            at,
            value,
            taken_out: BTreeSet::new(),
            stood_in: BTreeSet::new(),
            gaps: BTreeMap::new(),
        }
    }

    /// The noun, where nothing is wrong; else all faults. `alone` tells those of the noun itself.
    ///
    /// They are told of a table with faults of form too, but for the places that these have touched.
    pub(crate) fn read<T: DeserializeOwned>(
        mut self,
        faults: &mut Vec<Fault>,
        alone: impl Fn(&T, &str) -> Vec<Fault>,
    ) -> Option<T> {
        if !self.value.get_ref().is_table() {
            faults.push(Fault::at(self.at.to_string(), "must be a table"));
            return None;
        }
        let before = faults.len();
        moments_as_text(&mut self.value);
        for _ in 0..MOST_ROUNDS {
            match serde_path_to_error::deserialize::<_, T>(toml::de::ValueDeserializer::from(
                self.value.clone(),
            )) {
                Ok(read) if faults.len() == before => {
                    faults.extend(alone(&read, &self.at.to_string()));
                    return Some(read);
                }
                Ok(read) => {
                    for fault in alone(&read, "") {
                        let place = self.original(&Path::read(&fault.field));
                        if !self.touched(&place) {
                            self.tell(&place, fault.why, faults);
                        }
                    }
                    return None;
                }
                Err(error) => {
                    let current = self.steps(error.path(), error.inner().span());
                    if !self.after(&current, error.inner().message(), faults) {
                        return None;
                    }
                }
            }
        }
        None
    }

    /// Tells a fault and makes the table readable past it; false where there is no way on.
    fn after(&mut self, current: &Path, message: &str, faults: &mut Vec<Fault>) -> bool {
        let original = self.original(current);
        if let Some(field) = between(message, "missing field `", "`") {
            let place = original.key(field);
            if !self.taken_out.contains(&place) {
                self.tell(&place, "is missing".to_owned(), faults);
            }
            self.stood_in.insert(place);
            return self.put(&current.key(field), DeValue::String(STAND_IN.into()));
        }
        if message.contains(STAND_IN) || self.stood_in.contains(&original) {
            return self.stand_in_otherwise(current, &original, message);
        }
        // A list that must have a certain length has lost an element here whose fault was told.
        if message.starts_with("invalid length") && self.gaps.contains_key(&original) {
            return self.take_out(current, original);
        }
        if let Some(field) = between(message, "unknown field `", "`") {
            let table = if ends_with_key(&original, field) && !self.holds(current, field) {
                original.parent().map_or_else(Path::default, |(table, _)| table)
            } else {
                original.clone()
            };
            let place = table.key(field);
            let current_table = if table == original {
                current.clone()
            } else {
                current.parent().map_or_else(Path::default, |(table, _)| table)
            };
            if self.stood_in.contains(&place) {
                return self.missing_inside(&current_table, &table, field, faults);
            }
            self.tell(&place, wording(message), faults);
            return self.take_out(&current_table.key(field), place);
        }
        // A key of a map that is no choice is told at the map.
        if let Some(key) = between(message, "unknown variant `", "`")
            && self.holds(current, key)
        {
            self.tell(&original.key(key), wording(message), faults);
            return self.take_out(&current.key(key), original.key(key));
        }
        self.tell(&original, self.explain(current, message), faults);
        self.take_out(current, original)
    }

    /// What stands in for a field is unknown where it stands, so the field is missing in a table inside: a tagged table
    /// tells its own place for all that is in it. The fault that was told gets the place of the inner table where only one
    /// can be meant; else the whole is taken out.
    fn missing_inside(
        &mut self,
        current: &Path,
        original: &Path,
        field: &str,
        faults: &mut [Fault],
    ) -> bool {
        let mut lacking = Vec::new();
        if let Some(DeValue::Table(table)) = self.value_at_mut(current) {
            table.remove(field);
            let inner = table.iter().filter(|(_, value)| match value.get_ref() {
                DeValue::Table(inner) => !inner.contains_key(field),
                _ => false,
            });
            lacking.extend(inner.map(|(key, _)| key.get_ref().to_string()));
        }
        let outer = original.key(field);
        self.stood_in.remove(&outer);
        let [inner] = lacking.as_slice() else { return self.take_out(current, original.clone()) };
        let place = original.key(inner).key(field);
        let told = |place: &Path| {
            let steps = self.at.0.iter().chain(&place.0);
            Path(steps.cloned().collect()).to_string()
        };
        let (was, is) = (told(&outer), told(&place));
        if let Some(fault) = faults.iter_mut().rfind(|fault| fault.field == was) {
            fault.field = is;
        }
        self.stood_in.insert(place);
        self.put(&current.key(inner).key(field), DeValue::String(STAND_IN.into()))
    }

    /// Whether a place is, holds or is in something that was taken out or stands in.
    fn touched(&self, place: &Path) -> bool {
        let touches = |other: &Path| other.0.starts_with(&place.0) || place.0.starts_with(&other.0);
        self.taken_out.iter().chain(&self.stood_in).any(touches)
    }

    fn tell(&self, place: &Path, why: String, faults: &mut Vec<Fault>) {
        let mut steps = self.at.0.clone();
        steps.extend(place.0.iter().cloned());
        faults.push(Fault::at(Path(steps).to_string(), why));
    }

    /// The stand-in was of the wrong kind: tries what the message asks for, or gives up on the table it is in.
    fn stand_in_otherwise(&mut self, current: &Path, original: &Path, message: &str) -> bool {
        // A tagged table tells its own place instead of that of the field inside it.
        let inside = |place: &&Path| place.0.starts_with(&original.0);
        let Some(place) = self.stood_in.iter().rfind(inside).cloned() else {
            return self.take_out(current, original.clone());
        };
        let mut here = current.0.clone();
        here.extend(place.0[original.0.len()..].iter().cloned());
        let here = Path(here);
        let first_choice = between(message, "expected one of `", "`")
            .or_else(|| between(message, "expected `", "`"))
            .filter(|choice| *choice != STAND_IN && message.contains(STAND_IN));
        let other = if let Some(choice) = first_choice {
            DeValue::String(choice.to_owned().into())
        } else if !message.contains(STAND_IN) {
            return self.give_up(&here, place);
        } else if ["f64", "u8", "u32", "u64"].iter().any(|kind| message.ends_with(kind)) {
            let Ok(one) = DeValue::parse("1") else { return false };
            one.into_inner()
        } else if message.contains("expected a boolean") {
            DeValue::Boolean(true)
        } else if message.contains("expected a sequence") {
            DeValue::Array(toml::de::DeArray::new())
        } else {
            return self.give_up(&here, place);
        };
        self.put(&here, other)
    }

    /// Takes out the table that something is missing in and for which nothing stands in.
    fn give_up(&mut self, here: &Path, place: Path) -> bool {
        self.stood_in.remove(&place);
        match (here.parent(), place.parent()) {
            (Some((here, _)), Some((place, _))) => self.take_out(&here, place),
            _ => false,
        }
    }

    /// False at the top, of which there is nothing to be taken out.
    fn take_out(&mut self, current: &Path, original: Path) -> bool {
        let Some((parent, last)) = current.parent() else { return false };
        let taken = match (self.value_at_mut(&parent), last) {
            (Some(DeValue::Table(table)), Step::Key(key)) => table.remove(key.as_str()).is_some(),
            (Some(DeValue::Array(list)), Step::Index(index)) if *index < list.len() => {
                let others = list.iter().enumerate().filter(|(at, _)| at != index);
                *list = others.map(|(_, value)| value.clone()).collect();
                true
            }
            _ => false,
        };
        if let Some((list, Step::Index(index))) = original.parent() {
            let gaps = self.gaps.entry(list).or_default();
            gaps.push(*index);
            gaps.sort_unstable();
        }
        self.stood_in.retain(|place| !place.0.starts_with(&original.0));
        self.taken_out.insert(original);
        taken
    }

    fn put(&mut self, current: &Path, value: DeValue<'static>) -> bool {
        let Some((parent, Step::Key(key))) = current.parent() else { return false };
        let Some(DeValue::Table(table)) = self.value_at_mut(&parent) else { return false };
        table.insert(Spanned::new(0..0, key.clone().into()), Spanned::new(0..0, value));
        true
    }

    fn holds(&self, current: &Path, field: &str) -> bool {
        matches!(self.value_at(current), Some(DeValue::Table(table)) if table.contains_key(field))
    }

    fn value_at(&self, current: &Path) -> Option<&DeValue<'i>> {
        current.0.iter().try_fold(self.value.get_ref(), |value, step| match (step, value) {
            (Step::Key(key), DeValue::Table(table)) => {
                table.get(key.as_str()).map(Spanned::get_ref)
            }
            (Step::Index(index), DeValue::Array(list)) => list.get(*index).map(Spanned::get_ref),
            _ => None,
        })
    }

    fn value_at_mut(&mut self, current: &Path) -> Option<&mut DeValue<'i>> {
        current.0.iter().try_fold(self.value.get_mut(), |value, step| match (step, value) {
            (Step::Key(key), DeValue::Table(table)) => {
                table.get_mut(key.as_str()).map(Spanned::get_mut)
            }
            (Step::Index(index), DeValue::Array(list)) => {
                list.get_mut(*index).map(Spanned::get_mut)
            }
            _ => None,
        })
    }

    /// The path of an error. Keys that are not read as text are not told, so the place in the text finds them.
    fn steps(&self, path: &serde_path_to_error::Path, span: Option<Range<usize>>) -> Path {
        let mut current = Path::default();
        for segment in path.iter() {
            current = match segment {
                Segment::Seq { index } => current.index(*index),
                Segment::Map { key } => current.key(key),
                Segment::Enum { .. } => current,
                Segment::Unknown => match self.key_around(&current, span.as_ref()) {
                    Some(key) => current.key(&key),
                    None => current,
                },
            };
        }
        current
    }

    /// The key of a table under which a place in the text lies; of what stands in, the key above it.
    fn key_around(&self, current: &Path, span: Option<&Range<usize>>) -> Option<String> {
        let DeValue::Table(table) = self.value_at(current)? else { return None };
        let around = |value: &Spanned<DeValue<'_>>, span: &Range<usize>| {
            let outer = value.span();
            outer.start <= span.start && span.end <= outer.end
        };
        let by_place = span.filter(|span| !span.is_empty()).and_then(|span| {
            table.iter().find(|(_, value)| around(value, span)).map(|(key, _)| key)
        });
        let key = by_place.map(|key| key.get_ref().to_string());
        key.or_else(|| {
            let depth = current.0.len();
            self.stood_in.iter().rev().find(|place| place.0.starts_with(&current.0)).and_then(
                |place| match place.0.get(depth) {
                    Some(Step::Key(key)) if place.0.len() > depth + 1 => Some(key.clone()),
                    _ => None,
                },
            )
        })
    }

    /// The path in the document as it was given.
    fn original(&self, current: &Path) -> Path {
        let mut original = Path::default();
        for step in &current.0 {
            original = match step {
                Step::Key(key) => original.key(key),
                Step::Index(index) => {
                    let gaps = self.gaps.get(&original).map_or(&[][..], Vec::as_slice);
                    let place =
                        gaps.iter().fold(*index, |place, gap| place + usize::from(*gap <= place));
                    original.index(place)
                }
            };
        }
        original
    }

    fn explain(&self, current: &Path, message: &str) -> String {
        let of_moments = [
            "premature end of input",
            "input contains invalid characters",
            "input is out of range",
            "trailing input",
            "input is not enough for unique date and time",
        ];
        if of_moments.contains(&message) {
            let given = self.value_at(current).and_then(DeValue::as_str).unwrap_or_default();
            return format!(
                "\"{given}\" is no date and time with its offset: write it like 2027-03-31T18:00:00Z"
            );
        }
        wording(message)
    }
}

fn ends_with_key(path: &Path, key: &str) -> bool {
    matches!(path.0.last(), Some(Step::Key(last)) if last == key)
}

fn between<'m>(message: &'m str, before: &str, after: &str) -> Option<&'m str> {
    let (_, rest) = message.split_once(before)?;
    Some(rest.split_once(after)?.0)
}

/// TOML writes moments without quotes, and the nouns read them from text.
fn moments_as_text(value: &mut Spanned<DeValue<'_>>) {
    match value.get_mut() {
        DeValue::Datetime(moment) => {
            let text = moment.to_string();
            *value.get_mut() = DeValue::String(text.into());
        }
        DeValue::Array(list) => list.iter_mut().for_each(moments_as_text),
        DeValue::Table(table) => moments_of_table(table),
        DeValue::String(_) | DeValue::Integer(_) | DeValue::Float(_) | DeValue::Boolean(_) => {}
    }
}

fn moments_of_table(table: &mut DeTable<'_>) {
    for (_, value) in table.iter_mut() {
        moments_as_text(value);
    }
}

/// Serde's words in words for people.
fn wording(message: &str) -> String {
    let choices = |text: &str| text.replace("one of ", "").replace('`', "");
    if let Some((unknown, expected)) = message.split_once(", expected ") {
        let expected_words = match expected {
            "f64" => "a number".to_owned(),
            "u8" => "a whole number from 0 to 255".to_owned(),
            "u32" => "a whole number from 0 to 4294967295".to_owned(),
            "a string" => "text in quotes".to_owned(),
            "a boolean" => "true or false".to_owned(),
            "a sequence" => "a list".to_owned(),
            "a map" => "a table".to_owned(),
            expected if expected.starts_with("struct ") => "a table".to_owned(),
            expected
                if expected.contains("TaggedContent") || expected.contains("internally tagged") =>
            {
                "a table with its kind".to_owned()
            }
            expected => choices(expected),
        };
        if let Some(field) = between(unknown, "unknown field `", "`") {
            return format!("there is no field {field} here: use {expected_words}");
        }
        if let Some(choice) = between(unknown, "unknown variant `", "`") {
            return format!("\"{choice}\" is not a choice here: use {expected_words}");
        }
        let given = unknown
            .strip_prefix("invalid type: ")
            .or_else(|| unknown.strip_prefix("invalid value: "))
            .or_else(|| unknown.strip_prefix("invalid length "));
        if let Some(given) = given {
            let given = given
                .replace("integer ", "")
                .replace("floating point ", "")
                .replace('`', "")
                .replace("sequence", "a list")
                .replace("map", "a table");
            return format!("must be {expected_words}, and {given} was given");
        }
    }
    message.to_owned()
}
