//! All recordings of a run together, on the run's clock.
//!
//! A recorder may write several files in one run: those that follow each other are one line of readings, so that time in use
//! and rates go on from one to the next. Two recorders that have the same channel are two lines, and each is judged.

use chrono::{DateTime, Utc};
use programme::codes::{ChannelCode, RecorderCode, RunNumber};
use programme::measure::Unit;
use programme::record::Digest;
use programme::state::{RecordingState, Run, State};
use recordings::columns::{CannotRead, Columns, Parts, Window};
use recordings::{Micros, Series};

use crate::taken::micros;

/// Columns that can be read channel by channel.
pub trait Channels {
    /// The unit in which a channel's values are kept; absent where there is no such channel.
    fn unit(&self, channel: &str) -> Option<&str>;

    /// All readings of a channel.
    ///
    /// # Errors
    ///
    /// [`CannotRead`] where there is no such channel or the columns are damaged.
    fn read(&self, channel: &str) -> Result<Window, CannotRead>;
}

impl<R: Parts + 'static> Channels for Columns<R> {
    fn unit(&self, channel: &str) -> Option<&str> {
        let mut channels = self.channels().iter();
        channels.find(|it| it.code == channel).map(|it| it.unit.as_str())
    }

    fn read(&self, channel: &str) -> Result<Window, CannotRead> {
        let Some((from, to)) = self.span() else { return Ok(Window::default()) };
        Columns::read(self, &[channel], from, to)
    }
}

/// What the programme knows of a recording, as far as it is needed to hold it against limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Facts {
    /// The recording.
    pub recording: Digest,
    /// SHA-256 of its columns.
    pub columns: Digest,
    /// The recorder that wrote it.
    pub recorder: RecorderCode,
    /// Its first moment, by the recorder's clock.
    pub started: Micros,
    /// Its last moment, by the recorder's clock.
    pub ended: Micros,
    /// How far the recorder's clock is ahead of the run's, in seconds.
    pub ahead_s: f64,
}

impl Facts {
    /// What is known of a recording; absent of one that was never read.
    pub fn of(known: &RecordingState) -> Option<Self> {
        let take = known.take()?;
        Some(Self {
            recording: known.recording.clone(),
            columns: take.columns.clone(),
            recorder: take.recorder.clone(),
            started: micros(take.started),
            ended: micros(take.ended),
            ahead_s: known.clock_offset_s(),
        })
    }

    fn ahead(&self) -> i64 {
        let micros = (self.ahead_s * 1e6).round();
        // A confirmed offset is below a year, so that it has its whole number of microseconds.
        #[expect(clippy::cast_possible_truncation, reason = "rounded, and cut to what can be kept")]
        if micros.is_finite() { micros as i64 } else { 0 }
    }

    /// A moment by the recorder's clock as the run's clock has it.
    pub fn by_runs_clock(&self, moment: Micros) -> Micros {
        Micros(moment.0.saturating_sub(self.ahead()))
    }

    /// A moment by the run's clock as the recorder has it.
    pub fn by_recorders_clock(&self, moment: Micros) -> Micros {
        Micros(moment.0.saturating_add(self.ahead()))
    }

    /// Its first and last moment by the run's clock.
    pub fn span(&self) -> (Micros, Micros) {
        (self.by_runs_clock(self.started), self.by_runs_clock(self.ended))
    }
}

/// The recordings of a run, in the order first taken in, with one that is to be attached to it.
///
/// It has none that was set aside, but for the one asked for, which a command then refuses.
pub fn of_run(state: &State, run: RunNumber, with: &Digest) -> Vec<Facts> {
    let mut found: Vec<_> = state.recordings.of_run(run).filter_map(Facts::of).collect();
    if !found.iter().any(|it| it.recording == *with) {
        found.extend(state.recordings.get(with).and_then(Facts::of));
    }
    found
}

/// One recording of a run, with its columns.
#[derive(Debug)]
pub struct RunRecording<C> {
    /// What the programme knows of it.
    pub facts: Facts,
    /// Its columns.
    pub columns: C,
}

/// From when to when readings are taken to be of a run, by the run's clock.
///
/// A recorder may run on from one run into the next. What is between two runs is of both, so that nothing is of none; without
/// another run before or after there is no end. Times that people noted are to the minute, and much that matters comes before
/// power is on and after it is off, so a run is not cut to its own times.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stretch {
    /// From then on.
    pub from: Micros,
    /// Up to and including then.
    pub to: Micros,
}

