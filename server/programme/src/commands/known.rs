//! Looks up what a command names.

use super::given::unknown;
use crate::codes::{ExceedanceNumber, PointCode, ProposalNumber, RunNumber, SnagNumber};
use crate::refusal::Refusal;
use crate::state::{
    Exceedance, Proposal, ProposalFate, ResultId, ResultState, Run, Rung, Snag, State,
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
