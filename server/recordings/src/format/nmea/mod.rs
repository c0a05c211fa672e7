//! NMEA 0183: the sentences of satellite receivers, of whatever talker.
//!
//! The columns of the mapping are `latitude` and `longitude` in degrees, `ground_speed` in knots, `track` in degrees true,
//! `gnss_altitude` in metres above mean sea level, `satellites`, `hdop` and `quality`. They come from RMC, GGA and VTG;
//! other sentences are passed over and counted, once their checksum fits.
//!
//! A row has all that sentences of one time say. RMC gives its date; a row without RMC is of the date before, or of the
//! next day shortly after midnight. VTG has no time and belongs to the sentence before it. Where two sentences of a row
//! give the same figure, as RMC and VTG do, the first is taken.
//!
//! What is no measured fix gives no position, altitude, speed or track: RMC with status `V`, GGA of quality 0, and what a
//! receiver estimates, simulates or was given by hand (modes N, E, M, S; qualities 6, 7, 8). The library `nmea` reads the
//! same sentences, but in single precision; figures here are as they are written.
//!
//! # Source
//!
//! NMEA 0183: frame, checksum and fields of RMC, GGA and VTG, from memory. Checked against the library pynmea2 in
//! `tests/reference`.

mod sentence;
#[cfg(test)]
mod tests;

use std::io::Read;

use chrono::NaiveDate;

use self::sentence::{Cell, Line, Sentence};
use super::digits::{date, date_after, moment};
use super::field::offered;
use super::lines::{LINES_TO_RECOGNISE, Lines};
use super::rows::Rows;
use super::{Field, PassedOver};
use crate::{ColumnPlan, Remark, Rule, Sink, Unreadable};

/// All columns, with their units.
const COLUMNS: [(&str, Option<&str>); 8] = [
    ("latitude", Some("deg")),
    ("longitude", Some("deg")),
    ("ground_speed", Some("kt")),
    ("track", Some("deg")),
    ("gnss_altitude", Some("m")),
    ("satellites", None),
    ("hdop", None),
    ("quality", None),
];
const LATITUDE: usize = 0;
const LONGITUDE: usize = 1;
const GROUND_SPEED: usize = 2;
const TRACK: usize = 3;
const GNSS_ALTITUDE: usize = 4;
const SATELLITES: usize = 5;
const HDOP: usize = 6;
const QUALITY: usize = 7;

/// Reads the sentences of a file; gives what was passed over.
///
/// A line that is no sentence or whose checksum does not fit is refused as [`Rule::Damaged`], a sentence whose time or
/// date cannot be told as [`Rule::NotAMoment`].
///
/// # Errors
///
/// [`Unreadable`] where none of the first 1,000 lines is a sentence, the plan names a column that there is not, or no row
/// has a moment.
pub fn read(
    source: impl Read,
    columns: &[ColumnPlan],
    sink: &mut dyn Sink,
) -> Result<PassedOver, Unreadable> {
    let names = COLUMNS.map(|(name, _)| name.to_owned());
    let mut reading = Reading {
        rows: Rows::of(&names, columns, sink)?,
        row: None,
        before: None,
        passed_over: PassedOver::default(),
    };
    let mut lines = Lines::of(source);
    let (mut recognised, mut any) = (false, false);
    while let Some((number, text)) = lines.next()? {
        if text.trim_ascii().is_empty() {
            continue;
        }
        any = true;
        match Line::read(text) {
            Some(Line::Sentence(sentence)) => reading.take(number, text, &sentence)?,
            Some(Line::Proprietary) => reading.passed_over.count("sentences of makers"),
            Some(Line::Encapsulated) => reading.passed_over.count("encapsulated sentences"),
            None => {
                reading.rows.refuse_row(number, text, Rule::Damaged)?;
                if !recognised && number >= LINES_TO_RECOGNISE {
                    return Err(not_nmea());
                }
                continue;
            }
        }
        recognised = true;
    }
    if any && !recognised {
        return Err(not_nmea());
    }
    reading.finish()
}

