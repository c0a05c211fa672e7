//! Hazards, their risk before and after mitigations, and who has accepted what is left.

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use programme::codes::{HazardCode, PersonHandle};
use programme::commands::{AcceptRisk, RecordHazard, RiskTerms, digests};
use programme::holds::{HazardLacks, hazard_lacks, roles_for_risk};
use programme::nouns::{AssessedRisk, Hazard, RiskLevel, Role};
use programme::record::Digest;
use programme::state::{AcceptedRisk, Amendable, HazardState, State};
use serde::Serialize;

use crate::access::{self, Permitted, Read, RecordHazards};
use crate::description::SignedBody;
use crate::desk::{Answer, Outcome, Shown, Written};
use crate::entity_tag::{Amends, Precondition};
use crate::given::{At, Given, Query, Signed};
use crate::office::Office;
use crate::page::{OfMoment, Page, Paging, after, beyond};
use crate::problem::Problem;

/// What a hazard lacks before a point may go ahead with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Lacking {
    /// Nothing is done against it.
    Mitigation,
    /// Nobody has judged what is left.
    Judgement,
    /// The programme has no risk matrix to find its level by.
    RiskMatrix,
    /// Its level is one that nobody may accept.
    AcceptableLevel,
    /// Nobody who may has accepted it at its level.
    Acceptance,
}

impl Lacking {
    const fn of(lacks: HazardLacks) -> Option<Self> {
        match lacks {
            // A hazard that is looked at here is recorded.
            HazardLacks::Record => None,
            HazardLacks::Mitigation => Some(Self::Mitigation),
            HazardLacks::Judgement => Some(Self::Judgement),
            HazardLacks::Matrix => Some(Self::RiskMatrix),
            HazardLacks::AnyoneWhoMay(_) => Some(Self::AcceptableLevel),
            HazardLacks::Acceptance(_) => Some(Self::Acceptance),
        }
    }
}

/// A hazard as judged, with its levels of risk by the programme's matrix.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = HazardWithRisk)]
pub struct HazardView<'a> {
    /// The hazard.
    pub hazard: &'a Hazard,
    /// Its level before mitigations; absent: the programme has no matrix.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub level_before: Option<RiskLevel>,
    /// Its level after mitigations; absent: nobody has judged it, or the programme has no matrix.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub level_after: Option<RiskLevel>,
    /// The roles that may accept what is left; none: it needs no acceptance, or nobody may accept it.
    pub accepted_by_roles: Vec<Role>,
    /// What it lacks; nothing: no point is held by it.
    pub lacks: Vec<Lacking>,
    /// Who recorded it so; they cannot accept its risk.
    pub recorded_by: &'a PersonHandle,
    /// The record that last changed it.
    pub seq: u64,
    /// Who has accepted what is left, of the hazard as it is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub accepted: Option<AcceptedRiskView<'a>>,
    /// Of the hazard with its level, to be sent with the acceptance; absent where it has no level.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub digest: Option<Digest>,
}

/// Residual risk that somebody accepted.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = AcceptedRisk)]
pub struct AcceptedRiskView<'a> {
    /// The record.
    pub seq: u64,
    /// By whom.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// The roles that they had then.
    pub roles: &'a [Role],
    /// At which level.
    pub level: RiskLevel,
    /// Of what was signed.
    pub digest: &'a Digest,
}

fn accepted_view(accepted: &AcceptedRisk) -> AcceptedRiskView<'_> {
    AcceptedRiskView {
        seq: accepted.seq,
        by: &accepted.by,
        at: accepted.at,
        roles: &accepted.roles,
        level: accepted.level,
        digest: &accepted.digest,
    }
}

