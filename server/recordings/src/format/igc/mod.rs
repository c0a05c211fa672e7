//! IGC: the text files of flight recorders for gliding.
//!
//! The columns of the mapping are `latitude` and `longitude` in degrees, `pressure_altitude` and `gnss_altitude` in
//! metres, and what the file's I record adds to its fixes: by its code in lower case (`fxa`, `enl`, `ias` …), or by a
//! name where the code has one: `ground_speed` (GSP), `track` (TRT), `satellites` (SIU). Figures of extensions are
//! taken as their digits are written; where a recorder means tenths, the mapping's scale says so. A unit is offered only for
//! those of three digits, which the specification has.
//!
//! A fix marked `V` is of two dimensions or none, and nothing tells which: some recorders repeat the last position while
//! they have none. So its position, GNSS altitude, ground speed and track are missing; its pressure altitude is there.
//!
//! # Source
//!
//! FAI/IGC technical specification for GNSS flight recorders: A, H, I and B records, from memory. Checked against the
//! library aerofiles in `tests/reference`.

mod fix;
#[cfg(test)]
mod tests;

use std::io::Read;

use chrono::NaiveDate;

use self::fix::{Extensions, FIXED_FIELDS, Fix};
use super::digits::{date, date_after, moment};
use super::lines::{LINES_TO_LOOK_AT, Lines};
use super::rows::Rows;
use super::{Field, PassedOver};
use crate::{ColumnPlan, Micros, Remark, Rule, Sink, Unreadable};

/// Reads the fixes of an IGC file: a row each, in UTC. A fix shortly after midnight that follows one of the late evening
/// is of the next day.
///
/// Lines of other records are passed over; how many of each is given.
///
/// # Errors
///
/// [`Unreadable`] where the file does not begin as an IGC file, has a fix before its date, an I record that cannot be
/// read or that changes after the first fix, lacks a mapped column, or has no fix.
pub fn read(
    source: impl Read,
    columns: &[ColumnPlan],
    sink: &mut dyn Sink,
) -> Result<PassedOver, Unreadable> {
    let mut lines = Lines::of(source);
    let mut header = Header::default();
    let mut passed_over = PassedOver::default();
    let first = loop {
        let Some((number, line)) = lines.next()? else { return Err(Unreadable::NoRows) };
        match header.take(number, line)? {
            Took::Fix => break (number, line.to_vec()),
            Took::Other(kind) => passed_over.count(kind),
            Took::Header => {}
        }
    };
    let extensions = std::mem::take(&mut header.extensions);
    let mut rows = Rows::of(&extensions.names(), columns, sink)?;
    let mut clock = Clock::default();
    take_fix(first.0, &first.1, &extensions, &header, &mut clock, &mut rows)?;
    while let Some((number, line)) = lines.next()? {
        match header.take(number, line)? {
            Took::Fix => take_fix(number, line, &extensions, &header, &mut clock, &mut rows)?,
            Took::Other(kind) => passed_over.count(kind),
            Took::Header if header.extensions != Extensions::default() => {
                if header.extensions != extensions {
                    return Err(not_igc(number, "its I record changes after the first fix"));
                }
            }
            // A date: the fixes that follow are of it.
            Took::Header => {}
        }
    }
    if lines.ends_open() {
        rows.remark(Remark::EndsOpen);
    }
    rows.finish()?;
    Ok(passed_over)
}

/// What the fixes of a file carry: the position and both altitudes, and what its I record adds.
///
/// # Errors
///
/// [`Unreadable`] where the file does not begin as an IGC file, or has no fix in its first 100,000 lines.
pub fn fields(source: impl Read) -> Result<Vec<Field>, Unreadable> {
    let mut lines = Lines::of(source);
    let mut header = Header::default();
    while let Some((number, line)) = lines.next()? {
        if matches!(header.take(number, line)?, Took::Fix) {
            let fixed = FIXED_FIELDS.iter().map(|(name, unit)| Field::new(name, Some(unit)));
            return Ok(fixed.chain(header.extensions.fields()).collect());
        }
        if number >= LINES_TO_LOOK_AT {
            break;
        }
    }
    Err(Unreadable::NoRows)
}

fn not_igc(line: u64, why: &str) -> Unreadable {
    Unreadable::NotTheFormat {
        line,
        why: format!("this is not an IGC file that can be read: {why}"),
    }
}

