//! What is shown of a recording.

use chrono::{DateTime, Utc};
use programme::codes::{ChannelCode, PersonHandle, RecorderCode, RunNumber};
use programme::measure::Unit;
use programme::record::Digest;
use programme::state::{Amendable, RecordingState, State};
use serde::Serialize;

use crate::desk::Shown;
use crate::problem::Problem;

/// A recording in a list.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct RecordingRow<'a> {
    /// SHA-256 of the file as it came, by which it is called.
    pub recording: &'a Digest,
    /// The recorder that wrote it.
    pub recorder: &'a RecorderCode,
    /// What the file was called.
    pub name: &'a str,
    /// Its size.
    pub bytes: u64,
    /// The moment of its first row, by the recorder's clock.
    pub started: DateTime<Utc>,
    /// The moment of its last row, by the recorder's clock.
    pub ended: DateTime<Utc>,
    /// Rows that were taken.
    pub rows: u64,
    /// The runs to which it belongs.
    pub runs: Vec<RunNumber>,
    /// Whether it was set aside, so that it counts for nothing.
    pub set_aside: bool,
}

/// A recording.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Recording)]
pub struct RecordingView<'a> {
    /// SHA-256 of the file as it came, by which it is called.
    pub recording: &'a Digest,
    /// The recorder that wrote it.
    pub recorder: &'a RecorderCode,
    /// What the file was called.
    pub name: &'a str,
    /// Its size.
    pub bytes: u64,
    /// Who took it in.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// The record that described the recorder as the file was read.
    pub recorder_revision: u64,
    /// Whether the recorder is mapped otherwise by now: taken in once more, the file is read by the mapping as it is.
    pub mapped_otherwise_now: bool,
    /// The moment of its first row, by the recorder's clock.
    pub started: DateTime<Utc>,
    /// The moment of its last row, by the recorder's clock.
    pub ended: DateTime<Utc>,
    /// Rows that were taken.
    pub rows: u64,
    /// Rows that were refused whole.
    pub refused_rows: u64,
    /// SHA-256 of its columns as they are kept.
    pub columns: &'a Digest,
    /// What it holds of each channel.
    pub channels: Vec<ChannelRow<'a>>,
    /// The runs to which it belongs.
    pub runs: Vec<RunNumber>,
    /// By how much its clock is ahead of the runs' times, as a person confirmed; absent: nobody did.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clock: Option<ClockView<'a>>,
    /// Why it counts for nothing; absent where it counts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub set_aside: Option<SetAsideView<'a>>,
}

/// What a recording holds of one channel.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct ChannelRow<'a> {
    /// The channel.
    pub channel: &'a ChannelCode,
    /// The unit of its values.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    /// Cells that are values.
    pub readings: u64,
    /// Cells that are empty.
    pub missing: u64,
    /// Cells that were refused: no number, or beyond what the sensor can give.
    pub refused: u64,
    /// Times over which it was silent for longer than its rate allows.
    pub gaps: u64,
    /// Times over which its value stood still for too long.
    pub stuck: u64,
}

/// By how much a recorder's clock is ahead.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = ConfirmedClock)]
pub struct ClockView<'a> {
    /// Who confirmed it.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// The recording that it is held against.
    pub against: &'a Digest,
    /// The channel that both have.
    pub channel: &'a ChannelCode,
    /// How much this recording's clock is ahead, in seconds; negative: behind.
    pub offset_s: f64,
    /// How well both agree then, from -1 to 1.
    pub correlation: f64,
}

/// Why a recording counts for nothing.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = RecordingSetAsideBy)]
pub struct SetAsideView<'a> {
    /// By whom.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Why.
    pub reason: &'a str,
}

fn runs_of(known: &RecordingState) -> Vec<RunNumber> {
    let mut runs: Vec<RunNumber> = known.attached.iter().map(|attachment| attachment.run).collect();
    runs.sort();
    runs.dedup();
    runs.retain(|run| known.is_attached_to(*run));
    runs
}

/// As a list has it; absent for what was never taken in.
pub(crate) fn row(known: &RecordingState) -> Option<RecordingRow<'_>> {
    let take = known.take()?;
    Some(RecordingRow {
        recording: &known.recording,
        recorder: &take.recorder,
        name: &take.name,
        bytes: known.bytes,
        started: take.started,
        ended: take.ended,
        rows: take.rows,
        runs: runs_of(known),
        set_aside: known.set_aside().is_some(),
    })
}

/// A recording that the programme has, as it was read last.
pub(crate) fn known<'a>(
    state: &'a State,
    recording: &Digest,
) -> Result<(&'a RecordingState, &'a programme::state::RecordingTake), Problem> {
    let known = state.recordings.get(recording);
    let known = known.and_then(|known| Some((known, known.take()?)));
    known.ok_or_else(|| Problem::unknown("recording", recording))
}

/// A recording as it is sent, at its revision.
pub(crate) fn shown(state: &State, recording: &Digest) -> Result<Shown, Problem> {
    let revision = state.revision(&Amendable::Recording(recording.clone()));
    Shown::at_revision(revision, &recording_view(state, recording)?)
}

/// What is shown of a recording.
pub(crate) fn recording_view<'a>(
    state: &'a State,
    recording: &Digest,
) -> Result<RecordingView<'a>, Problem> {
    let (known, take) = known(state, recording)?;
    let revision = state.revision(&Amendable::Recorder(take.recorder.clone()));
    let channel = |held: &'_ programme::record::RecordedChannel| {
        state.channels.get(&held.channel).map(|channel| channel.unit)
    };
    Ok(RecordingView {
        recording: &known.recording,
        recorder: &take.recorder,
        name: &take.name,
        bytes: known.bytes,
        by: &take.by,
        at: take.at,
        recorder_revision: take.recorder_revision,
        mapped_otherwise_now: revision != take.recorder_revision,
        started: take.started,
        ended: take.ended,
        rows: take.rows,
        refused_rows: take.refused_rows,
        columns: &take.columns,
        channels: take
            .channels
            .iter()
            .map(|held| ChannelRow {
                channel: &held.channel,
                unit: channel(held),
                readings: held.readings,
                missing: held.missing,
                refused: held.refused,
                gaps: held.gaps,
                stuck: held.stuck,
            })
            .collect(),
        runs: runs_of(known),
        clock: known.clock_offset.as_ref().map(|clock| ClockView {
            by: &clock.by,
            at: clock.at,
            against: &clock.against,
            channel: &clock.channel,
            offset_s: clock.offset_s,
            correlation: clock.correlation,
        }),
        set_aside: known.set_aside().map(|set_aside| SetAsideView {
            by: &set_aside.by,
            at: set_aside.at,
            reason: &set_aside.reason,
        }),
    })
}
