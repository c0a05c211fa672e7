//! The catalogue of all topics: what each gives, where it is valid, what it takes, and where it comes from.
//!
//! The reference that the program prints and serves is made from this list, so it can't fall behind the code.

use serde::Serialize;
use serde_json::Value;

mod finite;

/// One topic: a method with its inputs, outputs, sources and published cases.
#[derive(Debug, Clone, Serialize)]
pub struct Topic {
    /// The name by which it is called, such as `gps-airspeed`.
    pub name: &'static str,
    /// Goes up by one whenever the same input may give another answer than before.
    pub version: u32,
    /// A short heading.
    pub title: &'static str,
    /// What it gives, in a sentence or two.
    pub gives: &'static str,
    /// Where the method holds; input beyond is refused.
    pub valid_range: &'static str,
    /// The fields of the input, in reading order.
    pub inputs: &'static [Field],
    /// The fields of the answer, in reading order.
    pub outputs: &'static [Field],
    /// The equations in words.
    pub equations: &'static [&'static str],
    /// Author or body, edition, equation or table.
    pub sources: &'static [&'static str],
    /// Published cases: file name and the text of the file.
    pub published: &'static [(&'static str, &'static str)],
    /// An input, as JSON text, that this topic answers.
    pub example: &'static str,
    /// The method itself.
    #[serde(skip)]
    pub compute: fn(&Value) -> Result<Value, Refused>,
}

/// One field of a topic's input or answer.
#[derive(Debug, Clone, Serialize)]
pub struct Field {
    /// Path in the JSON, such as `legs[].track_deg`.
    pub name: &'static str,
    /// Unit, or what kind of thing it is (`ratio`, `text`, `list`).
    pub unit: &'static str,
    /// Whether the input must have it, or the answer always has it.
    pub required: bool,
    /// What it means.
    pub meaning: &'static str,
}

impl Field {
    /// A field that is always there.
    pub const fn required(name: &'static str, unit: &'static str, meaning: &'static str) -> Self {
        Self { name, unit, required: true, meaning }
    }

    /// A field that may be absent.
    pub const fn optional(name: &'static str, unit: &'static str, meaning: &'static str) -> Self {
        Self { name, unit, required: false, meaning }
    }
}

/// The kind of thing that is wrong with one field.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FaultCode {
    /// The field has to be there and is not.
    Missing,
    /// The topic has no such field.
    UnknownField,
    /// A number is wanted, and text or null was given.
    NotANumber,
    /// Infinity or NaN, in whatever spelling.
    NotFinite,
    /// Beyond what the method holds for.
    OutOfRange,
    /// A list, object, text or truth value stands where another kind is wanted.
    WrongType,
    /// A list is too short for the method.
    TooFew,
    /// A list is longer than the method takes.
    TooMany,
    /// Not one of the words that the field can have.
    UnknownChoice,
    /// Each field alone would do, but together they contradict.
    Inconsistent,
    /// Times or coordinates that have to go up do not.
    NotAscending,
    /// The data do not determine what is asked for.
    Undetermined,
    /// The method came to no answer.
    NoConvergence,
}

impl FaultCode {
    /// The stable code as it stands in problems and published cases, such as `out-of-range`.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Missing => "missing",
            Self::UnknownField => "unknown-field",
            Self::NotANumber => "not-a-number",
            Self::NotFinite => "not-finite",
            Self::OutOfRange => "out-of-range",
            Self::WrongType => "wrong-type",
            Self::TooFew => "too-few",
            Self::TooMany => "too-many",
            Self::UnknownChoice => "unknown-choice",
            Self::Inconsistent => "inconsistent",
            Self::NotAscending => "not-ascending",
            Self::Undetermined => "undetermined",
            Self::NoConvergence => "no-convergence",
        }
    }
}