/// What the records before the fixes, and between them, say.
#[derive(Debug, Default)]
struct Header {
    begun: bool,
    date: Option<NaiveDate>,
    /// How often a date was given.
    dates: u64,
    extensions: Extensions,
}

/// What a line was.
enum Took {
    Header,
    Fix,
    /// A record of another kind, in words.
    Other(&'static str),
}

impl Header {
    fn take(&mut self, number: u64, line: &[u8]) -> Result<Took, Unreadable> {
        let line = line.trim_ascii_end();
        let Some(letter) = line.first() else { return Ok(Took::Other("empty lines")) };
        if !self.begun && !matches!(letter, b'A' | b'H') {
            return Err(not_igc(number, "it begins neither with an A nor with an H record"));
        }
        self.begun = true;
        match letter {
            b'H' => {
                let Some(written) = date_digits(line) else { return Ok(Took::Other("H records")) };
                let found = date(written).ok_or_else(|| {
                    not_igc(number, "its date is none of the calendar; HFDTE wants ddmmyy")
                })?;
                self.date = Some(found);
                self.dates += 1;
                Ok(Took::Header)
            }
            b'I' => {
                let found = Extensions::read(line).ok_or_else(|| {
                    not_igc(number, "its I record does not fit the lengths that it states")
                })?;
                self.extensions = found;
                Ok(Took::Header)
            }
            b'B' if self.date.is_none() => Err(not_igc(
                number,
                "a fix stands before the date (HFDTE), so its moment cannot be told",
            )),
            b'B' => Ok(Took::Fix),
            b'A' => Ok(Took::Other("A records")),
            b'C' => Ok(Took::Other("C records")),
            b'D' => Ok(Took::Other("D records")),
            b'E' => Ok(Took::Other("E records")),
            b'F' => Ok(Took::Other("F records")),
            b'G' => Ok(Took::Other("G records")),
            b'J' => Ok(Took::Other("J records")),
            b'K' => Ok(Took::Other("K records")),
            b'L' => Ok(Took::Other("L records")),
            _ => Ok(Took::Other("lines of no known record")),
        }
    }
}

/// The six digits of `HFDTE150724` or of `HFDTEDATE:150724,01`, whatever source wrote it; absent in other H records.
fn date_digits(line: &[u8]) -> Option<&[u8]> {
    let after = line.get(2..)?.strip_prefix(b"DTE")?;
    let after = after.strip_prefix(b"DATE").unwrap_or(after).trim_ascii_start();
    let after = after.strip_prefix(b":").unwrap_or(after).trim_ascii_start();
    Some(after.split(|byte| *byte == b',').next().unwrap_or(after).trim_ascii_end())
}

/// Where the fixes are in time.
#[derive(Debug, Default)]
struct Clock {
    /// How often the header had given a date at the fix before.
    dates: u64,
    date: Option<NaiveDate>,
    time_of_day: i64,
}

impl Clock {
    /// The moment of a fix, and whether midnight passed before it without a new date in the header.
    fn moment(&mut self, header: &Header, time_of_day: i64) -> Option<(Micros, bool)> {
        let same_date = self.date.filter(|_| self.dates == header.dates);
        let date = match same_date {
            Some(date) => date_after(date, self.time_of_day, time_of_day),
            None => header.date,
        };
        let found = moment(date?, time_of_day)?;
        *self = Self { dates: header.dates, date, time_of_day };
        Some((found, same_date.is_some() && same_date != date))
    }
}

fn take_fix(
    number: u64,
    line: &[u8],
    extensions: &Extensions,
    header: &Header,
    clock: &mut Clock,
    rows: &mut Rows<'_>,
) -> Result<(), Unreadable> {
    let line = line.trim_ascii_end();
    let Some(fix) = Fix::read(line, extensions) else {
        return rows.refuse_row(number, line, Rule::Damaged);
    };
    let Some((time, passed_midnight)) = clock.moment(header, fix.time_of_day) else {
        return rows.refuse_row(number, line, Rule::NotAMoment);
    };
    if passed_midnight {
        rows.remark(Remark::PassedMidnight { line: number });
    }
    for (field, found, rule) in &fix.refused {
        rows.refuse_cell(number, *field, found, *rule)?;
    }
    rows.take(number, time, &fix.figures)
}
