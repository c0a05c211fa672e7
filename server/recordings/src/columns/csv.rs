//! Columns as CSV.

use std::io::Write;

use chrono::{Datelike, Timelike};

use super::TIME;
use super::reader::{CannotRead, Columns};
use super::sums::Parts;
use crate::Micros;

/// How CSV is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct CsvOut {
    /// Whether a row of units follows the header; its first cell says `UTC`.
    pub unit_row: bool,
}

/// Bytes that are held before they are written.
const HELD: usize = 64 * 1024;

impl<R: Parts + 'static> Columns<R> {
    /// Writes channels from one moment to another, both included, as CSV by RFC 4180 with `\n` at the end of lines.
    ///
    /// The header has the codes of the channels. Moments are written by RFC 3339 in UTC with microseconds, values with as
    /// many digits as it takes to read back the same double, and what is missing is empty.
    ///
    /// # Errors
    ///
    /// [`CannotRead`], where a channel is not there, the file is damaged, or nothing can be written.
    pub fn csv_out(
        &self,
        codes: &[&str],
        from: Micros,
        to: Micros,
        how: CsvOut,
        mut into: impl Write,
    ) -> Result<(), CannotRead> {
        let places = self.places(codes)?;
        let mut held = Vec::with_capacity(2 * HELD);
        header_row(&mut held, TIME, codes.iter().copied());
        if how.unit_row {
            let units = places.iter().filter_map(|place| self.channels().get(*place));
            header_row(&mut held, "UTC", units.map(|channel| channel.unit.as_str()));
        }
        self.for_each(codes, from, to, |times, values| {
            for (row, moment) in times.iter().enumerate() {
                write_moment(&mut held, *moment)?;
                for column in values {
                    held.push(b',');
                    match column.get(row) {
                        // As `{:?}` a double has a point or an exponent, so that no reader takes it for a whole number.
                        Some(value) if !value.is_nan() => write!(held, "{value:?}")?,
                        _ => {}
                    }
                }
                held.push(b'\n');
                if held.len() >= HELD {
                    into.write_all(&held)?;
                    held.clear();
                }
            }
            Ok(())
        })?;
        into.write_all(&held)?;
        Ok(into.flush()?)
    }
}

fn header_row<'a>(into: &mut Vec<u8>, first: &str, others: impl Iterator<Item = &'a str>) {
    into.extend_from_slice(first.as_bytes());
    for cell in others {
        into.push(b',');
        if cell.contains(['"', ',', '\n', '\r']) {
            into.push(b'"');
            into.extend_from_slice(cell.replace('"', "\"\"").as_bytes());
            into.push(b'"');
        } else {
            into.extend_from_slice(cell.as_bytes());
        }
    }
    into.push(b'\n');
}

/// A moment as `2026-05-17T08:30:00.250000Z`.
fn write_moment(into: &mut Vec<u8>, moment: Micros) -> Result<(), CannotRead> {
    let at = moment
        .to_utc()
        .ok_or(CannotRead::NotARecording { what: "a moment is beyond any calendar" })?;
    write!(
        into,
        "{:04}-{:02}-{:02}T{:02}:{:02}:{:02}.{:06}Z",
        at.year(),
        at.month(),
        at.day(),
        at.hour(),
        at.minute(),
        at.second(),
        at.timestamp_subsec_micros()
    )?;
    Ok(())
}