pub(crate) fn hazard_view<'a>(
    state: &State,
    known: &'a HazardState,
) -> Result<HazardView<'a>, Problem> {
    let hazard = &*known.hazard;
    let matrix = state.policy.as_ref().map(|policy| &policy.risk);
    let level = |risk: AssessedRisk| matrix.map(|matrix| matrix.level(risk));
    let level_after = hazard.after.and_then(level);
    let digest = level_after.map(|level| digests::risk(hazard, level)).transpose();
    Ok(HazardView {
        hazard,
        level_before: level(hazard.before),
        level_after,
        accepted_by_roles: level_after.map_or_else(Vec::new, |level| roles_for_risk(level, state)),
        lacks: hazard_lacks(known, state).into_iter().filter_map(Lacking::of).collect(),
        recorded_by: &known.recorded_by,
        seq: known.changed_at,
        accepted: known.accepted.as_ref().map(accepted_view),
        digest: digest.map_err(Problem::unsignable)?,
    })
}

fn shown(state: &State, code: &HazardCode) -> Result<Shown, Problem> {
    let known = state.hazards.get(code).ok_or_else(|| Problem::unknown("hazard", code))?;
    let revision = state.revision(&Amendable::Hazard(code.clone()));
    Shown::at_revision(revision, &hazard_view(state, known)?)
}

/// Hazards with their levels of risk, by code.
#[utoipa::path(
    get, path = "",
    params(Paging),
    responses((status = 200, description = "A page of hazards.", body = Page<HazardView>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<Paging>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<HazardCode> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let rows = beyond(&view.state.hazards, after.as_ref());
            let page = Page::of(rows, page.limit, &request)?;
            Shown::tagged(&page.each(|known| hazard_view(view.state, known))?)
        })
        .await
}

/// One hazard with its levels of risk and what it lacks.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The hazard.", body = HazardView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    hazard: At<HazardCode>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office.show(&person, past.as_of.as_deref(), &request, |view| shown(view.state, &hazard)).await
}

/// Record a hazard, or judge it anew. What was accepted and signed for the hazard as it was is void then.
#[utoipa::path(
    put, path = "",
    request_body(
        content = Hazard,
        example = json!({
            "code": "HZ-03",
            "title": "Thermal runaway in the pack",
            "cause": "Internal short in a cell after charging damage.",
            "effect": "Fire and toxic gas beside the occupants.",
            "before": { "severity": "catastrophic", "probability": "occasional" },
            "mitigations": ["Cell temperatures watched with a stop at the caution value.", "Fire crew with breathing gear at the runway."],
            "after": { "severity": "catastrophic", "probability": "improbable" },
        }),
    ),
    params(Amends),
    responses(
        (status = 200, description = "Judged anew.", body = Written<HazardView>),
        (status = 201, description = "Recorded.", body = Written<HazardView>),
    ),
)]
pub(crate) async fn record(
    person: Permitted<RecordHazards>,
    at: At<HazardCode>,
    precondition: Precondition,
    given: Given<Hazard>,
    office: Office,
) -> Answer {
    at.names("code", &given.body.code)?;
    let code = at.0;
    let place = format!("/api/v1/programmes/{}/hazards/{code}", person.programme);
    let amends = (precondition, Amendable::Hazard(code.clone()));
    let given = given.map(|hazard| RecordHazard { hazard, expected: None });
    office
        .amend(&person, amends, given, move |view, _, was_there| {
            Ok(Outcome::put(was_there, place, shown(view.state, &code)?))
        })
        .await
}

/// Accept the residual risk of a hazard, with the password or PIN again.
///
/// Whoever accepts is in a role that the matrix names for the level, and did not record the hazard as it is. `digest` is
/// that of the hazard as it was read; a change of the hazard voids the acceptance.
#[utoipa::path(
    post, path = "",
    request_body(
        content = SignedBody<RiskTerms>,
        example = json!({
            "digest": "5f70bf18a086007016e948b04aed3b82103a36bea41755b6cddfaf10ace3c6ef",
            "secret": "271845",
        }),
    ),
    responses((status = 200, description = "Accepted.", body = Written<HazardView>)),
)]
pub(crate) async fn accept(
    person: Permitted<access::AcceptRisk>,
    hazard: At<HazardCode>,
    signed: Signed<RiskTerms>,
    office: Office,
) -> Answer {
    let hazard = hazard.0;
    let signed = signed.map(|terms| AcceptRisk { hazard: hazard.clone(), terms });
    office
        .sign(&person, signed, move |view, _| Ok(Outcome::changed(shown(view.state, &hazard)?)))
        .await
}
