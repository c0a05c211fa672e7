//! Weather by the hour from a CSV file.

use chrono::DateTime;

use super::terms::HourOfWeather;
use crate::measure::{Measure, Unit};
use crate::nouns::WeatherObservation;
use crate::refusal::Fault;

/// The columns that a file may have; `from` and `cloud` it must have.
const COLUMNS: [&str; 11] = [
    "from",
    "cloud",
    "wind_kt",
    "wind_from_deg",
    "gust_kt",
    "crosswind_kt",
    "visibility_km",
    "cloud_base_ft",
    "temperature_c",
    "qnh_hpa",
    "precipitation",
];

/// More rows than this are not read.
const MOST_ROWS: usize = 96;

/// Reads weather by the hour: a line of column names, then a row for each hour, cells parted by commas.
///
/// The columns, in any order: `from` (RFC 3339, with its offset), `cloud` (0 to 1), `wind_kt`, `wind_from_deg`, `gust_kt`,
/// `crosswind_kt`, `visibility_km`, `cloud_base_ft`, `temperature_c`, `qnh_hpa`, `precipitation` (yes or no). An empty cell is
/// not known.
///
/// # Errors
///
/// Every fault, each with its line and column.
pub fn weather_of_csv(text: &str) -> Result<Vec<HourOfWeather>, Vec<Fault>> {
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(text.as_bytes());
    let mut faults = Vec::new();
    let names: Vec<String> = match reader.headers() {
        Ok(names) => {
            names.iter().map(|name| name.trim_start_matches('\u{feff}').to_owned()).collect()
        }
        Err(error) => return Err(vec![Fault::at("line 1", format!("cannot be read: {error}"))]),
    };
    for (place, name) in names.iter().enumerate() {
        if !COLUMNS.contains(&name.as_str()) {
            let why = format!("\"{name}\" is not known; the columns are {}", COLUMNS.join(", "));
            faults.push(Fault::at("line 1", why));
        } else if names[..place].contains(name) {
            faults.push(Fault::at("line 1", format!("has the column {name} twice")));
        }
    }
    for needed in ["from", "cloud"] {
        if !names.iter().any(|name| name == needed) {
            faults.push(Fault::at("line 1", format!("has no column {needed}")));
        }
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    let mut hours = Vec::new();
    for (place, row) in reader.records().enumerate() {
        let line = place + 2;
        if place >= MOST_ROWS {
            faults.push(Fault::at(
                format!("line {line}"),
                format!("is beyond the {MOST_ROWS} rows that are read"),
            ));
            break;
        }
        match row {
            Ok(row) => {
                let cell = |name: &str| {
                    let place = names.iter().position(|known| known == name)?;
                    row.get(place).filter(|cell| !cell.is_empty())
                };
                hours.extend(hour(line, &cell, &mut faults));
            }
            Err(error) => {
                faults.push(Fault::at(format!("line {line}"), format!("cannot be read: {error}")));
            }
        }
    }
    if hours.is_empty() && faults.is_empty() {
        faults.push(Fault::at("line 2", "is missing: the file has no hour of weather"));
    }
    if faults.is_empty() { Ok(hours) } else { Err(faults) }
}

fn hour<'a>(
    line: usize,
    cell: &impl Fn(&str) -> Option<&'a str>,
    faults: &mut Vec<Fault>,
) -> Option<HourOfWeather> {
    let mut fault = |name: &str, why: String| {
        faults.push(Fault::at(format!("line {line}, column {name}"), why));
    };
    let mut figure = |name: &str| {
        let text = cell(name)?;
        let figure = text.parse::<f64>().ok().filter(|figure| figure.is_finite());
        if figure.is_none() {
            fault(name, format!("is \"{text}\"; a number with a decimal point is wanted"));
        }
        figure
    };
    let mut measure = |name: &str, unit| figure(name).map(|figure| Measure::new(figure, unit));
    let mut weather = WeatherObservation {
        wind: measure("wind_kt", Unit::Knot),
        gust: measure("gust_kt", Unit::Knot),
        crosswind: measure("crosswind_kt", Unit::Knot),
        visibility: measure("visibility_km", Unit::Kilometre),
        cloud_base: measure("cloud_base_ft", Unit::Foot),
        temperature: measure("temperature_c", Unit::Celsius),
        qnh: measure("qnh_hpa", Unit::Hectopascal),
        ..WeatherObservation::default()
    };
    weather.wind_from_deg = figure("wind_from_deg");
    let cloud = figure("cloud");
    weather.precipitation = match cell("precipitation") {
        Some("yes") => Some(true),
        Some("no") => Some(false),
        Some(other) => {
            fault("precipitation", format!("is \"{other}\"; yes or no is wanted"));
            None
        }
        None => None,
    };
    if cloud.is_none() && cell("cloud").is_none() {
        fault("cloud", "is empty; the cloud cover from 0 to 1 is wanted".to_owned());
    }
    let from = cell("from").unwrap_or_default();
    let Ok(from) = DateTime::parse_from_rfc3339(from) else {
        let why = format!(
            "is \"{from}\"; a moment with its offset is wanted, such as 2026-06-21T12:00:00Z"
        );
        fault("from", why);
        return None;
    };
    Some(HourOfWeather { from: from.to_utc(), cloud: cloud?, weather })
}
