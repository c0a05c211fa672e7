//! One track point, while its elements come.

use chrono::{DateTime, NaiveDateTime};
use quick_xml::events::BytesStart;

use crate::{Micros, Rule};

/// All columns, with their units.
pub(super) const COLUMNS: [(&str, Option<&str>); 4] = [
    ("latitude", Some("deg")),
    ("longitude", Some("deg")),
    ("elevation", Some("m")),
    ("speed", Some("m/s")),
];
const LATITUDE: usize = 0;
const LONGITUDE: usize = 1;
const ELEVATION: usize = 2;
const SPEED: usize = 3;
/// Bytes of an element's text that can be a figure or a moment.
const MOST_TEXT_BYTES: usize = 64;

/// An element whose text is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Wanted {
    Time,
    Elevation,
    Speed,
}

impl Wanted {
    /// The element of this name, so many levels below its point. A speed stands in GPX 1.1 among the extensions, in
    /// whatever namespace; in GPX 1.0 beside the elevation.
    pub(super) fn of(local_name: &str, levels_below: usize) -> Option<Self> {
        match (local_name, levels_below) {
            ("time", 1) => Some(Self::Time),
            ("ele", 1) => Some(Self::Elevation),
            ("speed", _) => Some(Self::Speed),
            _ => None,
        }
    }
}

/// The text of an element, as far as it can matter.
#[derive(Debug, Default)]
pub(super) struct Text {
    kept: String,
    /// It is longer than what is kept, or is not text alone.
    spoilt: bool,
}

impl Text {
    pub(super) fn push(&mut self, more: &str) {
        let more = if self.kept.is_empty() { more.trim_start() } else { more };
        if self.kept.len() + more.trim_end().len() > MOST_TEXT_BYTES {
            let room = MOST_TEXT_BYTES.saturating_sub(self.kept.len());
            self.kept.extend(more.chars().take(room));
            self.spoilt = true;
        } else {
            self.kept.push_str(more.get(..MOST_TEXT_BYTES).unwrap_or(more));
        }
    }

    /// An entity or an element stands in it.
    pub(super) fn spoil(&mut self) {
        self.spoilt = true;
    }

    pub(super) fn clear(&mut self) {
        self.kept.clear();
        self.spoilt = false;
    }

    fn read<T>(&self, read: impl Fn(&str) -> Result<T, Rule>, otherwise: Rule) -> Result<T, Rule> {
        if self.spoilt { Err(otherwise) } else { read(self.kept.trim()) }
    }
}

/// A point on its way.
#[derive(Debug)]
pub(super) struct Point {
    pub(super) line: u64,
    pub(super) time: Option<Micros>,
    /// What stood where the moment should be.
    pub(super) time_text: String,
    pub(super) figures: [f64; COLUMNS.len()],
    come: [bool; COLUMNS.len()],
    /// Cells that are refused: which, what stood there, why.
    pub(super) refused: Vec<(usize, String, Rule)>,
}

impl Point {
    pub(super) fn begin(line: u64, tag: &BytesStart<'_>) -> Self {
        let mut point = Self {
            line,
            time: None,
            time_text: String::new(),
            figures: [f64::NAN; COLUMNS.len()],
            come: [false; COLUMNS.len()],
            refused: Vec::new(),
        };
        // Attributes that stand twice are found by `put`; the reader's own check takes time that grows with their square.
        for attribute in tag.attributes().with_checks(false).flatten() {
            let (field, most) = match attribute.key.as_ref() {
                "lat" => (LATITUDE, 90.0),
                "lon" => (LONGITUDE, 180.0),
                _ => continue,
            };
            let read = figure(attribute.value.trim()).and_then(|degrees| match degrees {
                degrees if degrees > most => Err(Rule::AboveHighest),
                degrees if degrees < -most => Err(Rule::BelowLowest),
                degrees => Ok(degrees),
            });
            point.put(field, read, &attribute.value);
        }
        for field in [LATITUDE, LONGITUDE] {
            if !point.come[field] {
                point.put(field, Err(Rule::Damaged), "");
            }
        }
        point
    }

    /// Takes the text of a wanted element.
    pub(super) fn take(&mut self, wanted: Wanted, text: &Text) {
        match wanted {
            Wanted::Time if self.time.is_none() => {
                self.time =
                    text.read(|text| moment(text).ok_or(Rule::NotAMoment), Rule::NotAMoment).ok();
                self.time_text.clone_from(&text.kept);
            }
            // A second moment: which one is the point's cannot be told, so it has none.
            Wanted::Time => {
                self.time = None;
                self.time_text = "two moments in one point".to_owned();
            }
            Wanted::Elevation | Wanted::Speed if text.kept.trim().is_empty() && !text.spoilt => {}
            Wanted::Elevation => {
                self.put(ELEVATION, text.read(figure, Rule::NotANumber), &text.kept);
            }
            Wanted::Speed => self.put(SPEED, text.read(figure, Rule::NotANumber), &text.kept),
        }
    }

    fn put(&mut self, field: usize, read: Result<f64, Rule>, found: &str) {
        let (Some(figure), Some(come)) = (self.figures.get_mut(field), self.come.get_mut(field))
        else {
            return;
        };
        let rule = match read {
            Ok(value) if !*come => {
                (*figure, *come) = (value, true);
                return;
            }
            // What comes a second time is told once, so that a point cannot grow without bound.
            _ if self.refused.iter().any(|(refused, _, _)| *refused == field) => return,
            Ok(_) => Rule::TimeDoubled,
            Err(rule) => rule,
        };
        *come = true;
        self.refused.push((field, found.chars().take(MOST_TEXT_BYTES).collect(), rule));
    }
}

/// A number of XML Schema's `decimal` or `double`.
fn figure(text: &str) -> Result<f64, Rule> {
    if matches!(text, "NaN" | "INF" | "-INF" | "nan" | "inf" | "-inf") {
        return Err(Rule::NotFinite);
    }
    let plain =
        |byte: u8| byte.is_ascii_digit() || matches!(byte, b'+' | b'-' | b'.' | b'e' | b'E');
    if !text.bytes().all(plain) {
        return Err(Rule::NotANumber);
    }
    match fast_float2::parse::<f64, _>(text) {
        Ok(value) if value.is_finite() => Ok(value),
        Ok(_) => Err(Rule::NotFinite),
        Err(_) => Err(Rule::NotANumber),
    }
}

/// A moment of XML Schema's `dateTime`; without a zone it is in UTC, as GPX says.
fn moment(text: &str) -> Option<Micros> {
    if let Ok(moment) = DateTime::parse_from_rfc3339(text) {
        return Some(moment.to_utc().into());
    }
    let naive = NaiveDateTime::parse_from_str(text, "%Y-%m-%dT%H:%M:%S%.f").ok()?;
    Some(naive.and_utc().into())
}
