//! Which column has the moments of rows, and how they are written.

use chrono::{DateTime, Utc};
use programme::measure::Unit;
use programme::nouns::TimeForm;
use recordings::Micros;
use recordings::format::csv;
use serde::Serialize;

use super::sheet::Sheet;
use super::words;

/// A column that may have the moments of rows.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct TimeSeen {
    /// The column, as the header has it.
    pub column: String,
    /// How its moments are written.
    pub form: TimeForm,
    /// The moment of the first row that was looked at, if this is right; absent where the file alone does not say it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub first_row: Option<DateTime<Utc>>,
    /// Why.
    pub why: String,
}

/// 2000-01-01 and 2100-01-01 in seconds since 1970: no flight test was recorded before or will be after.
const PLAUSIBLE_S: std::ops::Range<f64> = 946_684_800.0..4_102_444_800.0;

/// Ten days: nothing records for longer from one start.
const MOST_SINCE_START_S: f64 = 864_000.0;

/// Words that columns of moments are called by. Common practice, no source.
const CALLED: [&str; 14] = [
    "time",
    "zeit",
    "timestamp",
    "utc",
    "date",
    "datetime",
    "clock",
    "t",
    "elapsed",
    "seconds",
    "epoch",
    "temps",
    "milliseconds",
    "millis",
];

/// All columns that may have the moments, the likeliest first.
pub fn columns(sheet: &Sheet) -> Vec<(usize, TimeSeen)> {
    let mut seen: Vec<(u32, usize, TimeSeen)> = Vec::new();
    for (place, header) in sheet.headers.iter().enumerate() {
        let cells: Vec<&str> =
            sheet.column(place).filter(|cell| !cell.is_empty()).take(200).collect();
        let Some((form, why)) = form_of(sheet, place, &cells) else { continue };
        let called = words::of(header).iter().any(|word| CALLED.contains(&word.as_str()));
        // A date says most; a figure that only rises may be a counter, unless its name says time.
        let sure = match form {
            TimeForm::Iso8601 | TimeForm::Iso8601Utc | TimeForm::DottedDateUtc => 4,
            TimeForm::ClockUtc => 3,
            TimeForm::UnixS | TimeForm::UnixMs => 2,
            TimeForm::SecondsSinceStart | TimeForm::MillisecondsSinceStart => 0,
        };
        if sure == 0 && !called {
            continue;
        }
        let first_row = cells.first().and_then(|cell| moment(form, cell, sheet.decimal.as_char()));
        let time = TimeSeen { column: header.clone(), form, first_row, why };
        seen.push((sure * 2 + u32::from(called), place, time));
    }
    seen.sort_by_key(|(sure, place, _)| (std::cmp::Reverse(*sure), *place));
    seen.into_iter().map(|(_, place, time)| (place, time)).collect()
}

/// The form that every cell fits.
fn form_of(sheet: &Sheet, place: usize, cells: &[&str]) -> Option<(TimeForm, String)> {
    let first = *cells.first()?;
    let decimal = sheet.decimal.as_char();
    let all = |form: &csv::TimeForm| cells.iter().all(|cell| form.of_cell(cell, decimal).is_some());
    if all(&csv::TimeForm::Iso8601 { utc_without_offset: false }) {
        return Some((TimeForm::Iso8601, format!("{first} is a date and time with its offset")));
    }
    if all(&csv::TimeForm::Iso8601 { utc_without_offset: true }) {
        let why = format!(
            "{first} is a date and time without an offset: make sure that the recorder's clock shows UTC"
        );
        return Some((TimeForm::Iso8601Utc, why));
    }
    if all(&csv::TimeForm::DottedDateUtc) {
        let why = format!(
            "{first} is a date with its day first and a time without an offset: make sure that the recorder's clock shows UTC"
        );
        return Some((TimeForm::DottedDateUtc, why));
    }
    if all(&csv::TimeForm::ClockUtc { date: chrono::NaiveDate::default() }) {
        let why = format!(
            "{first} is a time of day: make sure that the recorder's clock shows UTC; the day is given with each file"
        );
        return Some((TimeForm::ClockUtc, why));
    }
    let figures: Vec<f64> = cells.iter().map_while(|cell| sheet.number(cell)).collect();
    if figures.len() != cells.len() || !figures.array_windows().all(|[one, next]| next >= one) {
        return None;
    }
    let within = |scale: f64| figures.iter().all(|figure| PLAUSIBLE_S.contains(&(figure * scale)));
    if within(1.0) {
        return Some((
            TimeForm::UnixS,
            format!("{first} as seconds since 1970 is a plausible moment"),
        ));
    }
    if within(0.001) {
        let why = format!("{first} as milliseconds since 1970 is a plausible moment");
        return Some((TimeForm::UnixMs, why));
    }
    let rises = figures.array_windows().all(|[one, next]| next > one);
    let unit = super::unit_at(sheet, place);
    // Without a unit a figure that rises from row to row is taken for seconds, which the person who maps the file sees.
    let (scale, form, named) = match unit {
        Some(meant) if meant.unit != Unit::Second => return None,
        Some(meant) if meant.scale == 0.001 => {
            (0.001, TimeForm::MillisecondsSinceStart, "millisecond")
        }
        Some(meant) if meant.scale != 1.0 => return None,
        Some(_) | None => (1.0, TimeForm::SecondsSinceStart, "second"),
    };
    let short = figures.iter().all(|figure| (0.0..MOST_SINCE_START_S).contains(&(figure * scale)));
    (rises && short).then(|| {
        let why =
            format!("it rises from row to row; the moment of {named} 0 is given with each file");
        (form, why)
    })
}

/// The moment of a cell, where the file says it.
fn moment(form: TimeForm, cell: &str, decimal: char) -> Option<DateTime<Utc>> {
    let form = match form {
        TimeForm::Iso8601 => csv::TimeForm::Iso8601 { utc_without_offset: false },
        TimeForm::Iso8601Utc => csv::TimeForm::Iso8601 { utc_without_offset: true },
        TimeForm::UnixS => csv::TimeForm::UnixSeconds,
        TimeForm::UnixMs => csv::TimeForm::UnixMillis,
        TimeForm::DottedDateUtc => csv::TimeForm::DottedDateUtc,
        TimeForm::SecondsSinceStart | TimeForm::MillisecondsSinceStart | TimeForm::ClockUtc => {
            return None;
        }
    };
    form.of_cell(cell, decimal).and_then(Micros::to_utc)
}
