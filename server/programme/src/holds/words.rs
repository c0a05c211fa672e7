//! Moments, lists, bounds and spans of time as sentences have them.

use std::fmt::Display;

use chrono::{DateTime, TimeDelta, Utc};

use crate::measure::Measure;
use crate::nouns::{Axis, Comparison, Criterion};

/// A moment, to the minute.
pub(super) fn moment(at: DateTime<Utc>) -> String {
    at.format("%Y-%m-%d %H:%M UTC").to_string()
}

/// What a person wrote, as the end of a sentence.
pub(super) fn said(text: &str) -> String {
    let text = text.trim();
    if text.ends_with(['.', '!', '?']) { text.to_owned() } else { format!("{text}.") }
}

/// "a", "a and b", "a, b and c".
pub(super) fn listed<T: Display>(things: impl IntoIterator<Item = T>) -> String {
    joined(things, "and")
}

/// "a", "a or b", "a, b or c".
pub(super) fn either<T: Display>(things: impl IntoIterator<Item = T>) -> String {
    joined(things, "or")
}

fn joined<T: Display>(things: impl IntoIterator<Item = T>, word: &str) -> String {
    let words: Vec<String> = things.into_iter().map(|thing| thing.to_string()).collect();
    match words.as_slice() {
        [] => "nobody".to_owned(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} {word} {last}", first.join(", ")),
    }
}

/// The axis in words.
pub(super) fn axis(axis: Axis) -> String {
    axis.as_str().replace('-', " ")
}

/// What a criterion asks for: "at most 60 °C".
pub(super) fn bound(criterion: &Criterion) -> String {
    let value = Measure::new(criterion.value, criterion.unit);
    match (criterion.comparison, criterion.upper) {
        (Comparison::AtMost, _) => format!("at most {value}"),
        (Comparison::AtLeast, _) => format!("at least {value}"),
        (Comparison::Between, Some(upper)) => {
            format!("from {value} to {}", Measure::new(upper, criterion.unit))
        }
        (Comparison::Between, None) => format!("from {value} to an unknown upper bound"),
    }
}

/// A span of time, to the minute: "35 min", "3 h 05 min", "12 days".
pub(super) fn span(span: TimeDelta) -> String {
    let minutes = span.num_minutes().abs();
    match minutes {
        0..60 => format!("{minutes} min"),
        60..2880 => format!("{} h {:02} min", minutes / 60, minutes % 60),
        _ => format!("{} days", minutes / 1440),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lists_and_spans_read_as_people_say_them() {
        assert_eq!(listed(["a", "b", "c"]), "a, b and c");
        assert_eq!(either(["a", "b"]), "a or b");
        assert_eq!(span(TimeDelta::minutes(59)), "59 min");
        assert_eq!(span(TimeDelta::minutes(185)), "3 h 05 min");
        assert_eq!(span(TimeDelta::days(12)), "12 days");
    }
}
