//! The recordings of one run, read as one: every channel by the run's clock.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

use programme::codes::{ChannelCode, RunNumber};
use programme::measure::Unit;
use programme::record::Digest;
use programme::state::{RecordingState, State};
use recordings::columns::{CannotRead, Columns, Parts, Window};
use recordings::{Micros, Series};

use crate::run_recordings::{Facts, unit_of};

/// A recording as far as evaluations need to know it before its columns are opened.
#[derive(Debug, Clone, PartialEq)]
pub struct Attached {
    /// What the programme knows of it.
    pub facts: Facts,
    /// The channels of which it has any reading.
    pub channels: Vec<ChannelCode>,
}

impl Attached {
    /// A recording as it was read last; absent where it never was.
    pub fn of(known: &RecordingState) -> Option<Self> {
        let read = known.take()?.channels.iter().filter(|channel| channel.readings > 0);
        let channels = read.map(|channel| channel.channel.clone()).collect();
        Some(Self { facts: Facts::of(known)?, channels })
    }

    /// The recordings that belong to a run and count, in the order in which they were first taken in.
    pub fn of_run(state: &State, run: RunNumber) -> Vec<Self> {
        state.recordings.of_run(run).filter_map(Self::of).collect()
    }
}

/// The columns of one recording, opened.
pub trait ReadColumns {
    /// The unit in which a channel is kept; absent where the channel is not.
    fn unit_of(&self, channel: &str) -> Option<String>;

    /// One channel from one moment to another, both included, by the recording's own clock.
    ///
    /// # Errors
    ///
    /// [`CannotRead`], where the columns are damaged.
    fn read(&self, channel: &str, from: Micros, to: Micros) -> Result<Window, CannotRead>;
}

impl<R: Parts + 'static> ReadColumns for Columns<R> {
    fn unit_of(&self, channel: &str) -> Option<String> {
        let stored = self.channels().iter().find(|stored| stored.code == channel)?;
        Some(stored.unit.clone())
    }

    fn read(&self, channel: &str, from: Micros, to: Micros) -> Result<Window, CannotRead> {
        Columns::read(self, &[channel], from, to)
    }
}

/// One channel of one recording over a part of the run.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Of which recording.
    pub recording: Digest,
    /// The channel.
    pub channel: ChannelCode,
    /// The unit of the values.
    pub unit: Unit,
    /// Moments, by the run's clock.
    pub times: Vec<Micros>,
    /// A value for each; NaN is missing.
    pub values: Vec<f64>,
}

impl Reading {
    /// Moments and values.
    pub fn series(&self) -> Series<'_> {
        Series { times: &self.times, values: &self.values }
    }

    /// The same readings in another unit; absent where the units do not compare.
    pub fn in_unit(&self, unit: Unit) -> Option<Self> {
        let conversion = self.unit.conversion_of_readings(unit)?;
        let convert = |value: &f64| value * conversion.factor + conversion.offset;
        Some(Self { unit, values: self.values.iter().map(convert).collect(), ..self.clone() })
    }
}

type Asked = (usize, ChannelCode, Micros, Micros);

/// All recordings of one run, opened.
pub struct Gathered {
    parts: Vec<(Attached, Box<dyn ReadColumns>)>,
    // Several figures are taken of one channel, and unpacking it is most of the work.
    read: RefCell<BTreeMap<Asked, Rc<Reading>>>,
}

impl Gathered {
    /// The recordings, each with its columns.
    pub fn new(parts: Vec<(Attached, Box<dyn ReadColumns>)>) -> Self {
        Self { parts, read: RefCell::default() }
    }

    /// The recordings, in their order.
    pub fn recordings(&self) -> impl Iterator<Item = &Attached> {
        self.parts.iter().map(|(attached, _)| attached)
    }

    /// A recording by its digest.
    pub fn recording(&self, recording: &Digest) -> Option<&Attached> {
        self.recordings().find(|attached| attached.facts.recording == *recording)
    }

    /// Whether any recording has readings of a channel.
    pub fn has(&self, channel: &ChannelCode) -> bool {
        self.recordings().any(|attached| attached.channels.contains(channel))
    }

    /// A channel over a part of the run, of every recording that has it: first of the one that is preferred, then of the
    /// others in their order. Moments are by the run's clock.
    ///
    /// A recording of which the unit is not known any more is left out: its figures would be guessed.
    ///
    /// # Errors
    ///
    /// [`CannotRead`], where columns are damaged.
    pub fn readings(
        &self,
        channel: &ChannelCode,
        preferred: Option<&Digest>,
        (from, to): (Micros, Micros),
    ) -> Result<Vec<Rc<Reading>>, CannotRead> {
        let mut places: Vec<usize> = (0..self.parts.len())
            .filter(|place| self.parts[*place].0.channels.contains(channel))
            .collect();
        places.sort_by_key(|place| Some(&self.parts[*place].0.facts.recording) != preferred);
        let mut readings = Vec::with_capacity(places.len());
        for place in places {
            let asked = (place, channel.clone(), from, to);
            let known = self.read.borrow().get(&asked).cloned();
            if let Some(known) = known {
                readings.push(known);
                continue;
            }
            let (attached, columns) = &self.parts[place];
            let Some(unit) = columns.unit_of(channel.as_str()).and_then(|text| unit_of(&text))
            else {
                continue;
            };
            let own = |moment| attached.facts.by_recorders_clock(moment);
            let window = columns.read(channel.as_str(), own(from), own(to))?;
            let reading = Rc::new(Reading {
                recording: attached.facts.recording.clone(),
                channel: channel.clone(),
                unit,
                times: window.times.iter().map(|own| attached.facts.by_runs_clock(*own)).collect(),
                values: window.values.into_iter().next().unwrap_or_default(),
            });
            self.read.borrow_mut().insert(asked, Rc::clone(&reading));
            readings.push(reading);
        }
        Ok(readings)
    }
}
