//! Recordings: what was taken in, to which runs they belong, intervals and reductions of them.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use super::{ResultId, State};
use crate::codes::{
    ChannelCode, IntervalNumber, PersonHandle, PointCode, RecorderCode, ReductionNumber, RunNumber,
};
use crate::entry::Entry;
use crate::prediction::Figures;
use crate::record::{
    ClockOffsetConfirmed, Digest, IntervalBasis, IntervalTaken, RecordedChannel, RecordedMoment,
    RecordingAttached, RecordingSetAside, RecordingTaken, ReductionMade, ValueSource,
};

/// A file as it was read by one mapping.
#[derive(Debug, Clone, PartialEq)]
pub struct RecordingTake {
    /// The record.
    pub seq: u64,
    /// Who took it in.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// The recorder.
    pub recorder: RecorderCode,
    /// The record that described the recorder as it was read.
    pub recorder_revision: u64,
    /// What the file was called.
    pub name: String,
    /// The moment of its first row, by the recorder's clock.
    pub started: RecordedMoment,
    /// The moment of its last row.
    pub ended: RecordedMoment,
    /// Rows that were taken.
    pub rows: u64,
    /// SHA-256 of the columns as they are kept.
    pub columns: Digest,
    /// What it holds of each channel.
    pub channels: Vec<RecordedChannel>,
    /// Rows that were refused whole.
    pub refused_rows: u64,
}

/// A run to which a recording belongs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Attachment {
    /// The record.
    pub seq: u64,
    /// By whom.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// The run.
    pub run: RunNumber,
}

/// By how much a recorder's clock differs from another's, as a person confirmed.
#[derive(Debug, Clone, PartialEq)]
pub struct ClockOffset {
    /// The record.
    pub seq: u64,
    /// Who confirmed it.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// The recording that it is held against.
    pub against: Digest,
    /// The channel that both have.
    pub channel: ChannelCode,
    /// How much this recording's clock is ahead, seconds; negative: behind.
    pub offset_s: f64,
    /// How well both agree then, from -1 to 1.
    pub correlation: f64,
}

/// Why a recording does not count.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetAside {
    /// The record.
    pub seq: u64,
    /// By whom.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Why.
    pub reason: String,
}

/// One recorder file.
#[derive(Debug, Clone, PartialEq)]
pub struct RecordingState {
    /// SHA-256 of the file as it came.
    pub recording: Digest,
    /// Its size.
    pub bytes: u64,
    /// How it was read, oldest first; the last one holds.
    pub takes: Vec<RecordingTake>,
    /// The runs to which it was attached, also before it was set aside, oldest first.
    pub attached: Vec<Attachment>,
    /// The clock offset that holds: the one confirmed last.
    pub clock_offset: Option<ClockOffset>,
    /// Each time that it was set aside, oldest first.
    pub set_asides: Vec<SetAside>,
}

impl RecordingState {
    /// How it was read last. Every recording was read at least once.
    pub fn take(&self) -> Option<&RecordingTake> {
        self.takes.last()
    }

    /// Whether it has any reading of a channel.
    pub fn has_readings_of(&self, channel: &ChannelCode) -> bool {
        let mut channels = self.take().into_iter().flat_map(|take| &take.channels);
        channels.any(|recorded| recorded.channel == *channel && recorded.readings > 0)
    }

    /// Why it does not count; absent where it does. Taken in once more it counts again, for what comes after.
    pub fn set_aside(&self) -> Option<&SetAside> {
        let taken = self.take().map_or(0, |take| take.seq);
        self.set_asides.last().filter(|set_aside| set_aside.seq > taken)
    }

    /// Whether it was set aside after a record, so that what was made of it then does not count.
    pub fn was_set_aside_since(&self, seq: u64) -> bool {
        self.set_asides.last().is_some_and(|set_aside| set_aside.seq > seq)
    }

    /// Whether it belongs to a run. What it was attached to before it was set aside it belongs to no more.
    pub fn is_attached_to(&self, run: RunNumber) -> bool {
        let mut attached = self.attached.iter().filter(|attachment| attachment.run == run);
        attached.any(|attachment| !self.was_set_aside_since(attachment.seq))
    }

