//! How values and ranges are told in a fault's sentence.

use std::ops::{Bound, RangeBounds};

use serde_json::Value;

/// What a value is, short enough for a sentence.
pub(super) fn told(value: &Value) -> String {
    match value {
        Value::Null => "null".to_owned(),
        Value::Bool(truth) => truth.to_string(),
        Value::Number(number) => number.to_string(),
        Value::String(text) if text.trim().is_empty() => "a blank text".to_owned(),
        Value::String(text) => format!("the text \"{}\"", short(text)),
        Value::Array(items) => format!("a list of {}", items.len()),
        Value::Object(_) => "an object".to_owned(),
    }
}

/// The start of a text.
pub(super) fn short(text: &str) -> String {
    const LONGEST: usize = 60;
    if text.chars().count() <= LONGEST {
        return text.to_owned();
    }
    let start: String = text.chars().take(LONGEST).collect();
    format!("{start}…")
}

/// What a range accepts, to follow "a number".
pub(super) fn told_range(range: &impl RangeBounds<f64>) -> String {
    let low = match range.start_bound() {
        Bound::Included(low) => Some(format!("of at least {low}")),
        Bound::Excluded(low) => Some(format!("above {low}")),
        Bound::Unbounded => None,
    };
    let high = match range.end_bound() {
        Bound::Included(high) => Some(format!("at most {high}")),
        Bound::Excluded(high) => Some(format!("below {high}")),
        Bound::Unbounded => None,
    };
    match (low, high) {
        (Some(low), Some(high)) => format!("{low} and {high}"),
        (Some(low), None) => low,
        (None, Some(high)) => format!("of {high}"),
        (None, None) => "of any size".to_owned(),
    }
}
