//! Looks up what a command names.

use super::given::unknown;
use crate::codes::{
    DeviationNumber, ExceedanceNumber, IntervalNumber, PointCode, ProposalNumber, RunNumber,
    SnagNumber,
};
use crate::record::Digest;
use crate::refusal::Refusal;
use crate::state::{
    Deviation, DeviationFate, Exceedance, Interval, Proposal, ProposalFate, RecordingState,
    RecordingTake, ResultId, ResultState, Run, Rung, Snag, State,
};

pub(super) fn rung<'a>(state: &'a State, point: &PointCode) -> Result<&'a Rung, Refusal> {
    state.rung(point).ok_or_else(|| unknown("point", point))
}

/// A point that is part of the plan.
pub(super) fn standing_rung<'a>(state: &'a State, point: &PointCode) -> Result<&'a Rung, Refusal> {
    let rung = rung(state, point)?;
    if rung.dropped.is_some() {
        return Err(super::given::not_now(
            "point-dropped",
            format!("{point} was taken out of the plan"),
            "Somebody plans the point again.",
        ));
    }
    Ok(rung)
}

pub(super) fn run(state: &State, number: RunNumber) -> Result<&Run, Refusal> {
    state.run(number).ok_or_else(|| unknown("run", number))
}

/// A run that nobody has closed.
pub(super) fn open_run(state: &State, number: RunNumber) -> Result<&Run, Refusal> {
    let run = run(state, number)?;
    if run.closed.is_some() {
        return Err(super::given::not_now(
            "run-closed",
            format!("run {number} is closed"),
            "A test lead or engineer corrects its times, where they are wrong.",
        ));
    }
    Ok(run)
}

pub(super) fn result<'a>(
    state: &'a State,
    run: RunNumber,
    point: &PointCode,
) -> Result<(ResultId, &'a ResultState), Refusal> {
    rung(state, point)?;
    self::run(state, run)?;
    state
        .result(run, point)
        .ok_or_else(|| unknown("result", format_args!("run {run}, point {point}")))
}

pub(super) fn exceedance(state: &State, number: ExceedanceNumber) -> Result<&Exceedance, Refusal> {
    state.exceedance(number).ok_or_else(|| unknown("exceedance", number))
}

/// An exceedance that nobody has closed.
pub(super) fn open_exceedance(
    state: &State,
    number: ExceedanceNumber,
) -> Result<&Exceedance, Refusal> {
    let exceedance = exceedance(state, number)?;
    if exceedance.closed.is_some() {
        return Err(super::given::not_now(
            "exceedance-closed",
            format!("exceedance {number} is closed"),
            "Whoever sees another exceedance notes that one.",
        ));
    }
    Ok(exceedance)
}

/// A snag that nobody has closed.
pub(super) fn open_snag(state: &State, number: SnagNumber) -> Result<&Snag, Refusal> {
    let snag = state.snag(number).ok_or_else(|| unknown("snag", number))?;
    if snag.closed.is_some() {
        return Err(super::given::not_now(
            "snag-closed",
            format!("snag {number} is closed"),
            "Whoever finds it again opens a new snag.",
        ));
    }
    Ok(snag)
}

/// A proposed limit that waits for the safety officer.
pub(super) fn open_proposal(state: &State, number: ProposalNumber) -> Result<&Proposal, Refusal> {
    let proposal = state.limits.proposal(number).ok_or_else(|| unknown("proposal", number))?;
    let settled = match &proposal.fate {
        ProposalFate::Open => return Ok(proposal),
        ProposalFate::Agreed { by, .. } => format!("{by} has agreed to proposal {number} already"),
        ProposalFate::Declined { by, .. } if *by == proposal.by => {
            format!("{by} has withdrawn proposal {number}")
        }
        ProposalFate::Declined { by, .. } => format!("{by} has declined proposal {number}"),
    };
    Err(super::given::not_now("proposal-settled", settled, "An engineer proposes anew."))
}

/// A deviation from the build-up that nobody has ended.
pub(super) fn unended_deviation(
    state: &State,
    number: DeviationNumber,
) -> Result<&Deviation, Refusal> {
    let deviation = state.deviation(number).ok_or_else(|| unknown("deviation", number))?;
    if let DeviationFate::Ended { by, .. } = &deviation.fate {
        return Err(super::given::not_now(
            "deviation-ended",
            format!("{by} has ended deviation {number}"),
            "The test lead proposes anew.",
        ));
    }
    Ok(deviation)
}

/// A recording that nobody has set aside, and how it was read last.
pub(super) fn recording<'a>(
    state: &'a State,
    recording: &Digest,
) -> Result<(&'a RecordingState, &'a RecordingTake), Refusal> {
    let known = state.recordings.get(recording).and_then(|known| Some((known, known.take()?)));
    let (known, take) = known.ok_or_else(|| unknown("recording", recording))?;
    if let Some(set_aside) = known.set_aside() {
        return Err(super::given::not_now(
            "recording-set-aside",
            format!("{} has set recording {recording} aside: {}", set_aside.by, set_aside.reason),
            "Take the file in once more, if it counts after all, or take another recording.",
        ));
    }
    Ok((known, take))
}

/// As [`recording`], of one that belongs to a run.
pub(super) fn recording_of<'a>(
    state: &'a State,
    recording: &Digest,
    run: RunNumber,
) -> Result<(&'a RecordingState, &'a RecordingTake), Refusal> {
    let (known, take) = self::recording(state, recording)?;
    if !known.is_attached_to(run) {
        return Err(super::given::not_now(
            "recording-not-attached",
            format!("recording {recording} is not attached to run {run}"),
            "An engineer or the test lead attaches it to the run.",
        ));
    }
    Ok((known, take))
}

pub(super) fn interval(state: &State, number: IntervalNumber) -> Result<&Interval, Refusal> {
    state.recordings.interval(number).ok_or_else(|| unknown("interval", number))
}

/// A point that was planned for a run.
pub(super) fn point_of(run: &Run, point: &PointCode) -> Result<(), Refusal> {
    if run.planned(point).is_some() {
        return Ok(());
    }
    Err(super::given::not_now(
        "point-not-in-run",
        format!("{point} was not planned for run {}", run.number),
        "Name a point of the run.",
    ))
}
