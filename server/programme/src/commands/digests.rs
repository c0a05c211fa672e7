//! What each signature is a digest of. Whoever verifies a ledger works the same digests out again.
//!
//! Every digest is SHA-256 of the RFC 8785 form of what was signed; all but the card itself say in `signed` what they
//! are, so that no signature can be taken for another.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use serde::Serialize;

use crate::card::{Card, Fitted};
use crate::codes::{
    ChannelCode, DeviationNumber, ExceedanceNumber, ItemCode, LimitCode, PersonHandle, PointCode,
    ProposalNumber, RunNumber, SnagNumber,
};
use crate::measure::Measure;
use crate::nouns::{
    AssessedRisk, Axis, Hazard, Limit, Phase, Point, RiskLevel, Severity, Statistic,
};
use crate::record::{DeviatingStep, Digest, MeasuredValue, Part, Record, ReleaseWindow};
use crate::state::{Exceedance, ResultState, Rung, Snag, State};
use crate::verdict::Verdict;

/// Why a digest cannot be worked out: a figure has no JSON form. What commands take in always has one.
pub type NoDigest = serde_json::Error;

/// What the approval of a plan stands for: the card without a configuration.
///
/// # Errors
///
/// [`NoDigest`].
pub fn plan(state: &State, rung: &Rung) -> Result<Digest, NoDigest> {
    state.card(rung, false).digest()
}

/// The card with what is fitted now: what a safety officer sees before they give the release its window.
///
/// # Errors
///
/// [`NoDigest`].
pub fn card(state: &State, rung: &Rung) -> Result<Digest, NoDigest> {
    state.card(rung, true).digest()
}

/// What a release stands for: the card with what is fitted, and the window with its conditions.
///
/// # Errors
///
/// [`NoDigest`].
pub fn release(state: &State, rung: &Rung, window: &ReleaseWindow) -> Result<Digest, NoDigest> {
    #[derive(Serialize)]
    struct Released<'a> {
        signed: &'static str,
        card: Card,
        window: &'a ReleaseWindow,
    }
    Digest::of(&Released { signed: "release", card: state.card(rung, true), window })
}

/// What an acknowledgement stands for: the card with what is fitted, and the release.
///
/// # Errors
///
/// [`NoDigest`].
pub fn acknowledgement(state: &State, rung: &Rung, release: &Digest) -> Result<Digest, NoDigest> {
    #[derive(Serialize)]
    struct Acknowledged<'a> {
        signed: &'static str,
        card: Card,
        release: &'a Digest,
    }
    Digest::of(&Acknowledged { signed: "acknowledgement", card: state.card(rung, true), release })
}

/// The exceedances that a result must answer for: those of its run, of limits in force for the point as it was run, now
/// or since it was opened.
pub fn exceedances_of<'a>(
    state: &'a State,
    result: &'a ResultState,
) -> impl Iterator<Item = &'a Exceedance> {
    state.exceedances.iter().filter(|exceedance| {
        exceedance.run == result.run
            && (exceedance.point.as_ref() == Some(&result.point)
                || state.exceedance_concerns(&exceedance.limit, result.run, &result.planned))
    })
}

/// What both acceptances of a result stand for: the point as it was run, what was measured, reached and seen, the
/// verdict, and the exceedances with their explanations.
///
/// # Errors
///
/// [`NoDigest`].
pub fn acceptance(state: &State, result: &ResultState) -> Result<Digest, NoDigest> {
    #[derive(Serialize)]
    struct Accepted<'a> {
        signed: &'static str,
        run: RunNumber,
        planned: &'a Point,
        fitted: &'a Fitted,
        values: &'a [MeasuredValue],
        reached: &'a BTreeMap<Axis, Measure>,
        observations: &'a str,
        verdict: &'a Verdict,
        exceedances: Vec<SignedExceedance<'a>>,
    }
    Digest::of(&Accepted {
        signed: "result",
        run: result.run,
        planned: &result.planned,
        fitted: &result.fitted,
        values: &result.values,
        reached: &result.reached,
        observations: &result.observations,
        verdict: &result.verdict,
        exceedances: exceedances_of(state, result).map(SignedExceedance::of).collect(),
    })
}