/// The columns that have a figure in the first 16 MiB of a file.
///
/// # Errors
///
/// [`Unreadable`] as [`read`] gives it, where no column has any.
pub fn fields(source: impl Read) -> Result<Vec<Field>, Unreadable> {
    offered(source, &COLUMNS, |source, columns, sink| read(source, columns, sink))
}

fn not_nmea() -> Unreadable {
    let why = "this is not NMEA 0183 with checksums, such as “$GPRMC,…*6A”; give the sentences as \
               the receiver sends them"
        .to_owned();
    Unreadable::NotTheFormat { line: 1, why }
}

/// A row that is being put together.
struct Row {
    line: u64,
    /// The first sentence, for the refusal of a row that has no date.
    text: Vec<u8>,
    /// UTC, in microseconds since midnight.
    time_of_day: i64,
    date: Option<NaiveDate>,
    figures: [f64; COLUMNS.len()],
    /// Which columns have come, also those that were refused.
    come: [bool; COLUMNS.len()],
}

/// A file on its way.
struct Reading<'a> {
    rows: Rows<'a>,
    row: Option<Row>,
    /// Date and time of day of the row before.
    before: Option<(NaiveDate, i64)>,
    passed_over: PassedOver,
}

impl Reading<'_> {
    fn take(
        &mut self,
        number: u64,
        text: &[u8],
        sentence: &Sentence<'_>,
    ) -> Result<(), Unreadable> {
        match sentence.kind {
            b"RMC" => self.take_rmc(number, text, sentence),
            b"GGA" => self.take_gga(number, text, sentence),
            b"VTG" => self.take_vtg(number, text, sentence),
            other => {
                self.passed_over.count(&String::from_utf8_lossy(other));
                Ok(())
            }
        }
    }

    /// Time, status, latitude, longitude, speed in knots, true track, date, variation, mode.
    fn take_rmc(
        &mut self,
        number: u64,
        text: &[u8],
        sentence: &Sentence<'_>,
    ) -> Result<(), Unreadable> {
        if sentence.fields() < 9 {
            return self.rows.refuse_row(number, text, Rule::Damaged);
        }
        if sentence.field(2) != b"A" || !measured(sentence.field(12)) {
            self.passed_over.count("RMC without a fix");
            return Ok(());
        }
        let (Some(time), Some(date)) = (sentence.time_of_day(1), date(sentence.field(9))) else {
            return self.rows.refuse_row(number, text, Rule::NotAMoment);
        };
        self.begin(number, text, time, Some(date))?;
        self.put(number, LATITUDE, sentence.latitude(3))?;
        self.put(number, LONGITUDE, sentence.longitude(5))?;
        self.put(number, GROUND_SPEED, sentence.figure(7))?;
        self.put(number, TRACK, sentence.figure(8))
    }

    /// Time, latitude, longitude, quality, satellites, dilution, altitude in metres.
    fn take_gga(
        &mut self,
        number: u64,
        text: &[u8],
        sentence: &Sentence<'_>,
    ) -> Result<(), Unreadable> {
        if sentence.fields() < 10 {
            return self.rows.refuse_row(number, text, Rule::Damaged);
        }
        if sentence.field(1).is_empty() {
            self.passed_over.count("GGA without a time");
            return Ok(());
        }
        let Some(time) = sentence.time_of_day(1) else {
            return self.rows.refuse_row(number, text, Rule::NotAMoment);
        };
        self.begin(number, text, time, None)?;
        let quality = sentence.figure(6);
        self.put(number, QUALITY, quality)?;
        self.put(number, SATELLITES, sentence.figure(7))?;
        self.put(number, HDOP, sentence.figure(8))?;
        if !matches!(quality, Cell::Figure(quality) if (1.0..=5.0).contains(&quality)) {
            return Ok(());
        }
        self.put(number, LATITUDE, sentence.latitude(2))?;
        self.put(number, LONGITUDE, sentence.longitude(4))?;
        match (sentence.figure(9), sentence.field(10)) {
            (altitude, b"M") | (altitude @ Cell::Empty, _) => {
                self.put(number, GNSS_ALTITUDE, altitude)
            }
            (Cell::Figure(_) | Cell::Not(_), _) => {
                self.put(number, GNSS_ALTITUDE, Cell::Not(sentence.field(9)))
            }
        }
    }

    /// True track, `T`, magnetic track, `M`, speed in knots, `N`, speed in km/h, `K`, mode.
    fn take_vtg(
        &mut self,
        number: u64,
        text: &[u8],
        sentence: &Sentence<'_>,
    ) -> Result<(), Unreadable> {
        if sentence.fields() < 8 || sentence.field(2) != b"T" || sentence.field(6) != b"N" {
            return self.rows.refuse_row(number, text, Rule::Damaged);
        }
        if self.row.is_none() {
            self.passed_over.count("VTG before any time");
            return Ok(());
        }
        if !measured(sentence.field(9)) {
            self.passed_over.count("VTG without a fix");
            return Ok(());
        }
        self.put(number, GROUND_SPEED, sentence.figure(5))?;
        self.put(number, TRACK, sentence.figure(1))
    }

    /// Gives on the row before, where this moment is another.
    fn begin(
        &mut self,
        number: u64,
        text: &[u8],
        time_of_day: i64,
        date: Option<NaiveDate>,
    ) -> Result<(), Unreadable> {
        if let Some(row) = &mut self.row
            && row.time_of_day == time_of_day
            && (date.is_none() || row.date.is_none() || row.date == date)
        {
            row.date = row.date.or(date);
            return Ok(());
        }
        self.give()?;
        self.row = Some(Row {
            line: number,
            text: text.to_vec(),
            time_of_day,
            date,
            figures: [f64::NAN; COLUMNS.len()],
            come: [false; COLUMNS.len()],
        });
        Ok(())
    }

    fn put(&mut self, number: u64, field: usize, cell: Cell<'_>) -> Result<(), Unreadable> {
        let Some(row) = &mut self.row else { return Ok(()) };
        let (Some(figure), Some(come)) = (row.figures.get_mut(field), row.come.get_mut(field))
        else {
            return Ok(());
        };
        match cell {
            Cell::Empty => Ok(()),
            Cell::Figure(_) | Cell::Not(_) if *come => Ok(()),
            Cell::Figure(value) => {
                (*figure, *come) = (value, true);
                Ok(())
            }
            Cell::Not(found) => {
                *come = true;
                self.rows.refuse_cell(number, field, found, Rule::NotANumber)
            }
        }
    }

    fn give(&mut self) -> Result<(), Unreadable> {
        let Some(row) = self.row.take() else { return Ok(()) };
        let date = match (row.date, self.before) {
            (Some(date), _) => Some(date),
            (None, Some((date, time))) => date_after(date, time, row.time_of_day),
            (None, None) => None,
        };
        let found = date.and_then(|date| Some((date, moment(date, row.time_of_day)?)));
        match found {
            Some((date, time)) => {
                let dated_before = self.before.map(|(date, _)| date);
                if row.date.is_none() && dated_before != Some(date) {
                    self.rows.remark(Remark::PassedMidnight { line: row.line });
                }
                self.before = Some((date, row.time_of_day));
                self.rows.take(row.line, time, &row.figures)
            }
            // Receivers send empty sentences until they have a fix: nothing is lost with them.
            None if row.figures[LATITUDE].is_nan() => {
                self.passed_over.count("GGA without fix and date");
                Ok(())
            }
            None => self.rows.refuse_row(row.line, &row.text, Rule::NotAMoment),
        }
    }

    fn finish(mut self) -> Result<PassedOver, Unreadable> {
        self.give()?;
        self.rows.finish()?;
        Ok(self.passed_over)
    }
}

/// Whether a mode says that a figure was measured; older receivers give no mode.
fn measured(mode: &[u8]) -> bool {
    !matches!(mode, b"N" | b"E" | b"M" | b"S")
}
