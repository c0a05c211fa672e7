//! A strict reader of one JSON object: it goes on after a fault, so that a person learns of all faults at once.
//!
//! ```
//! use flight_science::input::{Reader, above};
//!
//! struct Input { cas_kt: f64, mass_kg: f64, load_factor: Option<f64> }
//!
//! let value = serde_json::json!({ "cas_kt": 60.0, "mass_kg": 720.0 });
//! let mut reader = Reader::object(&value);
//! let cas_kt = reader.required_number("cas_kt", 0.0..=400.0);
//! let mass_kg = reader.required_number("mass_kg", above(0.0));
//! let load_factor = reader.optional_number("load_factor", 1.0..=10.0);
//! let input = reader
//!     .finish(|| Some(Input { cas_kt: cas_kt?, mass_kg: mass_kg?, load_factor: load_factor? }))
//!     .expect("this input is complete");
//! assert_eq!(input.cas_kt, 60.0);
//! assert_eq!(input.mass_kg, 720.0);
//! assert_eq!(input.load_factor, None);
//! ```
//!
//! Each method gives `None` when it noted a fault; an optional field gives `Some(None)` when it is absent. So `?` inside
//! the closure of [`Reader::finish`] (or of a list's item) takes the readings apart, after all of them were made.

use std::ops::{Bound, RangeBounds};

use serde_json::{Map, Value};

use crate::catalogue::{FaultCode, FieldFault, Refused};

mod lists;
mod words;

use words::{short, told, told_range};

/// So many faults are told one by one; the rest are counted.
const TOLD_FAULTS: usize = 200;

/// Numbers above `low`, itself not included.
pub fn above(low: f64) -> (Bound<f64>, Bound<f64>) {
    (Bound::Excluded(low), Bound::Unbounded)
}

/// Numbers above `low` (itself not included) up to `high` (itself included).
pub fn above_up_to(low: f64, high: f64) -> (Bound<f64>, Bound<f64>) {
    (Bound::Excluded(low), Bound::Included(high))
}

/// A number that may have any finite value.
pub const ANY: (Bound<f64>, Bound<f64>) = (Bound::Unbounded, Bound::Unbounded);

/// Reads one object, and collects its faults and those of everything inside.
#[derive(Debug)]
pub struct Reader<'a> {
    path: String,
    fields: Option<&'a Map<String, Value>>,
    known: Vec<&'static str>,
    faults: Vec<FieldFault>,
}

impl<'a> Reader<'a> {
    /// Starts on a whole input, which has to be an object.
    pub fn object(value: &'a Value) -> Self {
        Self::at(String::new(), value)
    }

    fn at(path: String, value: &'a Value) -> Self {
        let mut faults = Vec::new();
        let fields = value.as_object();
        if fields.is_none() {
            let subject = if path.is_empty() { "The input".to_owned() } else { path.clone() };
            faults.push(FieldFault::new(
                path.clone(),
                FaultCode::WrongType,
                format!("{subject} is {}; a JSON object is wanted.", told(value)),
            ));
        }
        Self { path, fields, known: Vec::new(), faults }
    }

    /// The full path of a field of this object.
    pub fn path_of(&self, name: &str) -> String {
        if self.path.is_empty() { name.to_owned() } else { format!("{}.{name}", self.path) }
    }

    /// Whether the object has the field at all, faulty or not.
    pub fn has(&self, name: &str) -> bool {
        self.fields.is_some_and(|fields| fields.contains_key(name))
    }

    /// Notes a fault that the topic itself found, such as two fields that contradict. `name` is a field of this object,
    /// or empty for the object as a whole.
    pub fn fault(&mut self, name: &str, code: FaultCode, why: impl Into<String>) {
        let field = if name.is_empty() { self.path.clone() } else { self.path_of(name) };
        self.faults.push(FieldFault::new(field, code, why));
    }

    /// Notes faults that were found elsewhere, with the paths that they have.
    pub fn faults(&mut self, refused: Refused) {
        self.faults.extend(refused.faults);
    }