    /// How much its clock is ahead of the runs' times, seconds; zero where nobody confirmed another.
    pub fn clock_offset_s(&self) -> f64 {
        self.clock_offset.as_ref().map_or(0.0, |confirmed| confirmed.offset_s)
    }
}

/// An interval of a recording, taken for a point.
#[derive(Debug, Clone, PartialEq)]
pub struct Interval {
    /// Its number.
    pub number: IntervalNumber,
    /// The record.
    pub seq: u64,
    /// By whom.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Of which recording.
    pub recording: Digest,
    /// Of which run.
    pub run: RunNumber,
    /// For which point.
    pub point: PointCode,
    /// From then on, by the recorder's clock.
    pub from: RecordedMoment,
    /// Up to and including then.
    pub to: RecordedMoment,
    /// How it was found.
    pub how: IntervalBasis,
}

/// Something that was worked out of a recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Reduction {
    /// Its number.
    pub number: ReductionNumber,
    /// The record.
    pub seq: u64,
    /// By whom.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Of which recording.
    pub recording: Digest,
    /// Other recordings of the run that had some of the channels.
    pub others: Vec<Digest>,
    /// Of which run.
    pub run: RunNumber,
    /// For which point.
    pub point: Option<PointCode>,
    /// Of which interval; absent: of all of it.
    pub interval: Option<IntervalNumber>,
    /// What was worked out.
    pub topic: String,
    /// The version of the method.
    pub version: String,
    /// The channels it was worked out of.
    pub channels: Vec<ChannelCode>,
    /// Of all that was given to the method.
    pub given: Digest,
    /// What came out, as RFC 8785 text.
    pub result: String,
    /// What of it predictions are made from, where it is such a reduction and can be read.
    pub figures: Option<Figures>,
    /// The earlier one that it takes the place of.
    pub replaces: Option<ReductionNumber>,
    /// The later one that took its place.
    pub replaced_by: Option<ReductionNumber>,
}

/// All recordings with what was made of them.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Recordings {
    /// By the digest of the file.
    pub by_digest: BTreeMap<Digest, RecordingState>,
    /// The digests in the order in which the files were first taken in.
    pub order: Vec<Digest>,
    /// Intervals by number, from 1.
    pub intervals: Vec<Interval>,
    /// Reductions by number, from 1.
    pub reductions: Vec<Reduction>,
}

impl Recordings {
    /// A recording by its digest.
    pub fn get(&self, recording: &Digest) -> Option<&RecordingState> {
        self.by_digest.get(recording)
    }

    /// The recordings that belong to a run and count, in the order first taken in.
    pub fn of_run(&self, run: RunNumber) -> impl Iterator<Item = &RecordingState> {
        self.order
            .iter()
            .filter_map(|digest| self.get(digest))
            .filter(move |it| it.set_aside().is_none() && it.is_attached_to(run))
    }

    /// An interval by its number.
    pub fn interval(&self, number: IntervalNumber) -> Option<&Interval> {
        self.intervals.get((number.0 as usize).checked_sub(1)?)
    }

    /// A reduction by its number.
    pub fn reduction(&self, number: ReductionNumber) -> Option<&Reduction> {
        self.reductions.get((number.0 as usize).checked_sub(1)?)
    }

    /// Whether what was made of a recording with a record counts: the recording was not set aside since.
    pub fn counts(&self, recording: &Digest, seq: u64) -> bool {
        self.get(recording).is_some_and(|known| !known.was_set_aside_since(seq))
    }

    /// Whether a reduction counts: no recording that it was worked out of was set aside since.
    pub fn reduction_counts(&self, reduction: &Reduction) -> bool {
        let mut of = std::iter::once(&reduction.recording).chain(&reduction.others);
        of.all(|recording| self.counts(recording, reduction.seq))
    }

    /// Whether all recordings that belonged to a run when a record was taken in still count.
    pub fn all_count(&self, run: RunNumber, seq: u64) -> bool {
        let mut set_aside = self.by_digest.values().filter(|it| it.was_set_aside_since(seq));
        !set_aside.any(|it| it.attached.iter().any(|attachment| attachment.run == run))
    }