/// What the acceptance of a residual risk stands for: the hazard, and the level that the matrix gives it.
///
/// # Errors
///
/// [`NoDigest`].
pub fn risk(hazard: &Hazard, level: RiskLevel) -> Result<Digest, NoDigest> {
    #[derive(Serialize)]
    struct Risk<'a> {
        signed: &'static str,
        hazard: &'a Hazard,
        residual: Option<AssessedRisk>,
        level: RiskLevel,
    }
    Digest::of(&Risk { signed: "residual-risk", hazard, residual: hazard.after, level })
}

/// What the agreement to a limit stands for: the proposal, and the limit that it replaces.
///
/// # Errors
///
/// [`NoDigest`].
pub fn proposal(
    proposal: ProposalNumber,
    limit: &Limit,
    reason: &str,
    replaces: Option<&Limit>,
) -> Result<Digest, NoDigest> {
    #[derive(Serialize)]
    struct Proposed<'a> {
        signed: &'static str,
        proposal: ProposalNumber,
        limit: &'a Limit,
        reason: &'a str,
        replaces: Option<&'a Limit>,
    }
    Digest::of(&Proposed { signed: "limit", proposal, limit, reason, replaces })
}

/// What both signatures on a deviation from the build-up stand for: the card without a configuration, the steps as they were
/// when it was proposed, and the reason.
///
/// # Errors
///
/// [`NoDigest`].
pub fn deviation(
    state: &State,
    rung: &Rung,
    deviation: DeviationNumber,
    steps: &[DeviatingStep],
    reason: &str,
) -> Result<Digest, NoDigest> {
    #[derive(Serialize)]
    struct Deviating<'a> {
        signed: &'static str,
        deviation: DeviationNumber,
        card: Card,
        steps: &'a [DeviatingStep],
        reason: &'a str,
    }
    let card = state.card(rung, false);
    Digest::of(&Deviating { signed: "build-up-deviation", deviation, card, steps, reason })
}

#[derive(Serialize)]
struct SignedExceedance<'a> {
    exceedance: ExceedanceNumber,
    run: RunNumber,
    limit: &'a LimitCode,
    point: Option<&'a PointCode>,
    statistic: Statistic,
    peak: f64,
    duration_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    found: Option<SignedFinding<'a>>,
    explanation: Option<&'a str>,
    action: Option<&'a str>,
    explained_by: Option<&'a PersonHandle>,
}

/// Left out of what was noted by a person, so that what was signed before recordings stays as it was.
#[derive(Serialize)]
struct SignedFinding<'a> {
    recording: &'a Digest,
    limit_revision: u64,
    started_at: DateTime<Utc>,
    peak_at: DateTime<Utc>,
    dwell_s: f64,
    odd_one_out: Option<&'a ChannelCode>,
}

impl<'a> SignedExceedance<'a> {
    fn of(exceedance: &'a Exceedance) -> Self {
        let explained = exceedance.explained.as_ref();
        Self {
            exceedance: exceedance.number,
            run: exceedance.run,
            limit: &exceedance.limit,
            point: exceedance.point.as_ref(),
            statistic: exceedance.statistic,
            peak: exceedance.peak,
            duration_s: exceedance.duration_s,
            found: exceedance.found.as_ref().map(|found| SignedFinding {
                recording: &found.recording,
                limit_revision: found.limit_revision,
                started_at: found.started_at,
                peak_at: found.peak_at,
                dwell_s: found.dwell_s,
                odd_one_out: found.odd_one_out.as_ref(),
            }),
            explanation: explained.map(|explained| explained.explanation.as_str()),
            action: explained.map(|explained| explained.action.as_str()),
            explained_by: explained.map(|explained| &explained.by),
        }
    }
}

/// What the closing of an exceedance stands for: the exceedance with its explanation.
///
/// # Errors
///
/// [`NoDigest`].
pub fn exceedance(exceedance: &Exceedance) -> Result<Digest, NoDigest> {
    #[derive(Serialize)]
    struct Explained<'a> {
        signed: &'static str,
        #[serde(flatten)]
        exceedance: SignedExceedance<'a>,
    }
    Digest::of(&Explained { signed: "exceedance", exceedance: SignedExceedance::of(exceedance) })
}