impl Stretch {
    /// All time.
    pub const ALWAYS: Self = Self { from: Micros(i64::MIN), to: Micros(i64::MAX) };

    /// What may be of a run.
    pub fn of(run: &Run, state: &State) -> Self {
        let (begun, _) = run.span();
        let others = || state.runs.iter().filter(|other| other.number != run.number);
        let over = |other: &Run| other.span().1.filter(|over| *over <= begun);
        let before = others().filter_map(over).max();
        let starts = |other: &Run| Some(other.span().0).filter(|starts| *starts > begun);
        let after = others().filter_map(starts).min();
        Self {
            from: before.map_or(Self::ALWAYS.from, micros),
            to: after.map_or(Self::ALWAYS.to, micros),
        }
    }
}

/// When a run was, by the times that were noted; the end is absent while it is not over.
pub fn noted(run: &Run) -> (Micros, Option<Micros>) {
    let (begun, over): (DateTime<Utc>, Option<DateTime<Utc>>) = run.span();
    (micros(begun), over.map(micros))
}

/// Recordings of one recorder that follow each other, in order of time.
pub(crate) type Chain<'a, C> = Vec<&'a RunRecording<C>>;

/// Puts recordings together into chains, in the order of recorders and of time. One that overlaps another of its recorder
/// begins a chain of its own.
pub(crate) fn chains<C>(recordings: &[RunRecording<C>]) -> Vec<Chain<'_, C>> {
    let mut in_order: Vec<_> = recordings.iter().collect();
    let key = |it: &&RunRecording<C>| (it.facts.recorder.clone(), it.facts.span());
    in_order.sort_by_key(key);
    let mut chains: Vec<Chain<'_, C>> = Vec::new();
    for one in in_order {
        let follows = |chain: &&mut Chain<'_, C>| {
            chain.last().is_some_and(|last| {
                last.facts.recorder == one.facts.recorder
                    && last.facts.span().1 < one.facts.span().0
            })
        };
        match chains.iter_mut().find(follows) {
            Some(chain) => chain.push(one),
            None => chains.push(vec![one]),
        }
    }
    chains
}

/// The readings of one channel on the run's clock.
#[derive(Debug, Clone, Default)]
pub(crate) struct Line {
    pub(crate) times: Vec<Micros>,
    pub(crate) values: Vec<f64>,
}

impl Line {
    pub(crate) fn series(&self) -> Series<'_> {
        Series { times: &self.times, values: &self.values }
    }
}

/// Whether any of a chain has the channel in a unit that compares.
pub(crate) fn has<C: Channels>(chain: &Chain<'_, C>, channel: &str, unit: Unit) -> bool {
    chain.iter().any(|it| conversion(&it.columns, channel, unit).is_some())
}

/// The unit that columns name, as programmes write it or as people read it.
pub(crate) fn unit_of(text: &str) -> Option<Unit> {
    Unit::ALL.iter().copied().find(|unit| unit.as_str() == text || unit.to_string() == text)
}

fn conversion(columns: &impl Channels, channel: &str, unit: Unit) -> Option<(f64, f64)> {
    let kept = unit_of(columns.unit(channel)?)?;
    let conversion = kept.conversion_of_readings(unit)?;
    Some((conversion.factor, conversion.offset))
}

/// Reads one channel of a chain in a unit.
///
/// # Errors
///
/// [`CannotRead`] where columns are damaged.
pub(crate) fn line<C: Channels>(
    chain: &Chain<'_, C>,
    channel: &str,
    unit: Unit,
    stretch: Stretch,
) -> Result<Line, CannotRead> {
    let mut line = Line::default();
    for one in chain {
        let Some((factor, offset)) = conversion(&one.columns, channel, unit) else { continue };
        let window = one.columns.read(channel)?;
        let Some(series) = window.series(0) else { continue };
        let (from, to) = (stretch.from, stretch.to);
        let bound = |at: Micros| match at {
            Micros(i64::MIN | i64::MAX) => at,
            at => one.facts.by_recorders_clock(at),
        };
        let part = series.between(bound(from), bound(to));
        line.times.extend(part.times.iter().map(|at| one.facts.by_runs_clock(*at)));
        let same = (factor, offset) == (1.0, 0.0);
        let here = |value: &f64| if same { *value } else { value.mul_add(factor, offset) };
        line.values.extend(part.values.iter().map(here));
    }
    Ok(line)
}

/// Whether any recorder of the programme has a column for a channel.
pub(crate) fn is_mapped(state: &State, channel: &ChannelCode) -> bool {
    state.recorders.values().any(|recorder| recorder.gives(channel))
}
