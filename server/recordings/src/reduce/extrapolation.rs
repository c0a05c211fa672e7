//! Figures of an answer that lie beyond what was recorded.

use serde::Serialize;
use serde_json::Value;

/// The field by which topics tell that a figure lies beyond the data.
const FIELD: &str = "extrapolated_by_percent";

/// One part of an answer that lies beyond what was recorded.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Extrapolated {
    /// Where the part stands in the answer, as a JSON pointer (RFC 6901).
    pub pointer: String,
    /// How far beyond, in per cent of what was recorded; absent where there is nothing to compare with.
    pub percent: Option<f64>,
}

/// All parts of an answer that lie beyond what was recorded, in the order of their names.
pub(super) fn told(answer: &Value) -> Vec<Extrapolated> {
    let mut found = Vec::new();
    look(answer, String::new(), &mut found);
    found
}

fn look(value: &Value, pointer: String, found: &mut Vec<Extrapolated>) {
    match value {
        Value::Object(fields) => {
            for (name, inner) in fields {
                if name == FIELD {
                    let percent = inner.as_f64();
                    if percent != Some(0.0) {
                        found.push(Extrapolated { pointer: pointer.clone(), percent });
                    }
                } else {
                    look(inner, format!("{pointer}/{name}"), found);
                }
            }
        }
        Value::Array(items) => {
            for (index, inner) in items.iter().enumerate() {
                look(inner, format!("{pointer}/{index}"), found);
            }
        }
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}