#[derive(Serialize)]
struct SignedSnag<'a> {
    snag: SnagNumber,
    title: &'a str,
    grounding: bool,
    severity: Severity,
    item: Option<&'a ItemCode>,
    run: Option<RunNumber>,
    phases: &'a [Phase],
    work: Vec<SignedWork<'a>>,
}

#[derive(Serialize)]
struct SignedWork<'a> {
    by: &'a PersonHandle,
    at: DateTime<Utc>,
    cause: Option<&'a str>,
    action: Option<&'a str>,
}

impl<'a> SignedSnag<'a> {
    fn of(snag: &'a Snag) -> Self {
        let work = snag.work.iter().map(|work| SignedWork {
            by: &work.by,
            at: work.at,
            cause: work.cause.as_deref(),
            action: work.action.as_deref(),
        });
        Self {
            snag: snag.number,
            title: &snag.title,
            grounding: snag.grounding,
            severity: snag.severity,
            item: snag.item.as_ref(),
            run: snag.run,
            phases: &snag.phases,
            work: work.collect(),
        }
    }
}

/// A snag with all the work on it: what an engineer sees before they close it.
///
/// # Errors
///
/// [`NoDigest`].
pub fn snag(snag: &Snag) -> Result<Digest, NoDigest> {
    #[derive(Serialize)]
    struct Seen<'a> {
        signed: &'static str,
        #[serde(flatten)]
        snag: SignedSnag<'a>,
    }
    Digest::of(&Seen { signed: "snag", snag: SignedSnag::of(snag) })
}

/// What the closing of a snag stands for: the snag with the work on it, its cause and what was done.
///
/// # Errors
///
/// [`NoDigest`].
pub fn snag_closing(snag: &Snag, cause: &str, action: &str) -> Result<Digest, NoDigest> {
    #[derive(Serialize)]
    struct Closed<'a> {
        signed: &'static str,
        #[serde(flatten)]
        snag: SignedSnag<'a>,
        closing_cause: &'a str,
        closing_action: &'a str,
    }
    Digest::of(&Closed {
        signed: "snag-closing",
        snag: SignedSnag::of(snag),
        closing_cause: cause,
        closing_action: action,
    })
}

/// What a signature on a part of a point's step would be the digest of, with the window where it is a release; none
/// where there is nothing to sign: no release to acknowledge, no result to accept.
///
/// # Errors
///
/// [`NoDigest`].
pub fn of_part(
    state: &State,
    rung: &Rung,
    part: Part,
    window: Option<&ReleaseWindow>,
) -> Result<Option<Digest>, NoDigest> {
    match part {
        Part::PlanApproval {} => plan(state, rung).map(Some),
        Part::Release {} => window.map(|window| release(state, rung, window)).transpose(),
        Part::Acknowledgement {} => rung
            .release
            .as_ref()
            .map(|release| acknowledgement(state, rung, &release.signature.digest))
            .transpose(),
        Part::EngineeringAcceptance { run } | Part::SafetyAcceptance { run } => state
            .result(run, &rung.point.code)
            .map(|(_, result)| acceptance(state, result))
            .transpose(),
    }
}

/// The digest that a record carries, and the one that it must carry.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SignedDigest<'a> {
    /// As recorded.
    pub carried: &'a Digest,
    /// As worked out from the state before the record; none where the record signs something that the state does not
    /// know, which no command lets through.
    pub due: Option<Digest>,
}

