//! What is shown of a point: a row of the list, and all of it.

use chrono::{DateTime, Utc};
use programme::card::Difference;
use programme::codes::{PersonHandle, PointCode, RunNumber};
use programme::commands::{self, PartView, SigningView};
use programme::holds::{Hold, Reason, Stage};
use programme::nouns::{Phase, Point, Role};
use programme::record::{Digest, Part};
use programme::state::{Amendable, Dropped, Rung, Signature, SignedRelease, State};
use serde::Serialize;

use super::standing::PointState;
use crate::api::results::{ResultRow, ResultStanding};
use crate::api::sign_offs::PartName;
use crate::problem::Problem;

/// A point in a list.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct PointRow<'a> {
    /// Its code.
    pub code: &'a PointCode,
    /// What it is called.
    pub title: &'a str,
    /// How far up the ladder it stands.
    pub phase: Phase,
    /// Where it stands.
    pub state: PointState,
    /// How many holds stand against running it now; none: all stated conditions are met.
    pub holds: usize,
    /// How many of them stand against releasing it, too.
    pub holds_against_release: usize,
    /// The run of its last result.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_run: Option<RunNumber>,
    /// Whether its last result counts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_result: Option<ResultStanding>,
    /// The record that last changed its plan; its ETag begins with it.
    pub revision: u64,
}

impl<'a> PointRow<'a> {
    /// A point with all that holds it.
    pub fn of(state: &'a State, rung: &'a Rung, reasons: &[Reason]) -> Self {
        let last = state.last_result_of(rung);
        let of_stage = |stage| reasons.iter().filter(|it| it.stage() == stage).count();
        Self {
            code: &rung.point.code,
            title: &rung.point.title,
            phase: rung.point.phase,
            state: PointState::of_reasons(state, rung, reasons),
            holds: reasons.len(),
            holds_against_release: of_stage(Stage::Release),
            last_run: last.map(|result| result.run),
            last_result: last.map(|result| ResultStanding::of(&result.standing)),
            revision: state.revision(&Amendable::Point(rung.point.code.clone())),
        }
    }
}

/// A signature.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Signature)]
pub struct SignatureView<'a> {
    /// What was signed.
    pub part: PartName,
    /// Of the result of which run, where it is an acceptance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub run: Option<RunNumber>,
    /// By whom.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// The record in the ledger.
    pub record: u64,
    /// SHA-256 of the RFC 8785 form of exactly what was signed.
    pub digest: &'a Digest,
    /// Whether it still stands for what is there now.
    pub stands: bool,
    /// Of a release: good from then on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub valid_from: Option<DateTime<Utc>>,
    /// Of a release: good up to, not including, this moment.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub valid_until: Option<DateTime<Utc>>,
    /// Of a release: under these conditions besides the plan's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub conditions: Option<&'a str>,
}

impl<'a> SignatureView<'a> {
    /// A signature on a part.
    pub fn of(part: Part, signature: &'a Signature, stands: bool) -> Self {
        Self {
            part: part.into(),
            run: part.run(),
            by: &signature.by,
            at: signature.at,
            record: signature.seq,
            digest: &signature.digest,
            stands,
            valid_from: None,
            valid_until: None,
            conditions: None,
        }
    }

    fn of_release(release: &'a SignedRelease, stands: bool) -> Self {
        Self {
            valid_from: Some(release.valid_from),
            valid_until: Some(release.valid_until),
            conditions: release.conditions.as_deref(),
            ..Self::of(Part::Release {}, &release.signature, stands)
        }
    }
}

/// A refusal to sign that nobody has withdrawn or signed over.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = SigningRefusal)]
pub struct RefusalView<'a> {
    /// What was not signed.
    pub part: PartName,
    /// Of the result of which run, where it is an acceptance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub run: Option<RunNumber>,
    /// By whom.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// The record in the ledger.
    pub record: u64,
    /// Why not.
    pub reasons: &'a str,
}

/// A point that was taken out of the plan.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Dropped)]
pub struct DroppedView<'a> {
    /// By whom.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Why.
    pub reason: &'a str,
}

impl<'a> From<&'a Dropped> for DroppedView<'a> {
    fn from(dropped: &'a Dropped) -> Self {
        Self { by: &dropped.by, at: dropped.at, reason: &dropped.reason }
    }
}

/// One part of the point's step as you would sign it now.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct PartToSign {
    /// Which part.
    pub part: PartName,
    /// Of the result of which run, where it is an acceptance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub run: Option<RunNumber>,
    /// The digest to give with your signature: SHA-256 of the RFC 8785 form of what would be signed. Absent where there
    /// is nothing to sign yet. Of a release it is that of the card alone; your signature binds your window too.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub digest: Option<Digest>,
    /// Who has signed it, where the signature still stands for what is there now.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub signed_by: Option<PersonHandle>,
    /// The roles that may sign it.
    pub roles: &'static [Role],
    /// Whether your roles are among them.
    pub permitted: bool,
    /// What stands against your signing it now; none: all stated conditions are met.
    pub holds: Vec<Hold>,
}

impl From<PartView> for PartToSign {
    fn from(view: PartView) -> Self {
        Self {
            part: view.part.into(),
            run: view.part.run(),
            digest: view.digest,
            signed_by: view.signed_by,
            roles: PartName::from(view.part).act().allowed(),
            permitted: view.permitted,
            holds: view.holds,
        }
    }
}

