//! Recordings of tests, made of functions of time.

use chrono::{DateTime, TimeDelta, Utc};
use programme::codes::{ChannelCode, RecorderCode};
use programme::measure::Unit;
use programme::record::Digest;
use recordings::Micros;
use recordings::columns::{CannotRead, Window};

use crate::gathered::{Attached, Gathered, ReadColumns};
use crate::run_recordings::Facts;

/// Rows of a second.
const ROWS_PER_S: f64 = 10.0;

/// So many seconds after the run began, to the millisecond.
pub fn moment(seconds: f64) -> DateTime<Utc> {
    let began: DateTime<Utc> = DateTime::from_timestamp(1_800_000_000, 0).unwrap_or_default();
    began + TimeDelta::milliseconds((seconds * 1000.0).round() as i64)
}

/// From one second of the run to another.
pub fn run_micros(from: f64, to: f64) -> (Micros, Micros) {
    (moment(from).into(), moment(to).into())
}

/// A channel by its code.
#[allow(clippy::unwrap_used)]
pub fn channel(code: &str) -> ChannelCode {
    ChannelCode::new(code).unwrap()
}

/// A recording that begins with the run by its own clock.
pub struct Made {
    which: u8,
    seconds: f64,
    ahead_s: f64,
    channels: Vec<(ChannelCode, Unit, Vec<f64>)>,
}

impl Made {
    pub fn of(which: u8) -> Self {
        Self { which, seconds: 60.0, ahead_s: 0.0, channels: Vec::new() }
    }

    pub fn digest(&self) -> Digest {
        Digest::from_bytes([self.which; 32])
    }

    pub fn lasting(self, seconds: f64) -> Self {
        Self { seconds, ..self }
    }

    pub fn ahead(self, ahead_s: f64) -> Self {
        Self { ahead_s, ..self }
    }

    /// A channel as a function of its own clock, in seconds after the beginning of the recording.
    pub fn with(mut self, code: &str, unit: Unit, value: impl Fn(f64) -> f64) -> Self {
        let rows = (self.seconds * ROWS_PER_S).round() as usize;
        let values = (0..=rows).map(|row| value(row as f64 / ROWS_PER_S)).collect();
        self.channels.push((channel(code), unit, values));
        self
    }

    fn attached(&self) -> Attached {
        Attached {
            facts: Facts {
                recording: self.digest(),
                columns: self.digest(),
                recorder: RecorderCode::new("logger").expect("a code"),
                started: moment(0.0).into(),
                ended: moment(self.seconds).into(),
                ahead_s: self.ahead_s,
            },
            channels: self.channels.iter().map(|(code, ..)| code.clone()).collect(),
        }
    }
}

impl ReadColumns for Made {
    fn unit_of(&self, channel: &str) -> Option<String> {
        let found = self.channels.iter().find(|(code, ..)| code.as_str() == channel)?;
        Some(found.1.as_str().to_owned())
    }

    fn read(&self, channel: &str, from: Micros, to: Micros) -> Result<Window, CannotRead> {
        let found = self.channels.iter().find(|(code, ..)| code.as_str() == channel);
        let values = found.map(|(.., values)| values.as_slice()).unwrap_or_default();
        let rows = values
            .iter()
            .enumerate()
            .map(|(row, value)| (Micros::from(moment(row as f64 / ROWS_PER_S)), *value));
        let (times, values) = rows.filter(|(at, _)| from <= *at && *at <= to).unzip();
        Ok(Window { times, values: vec![values] })
    }
}

/// All recordings of one run.
pub fn gathered(made: impl IntoIterator<Item = Made>) -> Gathered {
    let parts = made.into_iter().map(|one| {
        let attached = one.attached();
        let columns: Box<dyn ReadColumns> = Box::new(one);
        (attached, columns)
    });
    Gathered::new(parts.collect())
}