/// The digests of a record, the due one worked out from the state before it; none for a record that carries none.
///
/// # Errors
///
/// [`NoDigest`].
pub fn of_record<'a>(
    before: &State,
    record: &'a Record,
) -> Result<Option<SignedDigest<'a>>, NoDigest> {
    let in_force = |limit: &LimitCode| before.limits.by_code.get(limit).map(|known| &*known.limit);
    let (carried, due) = match record {
        Record::PartSigned(body) => {
            let due = before
                .rung(&body.point)
                .map(|rung| of_part(before, rung, body.part, body.window.as_ref()));
            (&body.digest, due.transpose()?.flatten())
        }
        Record::RiskAccepted(body) => {
            let known = before.hazards.get(&body.hazard);
            (&body.digest, known.map(|known| risk(&known.hazard, body.level)).transpose()?)
        }
        Record::LimitChangeProposed(body) => {
            let replaces = in_force(&body.limit.code);
            (&body.digest, Some(proposal(body.proposal, &body.limit, &body.reason, replaces)?))
        }
        Record::LimitChangeAgreed(body) => {
            let known = before.limits.proposal(body.proposal);
            let due = known.map(|known| {
                let replaces = in_force(&known.limit.code);
                proposal(known.number, &known.limit, &known.reason, replaces)
            });
            (&body.digest, due.transpose()?)
        }
        Record::BuildUpDeviationProposed(body) => {
            let known = before.rung(&body.point);
            let due = known
                .map(|rung| deviation(before, rung, body.deviation, &body.steps, &body.reason));
            (&body.digest, due.transpose()?)
        }
        Record::BuildUpDeviationAgreed(body) => {
            let known = before.deviation(body.deviation);
            let due = known.and_then(|known| {
                let rung = before.rung(&known.point)?;
                Some(deviation(before, rung, known.number, &known.steps, &known.reason))
            });
            (&body.digest, due.transpose()?)
        }
        Record::ExceedanceClosed(body) => {
            (&body.digest, before.exceedance(body.exceedance).map(exceedance).transpose()?)
        }
        Record::SnagClosed(body) => {
            let due =
                before.snag(body.snag).map(|known| snag_closing(known, &body.cause, &body.action));
            (&body.digest, due.transpose()?)
        }
        Record::ProgrammeFounded(_)
        | Record::AircraftDescribed(_)
        | Record::PolicySet(_)
        | Record::PersonListed(_)
        | Record::ItemFitted(_)
        | Record::ItemRemoved(_)
        | Record::ChannelDefined(_)
        | Record::RecorderDescribed(_)
        | Record::LimitSet(_)
        | Record::LimitChangeDeclined(_)
        | Record::BuildUpDeviationEnded(_)
        | Record::CheckDefined(_)
        | Record::CheckDone(_)
        | Record::EventHappened(_)
        | Record::HazardRecorded(_)
        | Record::DocumentFiled(_)
        | Record::PointPlanned(_)
        | Record::PointDropped(_)
        | Record::SigningRefused(_)
        | Record::SignatureWithdrawn(_)
        | Record::RunOpened(_)
        | Record::RunMomentNoted(_)
        | Record::RunEnergyRead(_)
        | Record::KnockedOff(_)
        | Record::RunClosed(_)
        | Record::RunTimesCorrected(_)
        | Record::ResultRecorded(_)
        | Record::ExceedanceNoted(_)
        | Record::ExceedanceFound(_)
        | Record::RecordingTaken(_)
        | Record::RecordingAttached(_)
        | Record::RecordingSetAside(_)
        | Record::ClockOffsetConfirmed(_)
        | Record::IntervalTaken(_)
        | Record::ReductionMade(_)
        | Record::HeatingOrderJudged(_)
        | Record::PredictionsMade(_)
        | Record::ModelReviewed(_)
        | Record::DampingStepJudged(_)
        | Record::RepeatNarrowed(_)
        | Record::ForecastAssumed(_)
        | Record::ForecastMade(_)
        | Record::DayPlanProposed(_)
        | Record::DayLost(_)
        | Record::ExceedanceExplained(_)
        | Record::SnagOpened(_)
        | Record::SnagWorked(_)
        | Record::WeatherObserved(_)
        | Record::StandDownCalled(_)
        | Record::StandDownLifted(_)
        | Record::CheckpointKeyChanged(_)
        | Record::CopyAcknowledged(_)
        | Record::ClockCompared(_) => return Ok(None),
    };
    Ok(Some(SignedDigest { carried, due }))
}
