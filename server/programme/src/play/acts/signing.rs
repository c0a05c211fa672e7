//! Signatures, refusals to sign and withdrawals, as a story gives them.

use serde::Deserialize;

use super::super::words::When;
use super::{Given, Scene, seen};
use crate::codes::{PointCode, RunNumber};
use crate::commands::{self, Acceptance, decide, digests};
use crate::entry::Draft;
use crate::record::Part;
use crate::refusal::Refusal;

/// Approves the plans of points.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct ApprovePlan {
    points: Vec<PointCode>,
}

impl Given for ApprovePlan {
    fn commands(&self) -> usize {
        self.points.len()
    }

    fn decide(&self, place: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let Some(point) = self.points.get(place).cloned() else { return Ok(Vec::new()) };
        let state = scene.state;
        let digest = seen(state.rung(&point).map(|rung| digests::plan(state, rung)));
        let terms = commands::ApprovalTerms { digest };
        decide(state, &commands::ApprovePlan { point, terms }, scene.stamp)
    }
}

/// Releases points.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct Release {
    points: Vec<PointCode>,
    /// Good from then on; absent: from the act on.
    #[serde(default)]
    from: Option<When>,
    until: When,
    #[serde(default)]
    conditions: Option<String>,
}

impl Given for Release {
    fn commands(&self) -> usize {
        self.points.len()
    }

    fn decide(&self, place: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let Some(point) = self.points.get(place).cloned() else { return Ok(Vec::new()) };
        let state = scene.state;
        let terms = commands::ReleaseTerms {
            digest: seen(state.rung(&point).map(|rung| digests::card(state, rung))),
            valid_from: self.from.as_ref().map(|from| from.from(scene.now)),
            valid_until: self.until.from(scene.now),
            conditions: self.conditions.clone(),
        };
        decide(state, &commands::ReleasePoint { point, terms }, scene.stamp)
    }
}

/// Acknowledges the cards of points.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct Acknowledge {
    points: Vec<PointCode>,
}

impl Given for Acknowledge {
    fn commands(&self) -> usize {
        self.points.len()
    }

    fn decide(&self, place: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let Some(point) = self.points.get(place).cloned() else { return Ok(Vec::new()) };
        let state = scene.state;
        let released = state.rung(&point).and_then(|rung| Some((rung, rung.release.as_ref()?)));
        let digest = released.map(|(rung, release)| {
            digests::acknowledgement(state, rung, &release.signature.digest)
        });
        let terms = commands::AcknowledgementTerms { digest: seen(digest) };
        decide(state, &commands::AcknowledgeCard { point, terms }, scene.stamp)
    }
}

/// Accepts results of points in a run.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct AcceptResult {
    points: Vec<PointCode>,
    /// Absent: the run opened last.
    #[serde(default)]
    run: Option<RunNumber>,
    #[serde(rename = "as")]
    acceptance: Acceptance,
}

impl Given for AcceptResult {
    fn commands(&self) -> usize {
        self.points.len()
    }

    fn decide(&self, place: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let Some(point) = self.points.get(place).cloned() else { return Ok(Vec::new()) };
        let state = scene.state;
        let run = scene.run(self.run);
        let result = state.result(run, &point);
        let digest = seen(result.map(|(_, result)| digests::acceptance(state, result)));
        let terms = commands::AcceptanceTerms { digest };
        let acceptance = self.acceptance;
        decide(state, &commands::AcceptResult { run, point, acceptance, terms }, scene.stamp)
    }
}

/// A part as a story names it.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum PartWord {
    PlanApproval,
    Release,
    Acknowledgement,
    EngineeringAcceptance,
    SafetyAcceptance,
}

impl PartWord {
    fn part(self, named: Option<RunNumber>, scene: &Scene<'_>) -> Part {
        match self {
            Self::PlanApproval => Part::PlanApproval {},
            Self::Release => Part::Release {},
            Self::Acknowledgement => Part::Acknowledgement {},
            Self::EngineeringAcceptance => Part::EngineeringAcceptance { run: scene.run(named) },
            Self::SafetyAcceptance => Part::SafetyAcceptance { run: scene.run(named) },
        }
    }
}

/// Refuses to sign.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct Refuse {
    point: PointCode,
    part: PartWord,
    /// Of an acceptance; absent: the run opened last.
    #[serde(default)]
    run: Option<RunNumber>,
    reasons: String,
}

impl Given for Refuse {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let command = commands::RefusePart {
            point: self.point.clone(),
            part: self.part.part(self.run, scene),
            terms: commands::RefusalTerms { reasons: self.reasons.clone() },
        };
        decide(scene.state, &command, scene.stamp)
    }
}

/// Withdraws a signature or a refusal.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::play) struct Withdraw {
    point: PointCode,
    part: PartWord,
    /// Of an acceptance; absent: the run opened last.
    #[serde(default)]
    run: Option<RunNumber>,
    reason: String,
}

impl Given for Withdraw {
    fn decide(&self, _: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
        let command = commands::WithdrawPart {
            point: self.point.clone(),
            part: self.part.part(self.run, scene),
            terms: commands::WithdrawalTerms { reason: self.reason.clone() },
        };
        decide(scene.state, &command, scene.stamp)
    }
}