    pub(super) fn take(&mut self, body: &RecordingTaken, entry: &Entry) {
        let known = self.by_digest.entry(body.recording.clone()).or_insert_with(|| {
            self.order.push(body.recording.clone());
            RecordingState {
                recording: body.recording.clone(),
                bytes: body.bytes,
                takes: Vec::new(),
                attached: Vec::new(),
                clock_offset: None,
                set_asides: Vec::new(),
            }
        });
        // What was said of its clock before it was set aside was part of the mistake.
        if known.set_aside().is_some() {
            known.clock_offset = None;
        }
        known.takes.push(RecordingTake {
            seq: entry.seq,
            by: entry.by.clone(),
            at: entry.at,
            recorder: body.recorder.clone(),
            recorder_revision: body.recorder_revision,
            name: body.name.clone(),
            started: body.started,
            ended: body.ended,
            rows: body.rows,
            columns: body.columns.clone(),
            channels: body.channels.clone(),
            refused_rows: body.refused_rows,
        });
    }

    pub(super) fn attach(&mut self, body: &RecordingAttached, entry: &Entry) {
        if let Some(known) = self.by_digest.get_mut(&body.recording)
            && !known.is_attached_to(body.run)
        {
            known.attached.push(Attachment {
                seq: entry.seq,
                by: entry.by.clone(),
                at: entry.at,
                run: body.run,
            });
        }
    }

    pub(super) fn set_aside(&mut self, body: &RecordingSetAside, entry: &Entry) {
        if let Some(known) = self.by_digest.get_mut(&body.recording) {
            known.set_asides.push(SetAside {
                seq: entry.seq,
                by: entry.by.clone(),
                at: entry.at,
                reason: body.reason.clone(),
            });
        }
    }

    pub(super) fn confirm_clock(&mut self, body: &ClockOffsetConfirmed, entry: &Entry) {
        if let Some(known) = self.by_digest.get_mut(&body.recording) {
            known.clock_offset = Some(ClockOffset {
                seq: entry.seq,
                by: entry.by.clone(),
                at: entry.at,
                against: body.against.clone(),
                channel: body.channel.clone(),
                offset_s: body.offset_s,
                correlation: body.correlation,
            });
        }
    }

    pub(super) fn take_interval(&mut self, body: &IntervalTaken, entry: &Entry) {
        self.intervals.push(Interval {
            number: body.interval,
            seq: entry.seq,
            by: entry.by.clone(),
            at: entry.at,
            recording: body.recording.clone(),
            run: body.run,
            point: body.point.clone(),
            from: body.from,
            to: body.to,
            how: body.how.clone(),
        });
    }

    pub(super) fn reduce(&mut self, body: &ReductionMade, entry: &Entry) {
        let earlier = body.replaces.and_then(|number| (number.0 as usize).checked_sub(1));
        if let Some(earlier) = earlier.and_then(|place| self.reductions.get_mut(place)) {
            earlier.replaced_by = Some(body.reduction);
        }
        self.reductions.push(Reduction {
            number: body.reduction,
            seq: entry.seq,
            by: entry.by.clone(),
            at: entry.at,
            recording: body.recording.clone(),
            others: body.others.clone(),
            run: body.run,
            point: body.point.clone(),
            interval: body.interval,
            topic: body.topic.clone(),
            version: body.version.clone(),
            channels: body.channels.clone(),
            given: body.given.clone(),
            figures: Figures::read(&body.topic, &body.result),
            result: body.result.clone(),
            replaces: body.replaces,
            replaced_by: None,
        });
    }
}

impl State {
    /// Results that were filled from a recording do not stand when it is set aside.
    pub(super) fn recording_set_aside(&mut self, recording: &Digest) {
        let taken_of = |number| {
            self.recordings
                .interval(number)
                .is_some_and(|interval| interval.recording == *recording)
        };
        let of_it = |source: &ValueSource| match source {
            ValueSource::Recording { recording: filled_from, interval, .. } => {
                filled_from == recording || taken_of(*interval)
            }
            ValueSource::TypedIn {} => false,
        };
        let concerned: Vec<ResultId> = (0..self.results.len())
            .map(ResultId)
            .filter(|id| self.results[id.0].values.iter().any(|value| of_it(&value.source)))
            .collect();
        self.stand_anew(&concerned);
    }
}