/// What is wrong with one field of an input.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FieldFault {
    /// Path of the field, such as `legs[2].track_deg`; empty for the input as a whole.
    pub field: String,
    /// The kind of fault, for programs.
    pub code: FaultCode,
    /// A whole sentence for people, with the value given and what would be accepted.
    pub why: String,
}

impl FieldFault {
    /// A fault of `field`.
    pub fn new(field: impl Into<String>, code: FaultCode, why: impl Into<String>) -> Self {
        Self { field: field.into(), code, why: why.into() }
    }
}

/// An input was refused. Carries every fault that was found, not only the first.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, thiserror::Error)]
#[error("{}", self.sentences())]
pub struct Refused {
    /// At least one fault.
    pub faults: Vec<FieldFault>,
}

impl Refused {
    /// A refusal for one reason.
    pub fn because(field: impl Into<String>, code: FaultCode, why: impl Into<String>) -> Self {
        Self { faults: vec![FieldFault::new(field, code, why)] }
    }

    fn sentences(&self) -> String {
        let sentences: Vec<&str> = self.faults.iter().map(|fault| fault.why.as_str()).collect();
        sentences.join(" ")
    }
}

/// Why a computation gave no answer.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ComputeError {
    /// There is no topic of this name.
    #[error("there is no topic named \"{name}\"")]
    UnknownTopic {
        /// The name as asked for.
        name: String,
    },
    /// The topic refused the input.
    #[error(transparent)]
    Refused(#[from] Refused),
}

/// All topics, in the order of the reference.
static TOPICS: [&Topic; 21] = [
    &crate::atmosphere::TOPIC,
    &crate::altimetry::TOPIC,
    &crate::airspeed::TOPIC,
    &crate::gps_airspeed::TOPIC,
    &crate::structural_envelope::TOPIC,
    &crate::stall_speed::TOPIC,
    &crate::hot_day::TOPIC,
    &crate::drag_polar::TOPIC,
    &crate::climb::TOPIC,
    &crate::damping::TOPIC,
    &crate::flutter_margin::TOPIC,
    &crate::thermal_fit::TOPIC,
    &crate::energy::TOPIC,
    &crate::reserve::TOPIC,
    &crate::loading::TOPIC,
    &crate::risk::TOPIC,
    &crate::electrical::TOPIC,
    &crate::sun::TOPIC,
    &crate::sunlight::TOPIC,
    &crate::charging::TOPIC,
    &crate::day_energy::TOPIC,
];

/// All topics, in the order of the reference.
pub fn catalogue() -> &'static [&'static Topic] {
    &TOPICS
}

/// The topic of this name, if there is one.
pub fn topic(name: &str) -> Option<&'static Topic> {
    TOPICS.iter().copied().find(|topic| topic.name == name)
}

/// Answers one input of one topic.
///
/// # Errors
///
/// [`ComputeError::UnknownTopic`] for a name that is not in the catalogue, [`ComputeError::Refused`] with every fault of
/// the input otherwise.
pub fn compute(name: &str, input: &Value) -> Result<Value, ComputeError> {
    let topic = topic(name).ok_or_else(|| ComputeError::UnknownTopic { name: name.to_owned() })?;
    Ok((topic.compute)(input)?)
}

/// Turns an answer's struct into JSON.
///
/// # Errors
///
/// [`FaultCode::OutOfRange`] if a figure of the answer is infinite or not a number, which happens only to inputs far
/// beyond anything that flies.
pub fn answer<T: Serialize>(output: &T) -> Result<Value, Refused> {
    finite::all_finite(output).map_err(|not_finite| {
        let why = format!(
            "The figures given are so far apart, so large or so small that {} can't be reckoned.",
            not_finite.field
        );
        Refused::because("", FaultCode::OutOfRange, why)
    })?;
    serde_json::to_value(output).map_err(|error| {
        let why = format!("The answer could not be written as JSON: {error}.");
        Refused::because("", FaultCode::NoConvergence, why)
    })
}
