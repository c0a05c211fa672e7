//! How pages say things: times, roles, states by word and shape, holds, conditions, criteria and limits.

mod day;
mod standing;

use chrono::{DateTime, SecondsFormat, TimeDelta, Utc};
use maud::{Markup, html};
use programme::codes::PersonHandle;
use programme::holds::{Hold, Stage};
use programme::nouns::Role;
use programme::state::State;

pub(crate) use day::{check_word, observed, outcome, severity, severity_code, times_in_short};
pub(crate) use programme::in_words::{
    amount, axis, channel_name, comparison, condition, criterion, energy, figure,
    hours_and_minutes, limit, phase, statistic, total, weather,
};
pub(crate) use standing::{
    STATES, mark_of_symbol, result_word, state_word, symbols, word_of_state,
};

/// What ends within so many days is told to end soon. Our own choice, no source.
pub(crate) const SOON: TimeDelta = TimeDelta::days(30);

/// A moment in UTC. A script adds the time where the reader is.
pub(crate) fn moment(at: DateTime<Utc>) -> Markup {
    html! {
        time datetime=(at.to_rfc3339_opts(SecondsFormat::Secs, true)) { (at.format("%Y-%m-%d")) " " wbr; (at.format("%H:%M")) " UTC" }
    }
}

/// A moment in UTC, with its seconds.
pub(crate) fn exact(at: DateTime<Utc>) -> Markup {
    html! {
        time datetime=(at.to_rfc3339_opts(SecondsFormat::Millis, true)) { (at.format("%Y-%m-%d")) " " wbr; (at.format("%H:%M:%S")) " UTC" }
    }
}

/// How long something is.
pub(crate) fn span(span: TimeDelta) -> String {
    let seconds = span.num_seconds();
    let (hours, minutes, rest) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    match (hours, minutes) {
        (0, 0) => format!("{rest} s"),
        (0, _) => format!("{minutes} min {rest} s"),
        _ => format!("{hours} h {minutes} min"),
    }
}

/// Seconds, with as many digits as people read.
pub(crate) fn seconds(seconds: f64) -> String {
    if seconds.abs() < 100.0 { format!("{seconds:.1} s") } else { format!("{seconds:.0} s") }
}

/// The size of a file.
pub(crate) fn bytes(size: u64) -> String {
    let [kib, mib, gib] = [1_u64 << 10, 1 << 20, 1 << 30];
    match size {
        _ if size < kib => format!("{size} B"),
        _ if size < mib => format!("{} KiB", size / kib),
        _ if size < gib => format!("{} MiB", size / mib),
        _ => format!("{} GiB", size / gib),
    }
}

/// A figure without the digits that no reader needs.
pub(crate) fn rounded(figure: f64) -> String {
    let decimals = match figure.abs() {
        size if size >= 1000.0 => 0,
        size if size >= 100.0 => 1,
        size if size >= 1.0 => 2,
        _ => 4,
    };
    let text = format!("{:.decimals$}", 0.0 + figure);
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// The first digits of a digest, by which people tell one from another.
pub(crate) fn short(digest: &str) -> &str {
    digest.get(..12).unwrap_or(digest)
}

/// A moment as a field for a time takes it.
pub(crate) fn for_field(at: DateTime<Utc>) -> String {
    at.format("%Y-%m-%dT%H:%M").to_string()
}

/// Roles in words.
pub(crate) fn roles(roles: &[Role]) -> String {
    roles.iter().map(|role| role.in_words()).collect::<Vec<_>>().join(", ")
}

/// So many of something.
pub(crate) fn counted(count: usize, one: &str, many: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {many}") }
}

/// A place as the value of a name in a query string.
pub(crate) fn escaped_for_query(place: &str) -> String {
    use std::fmt::Write as _;
    let mut escaped = String::new();
    for byte in place.bytes() {
        if byte.is_ascii_alphanumeric() || matches!(byte, b'/' | b'-' | b'.' | b'_' | b'~') {
            escaped.push(char::from(byte));
        } else {
            // Writing to a String cannot fail.
            let _ = write!(escaped, "%{byte:02X}");
        }
    }
    escaped
}

/// Every hold: why, what clears it, and where the rule comes from; first those that stand against a release too.
pub(crate) fn holds_list(holds: &[Hold]) -> Markup {
    let of = |stage: Stage| holds.iter().filter(move |hold| hold.stage == stage);
    let both = of(Stage::Release).count() > 0 && of(Stage::Run).count() > 0;
    html! {
        @for (stage, words) in [(Stage::Release, "Against releasing it and running it"), (Stage::Run, "Against running it")] {
            @if of(stage).count() > 0 {
                @if both { h3.stage { (words) } }
                ol.holds {
                    @for hold in of(stage) {
                        li {
                            p.why { (hold.why) }
                            p.clears { span.lead { "Clears it: " } (hold.clears) }
                            p.source { (hold.source) " · " code { (hold.rule) } }
                        }
                    }
                }
            }
        }
    }
}

/// A person's name, with the handle where nobody of that handle is listed.
pub(crate) fn person(state: &State, handle: &PersonHandle) -> String {
    state.people.get(handle).map_or_else(|| handle.to_string(), |person| person.name.clone())
}
