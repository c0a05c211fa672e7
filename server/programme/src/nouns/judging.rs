//! Collects what is wrong with one noun when it is looked at alone, each fault at its place.

use std::collections::BTreeSet;
use std::fmt::Display;

use crate::measure::{Kind, Measure, Unit};
use crate::refusal::Fault;

/// Longest title, name or version, in characters.
const LONGEST_TITLE: usize = 200;

/// Longest text, in characters.
const LONGEST_TEXT: usize = 20_000;

/// Absolute zero, in degrees Celsius, by definition of the degree Celsius.
const ABSOLUTE_ZERO_C: f64 = -273.15;

/// The faults of one noun.
pub(crate) struct Judging<'a> {
    at: &'a str,
    faults: Vec<Fault>,
}

/// The units of a kind, as people list them: "kt, km/h or m/s".
fn units_of(kind: Kind) -> String {
    let units: Vec<_> =
        Unit::ALL.iter().filter(|unit| unit.kind() == kind).map(|unit| unit.as_str()).collect();
    match units.as_slice() {
        [first @ .., last] if !first.is_empty() => format!("{} or {last}", first.join(", ")),
        _ => units.concat(),
    }
}

impl<'a> Judging<'a> {
    /// Nothing is wrong yet with what stands at a place.
    pub(crate) const fn of(at: &'a str) -> Self {
        Self { at, faults: Vec::new() }
    }

    /// All that was found.
    pub(crate) fn done(self) -> Vec<Fault> {
        self.faults
    }

    /// The path of a field.
    pub(crate) fn place(&self, field: &str) -> String {
        if self.at.is_empty() { field.to_owned() } else { format!("{}.{field}", self.at) }
    }

    /// Notes a fault.
    pub(crate) fn fault(&mut self, field: &str, why: impl Into<String>) {
        self.faults.push(Fault::at(self.place(field), why));
    }

    /// Notes a fault unless something holds.
    pub(crate) fn must(&mut self, holds: bool, field: &str, why: impl Into<String>) {
        if !holds {
            self.fault(field, why);
        }
    }

    /// A title, name or version: one line with something in it.
    pub(crate) fn title(&mut self, field: &str, text: &str) {
        self.must(!text.trim().is_empty(), field, "must not be empty");
        self.must(
            text.chars().count() <= LONGEST_TITLE,
            field,
            format!("must be at most {LONGEST_TITLE} characters long"),
        );
        self.must(!text.chars().any(char::is_control), field, "must be one line of plain text");
    }

    /// A text of one or more lines with something in it.
    pub(crate) fn text(&mut self, field: &str, text: &str) {
        self.must(!text.trim().is_empty(), field, "must not be empty");
        self.must(
            text.chars().count() <= LONGEST_TEXT,
            field,
            format!("must be at most {LONGEST_TEXT} characters long"),
        );
        self.must(
            !text.chars().any(|c| c.is_control() && !matches!(c, '\n' | '\t' | '\r')),
            field,
            "must be plain text without control characters",
        );
    }

    /// A number that is neither infinite nor missing.
    pub(crate) fn finite(&mut self, field: &str, figure: f64) -> bool {
        self.must(figure.is_finite(), field, format!("must be a number, and {figure} is none"));
        figure.is_finite()
    }

    /// A number of at least zero.
    pub(crate) fn not_negative(&mut self, field: &str, figure: f64) {
        if self.finite(field, figure) {
            self.must(
                figure >= 0.0,
                field,
                format!("must not be negative, and {figure} was given"),
            );
        }
    }

    /// A number above zero.
    pub(crate) fn positive(&mut self, field: &str, figure: f64) {
        if self.finite(field, figure) {
            self.must(figure > 0.0, field, format!("must be above zero, and {figure} was given"));
        }
    }

    /// A unit of a kind.
    pub(crate) fn unit(&mut self, field: &str, unit: Unit, kind: Kind) -> bool {
        let fits = unit.kind() == kind;
        self.must(
            fits,
            field,
            format!("the unit {} does not fit here: use {}", unit.as_str(), units_of(kind)),
        );
        fits
    }

    /// A figure in a unit of a kind.
    pub(crate) fn measure(&mut self, field: &str, measure: Measure, kind: Kind) -> bool {
        let fits = self.unit(&format!("{field}.unit"), measure.unit, kind);
        let value = format!("{field}.value");
        let finite = self.finite(&value, measure.value);
        if fits && finite && kind == Kind::Temperature {
            self.temperature(&value, measure);
        }
        fits && finite
    }

    /// A temperature that can be.
    pub(crate) fn temperature(&mut self, field: &str, measure: Measure) {
        self.must(
            measure.in_kinds_unit() >= ABSOLUTE_ZERO_C,
            field,
            format!("no temperature is below absolute zero, and {measure} is"),
        );
    }

    /// A figure of at least zero in a unit of a kind.
    pub(crate) fn measure_not_negative(&mut self, field: &str, measure: Measure, kind: Kind) {
        if self.measure(field, measure, kind) {
            self.not_negative(&format!("{field}.value"), measure.value);
        }
    }

    /// A figure above zero in a unit of a kind.
    pub(crate) fn measure_positive(&mut self, field: &str, measure: Measure, kind: Kind) {
        if self.measure(field, measure, kind) {
            self.positive(&format!("{field}.value"), measure.value);
        }
    }

    /// A list in which nothing stands twice.
    pub(crate) fn no_repeats<T: Ord + Display>(&mut self, field: &str, things: &[T]) {
        let mut seen = BTreeSet::new();
        for (place, thing) in things.iter().enumerate() {
            if !seen.insert(thing) {
                self.fault(&format!("{field}[{place}]"), format!("{thing} is named twice"));
            }
        }
    }

    /// A list in which something stands, and nothing twice.
    pub(crate) fn some_without_repeats<T: Ord + Display>(&mut self, field: &str, things: &[T]) {
        self.must(!things.is_empty(), field, "must name at least one");
        self.no_repeats(field, things);
    }

    /// Texts of which each has something in it.
    pub(crate) fn texts(&mut self, field: &str, texts: &[String]) {
        for (place, text) in texts.iter().enumerate() {
            self.text(&format!("{field}[{place}]"), text);
        }
    }
}
