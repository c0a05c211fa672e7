//! Makes the recorder files of the demonstration: what battery management, motor controller and satellite receiver would
//! have written in some runs of the story.
//!
//! A small model of the powerplant follows the segments of `seed/flights.toml`; sensors add noise, and what went wrong with
//! them is told there too. The same day of now gives the same bytes. All of it is invented.

mod chance;
mod flights;
mod powerplant;
mod recorders;
mod sheet;
#[cfg(test)]
mod tests;
mod truth;

use chrono::{DateTime, Days, NaiveTime, TimeDelta, Utc};

pub use flights::BadFlights;
use flights::Flight;

/// The flights of the demonstration.
const FLIGHTS: &str = include_str!("../../../../seed/flights.toml");

/// One file as a recorder of the demonstration wrote it.
#[derive(Debug, Clone)]
pub struct SimulatedFile {
    /// The recorder's code in the programme: `bms`, `inverter` or `gnss`.
    pub recorder: &'static str,
    /// The file's name.
    pub name: String,
    /// The number of the run in the story.
    pub run: u32,
    /// What the recorder wrote.
    pub bytes: Vec<u8>,
    /// What the engineer looked at in it, if they did.
    pub warming: Option<Warming>,
}

/// A part of a file in which parts warmed.
#[derive(Debug, Clone)]
pub struct Warming {
    /// The point that was run.
    pub point: String,
    /// When the propeller began to turn.
    pub from: DateTime<Utc>,
    /// When it stopped.
    pub to: DateTime<Utc>,
}

/// A flight on its day.
struct Dated {
    flight: Flight,
    begins: DateTime<Utc>,
}

/// All recorder files, in the order of the runs, told from the day of `now` as the story is. Each is made when it is asked
/// for, so that no more than one is in memory.
///
/// # Errors
///
/// [`BadFlights`] where `seed/flights.toml` cannot be used.
pub fn files(now: DateTime<Utc>) -> Result<impl Iterator<Item = SimulatedFile>, BadFlights> {
    let mut dated = Vec::new();
    for flight in flights::read(FLIGHTS)? {
        let begins = begins(&flight, now).ok_or(BadFlights::NoSuchMoment { run: flight.run })?;
        dated.push(Dated { flight, begins });
    }
    Ok(dated.into_iter().flat_map(|dated| {
        let recorders = recorders::of(&dated.flight);
        recorders.into_iter().map(move |recorder| dated.file(recorder))
    }))
}

fn begins(flight: &Flight, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
    let time = NaiveTime::parse_from_str(&flight.begins, "%H:%M:%S").ok()?;
    let today = now.date_naive();
    let days = Days::new(flight.day.unsigned_abs());
    let day = match flight.day {
        ..0 => today.checked_sub_days(days)?,
        0.. => today.checked_add_days(days)?,
    };
    Some(day.and_time(time).and_utc())
}

impl Dated {
    fn file(&self, recorder: recorders::Recorder) -> SimulatedFile {
        SimulatedFile {
            recorder: recorder.code(),
            name: format!(
                "{}_{}.{}",
                recorder.code(),
                self.begins.format("%Y-%m-%d_%H%M"),
                recorder.extension()
            ),
            run: self.flight.run,
            bytes: recorder.write(&self.flight, self.begins),
            warming: if recorder.shows_warming() { self.warming() } else { None },
        }
    }

    fn warming(&self) -> Option<Warming> {
        let (from_s, to_s) = self.flight.powered().filter(|_| self.flight.fits)?;
        let after = |seconds: f64| self.begins + TimeDelta::milliseconds((seconds * 1e3) as i64);
        let point = self.flight.points.first()?.clone();
        Some(Warming { point, from: after(from_s), to: after(to_s) })
    }
}