/// What you would sign.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct ToSign {
    /// Plan approval, release, acknowledgement, and both acceptances of the last result.
    pub parts: Vec<PartToSign>,
    /// Whether you have signed a part of this point before.
    pub signed_before: bool,
    /// Where the card differs from the one that you last signed.
    pub changed_since: Vec<Difference>,
}

/// A point as a step of the ladder.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Rung)]
pub struct RungView<'a> {
    /// The point as planned. This is what is sent back to change it.
    pub plan: &'a Point,
    /// The record that last changed its plan; the ETag begins with it.
    pub revision: u64,
    /// How often its plan was changed, from 1.
    pub version: u32,
    /// Who wrote the plan as it is now, and so signs no part of its step.
    pub planned_by: &'a PersonHandle,
    /// When.
    pub planned_at: DateTime<Utc>,
    /// Who took it out of the plan, and why.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dropped: Option<DroppedView<'a>>,
    /// Where it stands.
    pub state: PointState,
    /// Where it stands, in a sentence.
    pub summary: String,
    /// Every reason why it may not go ahead now; none: all stated conditions are met.
    pub holds: Vec<Hold>,
    /// The points that wait for it.
    pub waited_for_by: &'a [PointCode],
    /// The last signature on each part of its step, whether it still stands or not.
    pub signatures: Vec<SignatureView<'a>>,
    /// Refusals to sign that nobody has withdrawn or signed over.
    pub refusals: Vec<RefusalView<'a>>,
    /// Its results, the last first.
    pub results: Vec<ResultRow<'a>>,
    /// The card: point, limits in force, hazards, and what is fitted. A signature stands for exactly this.
    #[schema(value_type = Object)]
    pub card: programme::card::Card,
    /// What you would sign.
    pub to_sign: ToSign,
}

/// All of a point at a moment, as a person sees it, given all that holds it then.
pub(crate) fn rung_view<'a>(
    state: &'a State,
    rung: &'a Rung,
    person: &PersonHandle,
    now: DateTime<Utc>,
    holds: Vec<Hold>,
) -> Result<RungView<'a>, Problem> {
    let SigningView { card, parts, signed_before, changed_since, .. } =
        commands::signing_view(state, &rung.point.code, person, now)?;
    let word = PointState::of(state, rung, holds.iter().map(|hold| (hold.rule, hold.stage)));
    Ok(RungView {
        plan: &rung.point,
        revision: state.revision(&Amendable::Point(rung.point.code.clone())),
        version: rung.revision,
        planned_by: &rung.planned_by,
        planned_at: rung.planned_at,
        dropped: rung.dropped.as_ref().map(DroppedView::from),
        state: word,
        summary: summary(word, &rung.point.code, holds.len()),
        waited_for_by: state.ladder.dependents(&rung.point.code),
        signatures: signatures(rung, &parts),
        refusals: refusals(rung),
        results: rung.results.iter().rev().map(|id| ResultRow::of(&state.results[id.0])).collect(),
        card,
        to_sign: ToSign {
            parts: parts.into_iter().map(PartToSign::from).collect(),
            signed_before,
            changed_since,
        },
        holds,
    })
}

fn signatures<'a>(rung: &'a Rung, parts: &[PartView]) -> Vec<SignatureView<'a>> {
    let stands = |part| parts.iter().any(|view| view.part == part && view.signed_by.is_some());
    let plain = |part: Part, signature: &'a Option<Signature>| {
        signature.as_ref().map(|signature| SignatureView::of(part, signature, stands(part)))
    };
    let release = rung.release.as_ref();
    let signed = [
        plain(Part::PlanApproval {}, &rung.approval),
        release.map(|release| SignatureView::of_release(release, stands(Part::Release {}))),
        plain(Part::Acknowledgement {}, &rung.acknowledgement),
    ];
    signed.into_iter().flatten().collect()
}

fn refusals(rung: &Rung) -> Vec<RefusalView<'_>> {
    let refused = rung.refusals.iter().map(|refused| RefusalView {
        part: refused.part.into(),
        run: refused.part.run(),
        by: &refused.by,
        at: refused.at,
        record: refused.seq,
        reasons: &refused.reasons,
    });
    refused.collect()
}

/// A sentence about where a point stands. It never says more than that stated conditions are met.
pub(crate) fn summary(state: PointState, code: &PointCode, holds: usize) -> String {
    let open = match holds {
        0 => "all stated conditions are met".to_owned(),
        1 => "it is held, because 1 of the stated conditions is not met".to_owned(),
        many => format!("it is held, because {many} of the stated conditions are not met"),
    };
    match state {
        PointState::Dropped => format!("{code} was taken out of the plan."),
        PointState::Accepted => format!("{code} was shown, and its result was accepted."),
        PointState::InRun => format!("{code} is in the run that is open."),
        PointState::AwaitingAcceptance => {
            format!("The last result of {code} was met and waits for its acceptances.")
        }
        PointState::Lapsed => {
            format!(
                "An accepted result of {code} does not stand any more. To run it again: {open}."
            )
        }
        PointState::NotMet => {
            format!(
                "The last result of {code} does not show what it must. To run it again: {open}."
            )
        }
        PointState::Released if holds == 0 => format!(
            "{code} is released: {open}. Rungbook clears nobody to fly; the permit, local rules and the pilot in command come first."
        ),
        PointState::Released => format!("{code} is released. To run it: {open}."),
        PointState::Ready => {
            format!("Nothing stands against a release of {code}. To run it: {open}.")
        }
        PointState::Held => format!("{code}: {open}."),
    }
}
