//! Figures, moments and names in words; and what people wrote, made fit to be set.

use chrono::{DateTime, Utc};
use programme::codes::{ChannelCode, PersonHandle};
use programme::in_words::figure;
use programme::measure::{Measure, Unit};
use programme::nouns::Phase;
use programme::record::Predicted;
use programme::state::{Signature, State};

/// What stands where nothing is known.
pub(crate) const NOT_RECORDED: &str = "not recorded";

/// Words longer than this have places at which they may be broken, so that they stay on the page.
const LONG_WORD: usize = 70;
/// As [`LONG_WORD`], in a cell of a table.
const LONG_IN_CELL: usize = 20;
/// Names that are put together of words, such as those of channels, may be broken between them where they are longer than this
/// in a cell.
const LONG_NAME: usize = 12;
/// So many signs of a long word stay together.
const STAYS_TOGETHER: usize = 8;
/// Where a line may be broken though nothing shows it.
const BREAK: char = '\u{200b}';

/// Signs that turn the direction of what follows could show a text otherwise than it is read.
const fn misleads(sign: char) -> bool {
    matches!(sign, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{200e}' | '\u{200f}' | '\u{061c}')
}

fn fit(text: &str, long: usize) -> String {
    let mut out = String::with_capacity(text.len());
    for piece in text.split_inclusive(char::is_whitespace) {
        let word = piece.trim_end_matches(char::is_whitespace);
        let is_long = word.chars().count() > long;
        for (place, sign) in word.chars().enumerate() {
            if is_long && place > 0 && place.is_multiple_of(STAYS_TOGETHER) {
                out.push(BREAK);
            }
            out.push(if sign.is_control() || misleads(sign) {
                char::REPLACEMENT_CHARACTER
            } else {
                sign
            });
        }
        out.extend(piece[word.len()..].chars().map(|sign| if sign == '\n' { '\n' } else { ' ' }));
    }
    out
}

/// A text as it can be set: nothing in it controls anything, and no word is wider than the page.
pub(crate) fn clean(text: &str) -> String {
    fit(text, LONG_WORD)
}

/// As [`clean`], for a cell of a table.
pub(crate) fn clean_cell(text: &str) -> String {
    let fitted = fit(text, LONG_IN_CELL);
    let pieces = fitted.split_inclusive(char::is_whitespace);
    let is_long_name = |word: &str| word.contains('_') && word.chars().count() > LONG_NAME;
    let with_breaks = |word: &str| word.replace('_', &format!("_{BREAK}"));
    pieces
        .map(|piece| if is_long_name(piece) { with_breaks(piece) } else { piece.to_owned() })
        .collect()
}

/// A moment in UTC, to the minute.
pub(crate) fn moment(at: DateTime<Utc>) -> String {
    at.format("%Y-%m-%d %H:%M UTC").to_string()
}

/// A moment, or that it was not recorded.
pub(crate) fn known_moment(at: Option<DateTime<Utc>>) -> String {
    at.map_or_else(|| NOT_RECORDED.to_owned(), moment)
}

/// A text, or that it was not recorded.
pub(crate) fn known(text: Option<impl Into<String>>) -> String {
    text.map(Into::into).filter(|text| !text.is_empty()).unwrap_or_else(|| NOT_RECORDED.to_owned())
}

/// A measure, or that it was not recorded.
pub(crate) fn known_measure(measure: Option<Measure>) -> String {
    measure.map_or_else(|| NOT_RECORDED.to_owned(), |it| it.to_string())
}

/// A figure rounded to three places.
pub(crate) fn bare(value: f64) -> String {
    format!("{}", (value * 1000.0).round() / 1000.0)
}

/// A figure with its unit, or that it was not recorded.
pub(crate) fn known_figure(value: Option<f64>, unit: Unit) -> String {
    value.map_or_else(|| NOT_RECORDED.to_owned(), |value| figure(value, unit))
}

/// A phase in words.
pub(crate) const fn phase(of: Phase) -> &'static str {
    match of {
        Phase::Static => "static tests",
        Phase::GroundRun => "ground runs",
        Phase::Taxi => "taxi tests",
        Phase::FirstFlight => "first flights",
        Phase::Envelope => "envelope expansion",
    }
}

/// Phases in words, in one line.
pub(crate) fn phases(of: &[Phase]) -> String {
    if of.is_empty() {
        return "all phases".to_owned();
    }
    of.iter().map(|it| phase(*it)).collect::<Vec<_>>().join(", ")
}

/// A person by name, with the handle that the ledger has.
pub(crate) fn person(state: &State, handle: &PersonHandle) -> String {
    match state.people.get(handle) {
        Some(person) => format!("{} ({handle})", person.name),
        None => handle.to_string(),
    }
}

/// A channel by its title and code.
pub(crate) fn channel(state: &State, code: &ChannelCode) -> String {
    match state.channels.get(code) {
        Some(channel) => format!("{} ({code})", channel.title),
        None => code.to_string(),
    }
}

/// What was predicted.
pub(crate) fn predicted(state: &State, what: &Predicted) -> String {
    match what {
        Predicted::Temperature { limit } => {
            let of = state.limits.by_code.get(limit);
            let of = of.map_or_else(
                || "channel not recorded".to_owned(),
                |it| channel(state, &it.limit.channel),
            );
            format!("temperature for {limit}: {of}")
        }
        Predicted::Energy {} => "energy out of the pack".to_owned(),
        Predicted::LandingEnergy {} => "energy left at landing".to_owned(),
        Predicted::Damping { channel: of } => format!("damping: {}", channel(state, of)),
    }
}

/// A signature as a row: what, who, when, digest, record.
pub(crate) fn signature(state: &State, what: &str, signed: &Signature) -> [String; 5] {
    [
        what.to_owned(),
        person(state, &signed.by),
        moment(signed.at),
        signed.digest.to_string(),
        signed.seq.to_string(),
    ]
}