    fn take(&mut self, name: &'static str) -> Option<&'a Value> {
        self.known.push(name);
        self.fields.and_then(|fields| fields.get(name))
    }

    fn take_required(&mut self, name: &'static str, wanted: &str) -> Option<&'a Value> {
        let value = self.take(name);
        // A value that is no object was faulted already; its missing fields are no news.
        if value.is_none() && self.fields.is_some() {
            let path = self.path_of(name);
            self.faults.push(FieldFault::new(
                path.clone(),
                FaultCode::Missing,
                format!("{path} is missing; {wanted} is wanted."),
            ));
        }
        value
    }

    /// A number that has to be there, inside `range`.
    pub fn required_number(
        &mut self,
        name: &'static str,
        range: impl RangeBounds<f64>,
    ) -> Option<f64> {
        let value = self.take_required(name, &format!("a number {}", told_range(&range)))?;
        self.number_at(self.path_of(name), value, &range)
    }

    /// A number that may be absent, inside `range`. Null is not absent: NaN is often written as null.
    pub fn optional_number(
        &mut self,
        name: &'static str,
        range: impl RangeBounds<f64>,
    ) -> Option<Option<f64>> {
        match self.take(name) {
            None => Some(None),
            Some(value) => self.number_at(self.path_of(name), value, &range).map(Some),
        }
    }

    /// A whole number that has to be there, inside `range`.
    pub fn required_integer(
        &mut self,
        name: &'static str,
        range: impl RangeBounds<f64>,
    ) -> Option<i64> {
        let number = self.required_number(name, range)?;
        if number.fract() != 0.0 || number.abs() > 9.0e15 {
            let path = self.path_of(name);
            self.faults.push(FieldFault::new(
                path.clone(),
                FaultCode::OutOfRange,
                format!("{path} is {number}; a whole number is wanted."),
            ));
            return None;
        }
        // Whole and small, as was just made sure of.
        Some(number as i64)
    }

    /// Exactly one of several numbers, told apart by its place in `choices`.
    pub fn exactly_one_number<R: RangeBounds<f64> + Clone>(
        &mut self,
        choices: &[(&'static str, R)],
    ) -> Option<(&'static str, f64)> {
        let given = self.at_most_one_number(choices)?;
        if given.is_none() && self.fields.is_some() {
            let names: Vec<&str> = choices.iter().map(|(name, _)| *name).collect();
            let names = names.join(", ");
            self.fault(
                "",
                FaultCode::Missing,
                format!("None of {names} is given; exactly one of them is wanted."),
            );
        }
        given
    }

    /// None or one of several numbers.
    pub fn at_most_one_number<R: RangeBounds<f64> + Clone>(
        &mut self,
        choices: &[(&'static str, R)],
    ) -> Option<Option<(&'static str, f64)>> {
        let given: Vec<&str> =
            choices.iter().map(|(name, _)| *name).filter(|name| self.has(name)).collect();
        let mut read = Some(None);
        for (name, range) in choices {
            match self.optional_number(name, range.clone()) {
                None => read = None,
                Some(None) => {}
                Some(Some(number)) => {
                    if read.is_some() {
                        read = Some(Some((*name, number)));
                    }
                }
            }
        }
        if given.len() > 1 {
            let (names, count) = (given.join(", "), given.len());
            self.fault(
                given[1],
                FaultCode::Inconsistent,
                format!("{names} are given together; {count} of them may contradict, so only one is taken."),
            );
            return None;
        }
        read
    }

    /// A truth value that may be absent.
    pub fn optional_bool(&mut self, name: &'static str) -> Option<Option<bool>> {
        let Some(value) = self.take(name) else {
            return Some(None);
        };
        match value {
            Value::Bool(truth) => Some(Some(*truth)),
            other => {
                self.wrong_type(name, other, "true or false");
                None
            }
        }
    }

    /// A text that has to be there and is not blank.
    pub fn required_text(&mut self, name: &'static str) -> Option<&'a str> {
        let value = self.take_required(name, "a text")?;
        match value {
            Value::String(text) if !text.trim().is_empty() => Some(text),
            other => {
                self.wrong_type(name, other, "a text that is not blank");
                None
            }
        }
    }

    /// One of several words, as its place in `choices`.
    pub fn one_of<T: Copy>(
        &mut self,
        name: &'static str,
        choices: &[(&'static str, T)],
    ) -> Option<T> {
        let words: Vec<String> = choices.iter().map(|(word, _)| format!("\"{word}\"")).collect();
        let words = words.join(", ");
        let value = self.take_required(name, &format!("one of {words}"))?;
        self.chosen(name, value, choices, &words)
    }

    /// One of several words, or absent.
    pub fn optional_one_of<T: Copy>(
        &mut self,
        name: &'static str,
        choices: &[(&'static str, T)],
    ) -> Option<Option<T>> {
        let Some(value) = self.take(name) else {
            return Some(None);
        };
        let words: Vec<String> = choices.iter().map(|(word, _)| format!("\"{word}\"")).collect();
        self.chosen(name, value, choices, &words.join(", ")).map(Some)
    }

    fn chosen<T: Copy>(
        &mut self,
        name: &'static str,
        value: &Value,
        choices: &[(&'static str, T)],
        words: &str,
    ) -> Option<T> {
        let Value::String(text) = value else {
            self.wrong_type(name, value, &format!("one of {words}"));
            return None;
        };
        let chosen = choices.iter().find(|(word, _)| word == text).map(|(_, choice)| *choice);
        if chosen.is_none() {
            let path = self.path_of(name);
            self.fault(
                name,
                FaultCode::UnknownChoice,
                format!("{path} is {}; one of {words} is wanted.", told(value)),
            );
        }
        chosen
    }

    /// An object that has to be there; `read` reads its fields.
    pub fn required_object<T>(
        &mut self,
        name: &'static str,
        read: impl FnOnce(&mut Reader<'a>) -> Option<T>,
    ) -> Option<T> {
        let value = self.take_required(name, "a JSON object")?;
        self.inner(self.path_of(name), value, read)
    }

    /// An object that may be absent; `read` reads its fields.
    pub fn optional_object<T>(
        &mut self,
        name: &'static str,
        read: impl FnOnce(&mut Reader<'a>) -> Option<T>,
    ) -> Option<Option<T>> {
        match self.take(name) {
            None => Some(None),
            Some(value) => self.inner(self.path_of(name), value, read).map(Some),
        }
    }

    /// Ends the reading: refuses fields that nothing asked for, then builds the input if there was no fault.
    ///
    /// # Errors
    ///
    /// [`Refused`] with every fault that was noted.
    pub fn finish<T>(mut self, build: impl FnOnce() -> Option<T>) -> Result<T, Refused> {
        self.note_unknown_fields();
        if self.faults.is_empty() {
            if let Some(input) = build() {
                return Ok(input);
            }
            self.fault(
                "",
                FaultCode::Inconsistent,
                "The input is incomplete, so nothing was computed.",
            );
        }
        let untold = self.faults.len().saturating_sub(TOLD_FAULTS);
        if untold > 0 {
            self.faults.truncate(TOLD_FAULTS);
            self.fault(
                "",
                FaultCode::TooMany,
                format!("{untold} more faults are not listed; mend these first."),
            );
        }
        Err(Refused { faults: self.faults })
    }

    fn inner<T>(
        &mut self,
        path: String,
        value: &'a Value,
        read: impl FnOnce(&mut Reader<'a>) -> Option<T>,
    ) -> Option<T> {
        let mut inner = Reader::at(path, value);
        let item = read(&mut inner);
        inner.note_unknown_fields();
        let clean = inner.faults.is_empty();
        self.faults.append(&mut inner.faults);
        if clean { item } else { None }
    }

    fn wrong_type(&mut self, name: &str, value: &Value, wanted: &str) {
        let path = self.path_of(name);
        self.fault(
            name,
            FaultCode::WrongType,
            format!("{path} is {}; {wanted} is wanted.", told(value)),
        );
    }

    fn number_at(
        &mut self,
        path: String,
        value: &Value,
        range: &impl RangeBounds<f64>,
    ) -> Option<f64> {
        if let Some(number) = plain_number(value, range) {
            return Some(number);
        }
        let wanted = told_range(range);
        let (code, why) = match value {
            Value::Number(number) if number.as_f64().is_some_and(f64::is_finite) => {
                (FaultCode::OutOfRange, format!("{path} is {number}; a number {wanted} is wanted."))
            }
            Value::Number(number) => {
                (FaultCode::NotFinite, format!("{path} is {number}; a finite number is wanted."))
            }
            Value::Null => (
                FaultCode::NotANumber,
                format!(
                    "{path} is null, which is how NaN is often written; a number {wanted} is wanted."
                ),
            ),
            Value::String(text)
                if text.trim().parse::<f64>().is_ok_and(|number| !number.is_finite()) =>
            {
                (
                    FaultCode::NotFinite,
                    format!("{path} is \"{}\"; a finite number is wanted.", short(text)),
                )
            }
            Value::String(text) => (
                FaultCode::NotANumber,
                format!(
                    "{path} is the text \"{}\"; a number {wanted} is wanted, without quotes.",
                    short(text)
                ),
            ),
            other => (
                FaultCode::WrongType,
                format!("{path} is {}; a number {wanted} is wanted.", told(other)),
            ),
        };
        self.faults.push(FieldFault::new(path, code, why));
        None
    }

    fn note_unknown_fields(&mut self) {
        let Some(fields) = self.fields else { return };
        let unknown: Vec<&String> =
            fields.keys().filter(|key| !self.known.contains(&key.as_str())).collect();
        for key in unknown {
            let path = self.path_of(&short(key));
            let known = self.known.join(", ");
            self.faults.push(FieldFault::new(
                path.clone(),
                FaultCode::UnknownField,
                format!("{path} is not a field here; the fields are {known}."),
            ));
        }
    }
}

fn plain_number(value: &Value, range: &impl RangeBounds<f64>) -> Option<f64> {
    value.as_f64().filter(|number| number.is_finite() && range.contains(number))
}

#[cfg(test)]
mod tests;
