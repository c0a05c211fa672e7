//! Proposals to set or change a limit: an engineer makes them, a safety officer who is another person agrees or declines.

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use programme::codes::{PersonHandle, ProposalNumber};
use programme::commands::{
    AgreeLimit, AgreementTerms, DeclineLimit, DecliningTerms, ProposalTerms, WithdrawProposal,
};
use programme::entry::Entry;
use programme::nouns::Limit;
use programme::record::Digest;
use programme::state::{Proposal, ProposalFate, State};
use serde::{Deserialize, Serialize};

use crate::access::{self, AgreeLimit as MayAgree, Permitted, Read};
use crate::description::SignedBody;
use crate::desk::{Answer, Outcome, Shown, View, Written};
use crate::given::{At, Given, Number, Query, Signed};
use crate::office::Office;
use crate::page::{OfMoment, Page, after};
use crate::problem::Problem;

/// What became of a proposal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ProposalStanding {
    /// It waits for the safety officer.
    Open,
    /// It was agreed to, and held from then on.
    Agreed,
    /// It was declined, or withdrawn by its proposer.
    Declined,
}

/// A proposal to set or change a limit.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = LimitProposal)]
pub struct ProposalView<'a> {
    /// Its number.
    pub proposal: ProposalNumber,
    /// The limit as it would be; its figures are in its unit.
    pub limit: &'a Limit,
    /// The limit in force that it would replace; absent: there is none, or the proposal does not wait any more.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub replaces: Option<&'a Limit>,
    /// Why.
    pub reason: &'a str,
    /// Of the proposal with the limit that it replaces, to be sent with the agreement.
    pub digest: &'a Digest,
    /// Who made it.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// What became of it.
    pub standing: ProposalStanding,
    /// Who agreed, declined or withdrew.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub decided_by: Option<&'a PersonHandle>,
    /// When.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub decided_at: Option<DateTime<Utc>>,
    /// Why it was declined or withdrawn.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub declined_because: Option<&'a str>,
}

/// Which page of the proposals.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ProposalPage {
    /// The number of the last row of the page before; absent: the first page.
    #[param(max_length = 64)]
    pub after: Option<String>,
    /// Rows at most.
    #[param(minimum = 1, maximum = 500, default = 100)]
    pub limit: Option<u16>,
    /// As it stood after the record of this number, or at this time (RFC 3339).
    #[param(example = "2026-05-02T08:00:00Z")]
    pub as_of: Option<String>,
    /// Only those of which this became; absent: all.
    #[param(inline)]
    pub standing: Option<ProposalStanding>,
}

const fn standing(fate: &ProposalFate) -> ProposalStanding {
    match fate {
        ProposalFate::Open => ProposalStanding::Open,
        ProposalFate::Agreed { .. } => ProposalStanding::Agreed,
        ProposalFate::Declined { .. } => ProposalStanding::Declined,
    }
}

fn proposal_view<'a>(state: &'a State, proposal: &'a Proposal) -> ProposalView<'a> {
    let in_force = state.limits.by_code.get(&proposal.limit.code).map(|known| &*known.limit);
    let (decided_by, decided_at, declined_because) = match &proposal.fate {
        ProposalFate::Open => (None, None, None),
        ProposalFate::Agreed { by, at } => (Some(by), Some(*at), None),
        ProposalFate::Declined { by, at, reason } => (Some(by), Some(*at), Some(reason.as_str())),
    };
    ProposalView {
        proposal: proposal.number,
        limit: &proposal.limit,
        replaces: in_force.filter(|_| proposal.fate == ProposalFate::Open),
        reason: &proposal.reason,
        digest: &proposal.digest,
        by: &proposal.by,
        at: proposal.at,
        standing: standing(&proposal.fate),
        decided_by,
        decided_at,
        declined_because,
    }
}

fn shown(state: &State, number: ProposalNumber) -> Result<Shown, Problem> {
    let known = state.limits.proposal(number);
    let proposal = known.ok_or_else(|| Problem::unknown("proposal", number))?;
    Shown::tagged(&proposal_view(state, proposal))
}

fn changed(
    number: ProposalNumber,
) -> impl FnOnce(View<'_>, &[Entry]) -> Result<Outcome, Problem> + Send + 'static {
    move |view, _| Ok(Outcome::changed(shown(view.state, number)?))
}

/// Proposals, newest first.
#[utoipa::path(
    get, path = "",
    params(ProposalPage),
    responses((status = 200, description = "A page of proposals.", body = Page<ProposalView>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<ProposalPage>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<u32> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let rows = view.state.limits.proposals.iter().rev();
            let rows = rows
                .filter(|it| after.is_none_or(|after| it.number.0 < after))
                .filter(|it| page.standing.is_none_or(|wanted| standing(&it.fate) == wanted))
                .map(|it| (it.number, proposal_view(view.state, it)));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// One proposal, with the limit that it would replace.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The proposal.", body = ProposalView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    proposal: At<Number<ProposalNumber>>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office
        .show(&person, past.as_of.as_deref(), &request, |view| shown(view.state, proposal.0.0))
        .await
}

/// Propose a new or changed limit, with the reason. It holds once a safety officer has agreed.
///
/// The agreement names the digest of the proposal together with the limit that it replaces, so a proposal against a limit
/// that has changed since cannot be agreed to.
#[utoipa::path(
    post, path = "",
    request_body(
        content = ProposalTerms,
        example = json!({
            "limit": {
                "code": "motor-temp-max",
                "title": "Motor winding temperature",
                "channel": "motor_winding_t_1",
                "unit": "degC",
                "is": { "kind": "maximum", "caution": 100, "limit": 115 },
                "dwell_s": 2,
                "phases": ["ground-run", "taxi", "first-flight", "envelope"],
                "source": "motor builder's letter of 12 May (invented)",
            },
            "reason": "The builder lowered the limit for windings of this batch.",
        }),
    ),
    responses((status = 201, description = "Proposed.", body = Written<ProposalView>)),
)]
pub(crate) async fn propose(
    person: Permitted<access::ProposeLimit>,
    given: Given<ProposalTerms>,
    office: Office,
) -> Answer {
    let places = format!("/api/v1/programmes/{}/limit-proposals", person.programme);
    let given = given.map(|terms| programme::commands::ProposeLimit { terms, expected: None });
    office
        .act(&person, given, move |view, _| {
            let made = u32::try_from(view.state.limits.proposals.len()).unwrap_or(u32::MAX);
            let number = ProposalNumber(made);
            Ok(Outcome::created(format!("{places}/{number}"), shown(view.state, number)?))
        })
        .await
}

/// Agree to a proposed limit, with the password or PIN again. From then on it holds, also during a run.
///
/// Plan approvals and releases of points that the limit concerns are void then, and results are held against it anew.
#[utoipa::path(
    post, path = "",
    request_body(
        content = SignedBody<AgreementTerms>,
        example = json!({
            "digest": "5f70bf18a086007016e948b04aed3b82103a36bea41755b6cddfaf10ace3c6ef",
            "secret": "271845",
        }),
    ),
    responses((status = 200, description = "Agreed.", body = Written<ProposalView>)),
)]
pub(crate) async fn agree(
    person: Permitted<MayAgree>,
    proposal: At<Number<ProposalNumber>>,
    signed: Signed<AgreementTerms>,
    office: Office,
) -> Answer {
    let proposal = proposal.0.0;
    let signed = signed.map(|terms| AgreeLimit { proposal, terms });
    office.sign(&person, signed, changed(proposal)).await
}

/// Decline a proposed limit, with the reason.
#[utoipa::path(
    post, path = "",
    request_body(content = DecliningTerms, example = json!({ "reason": "The letter is about another batch." })),
    responses((status = 200, description = "Declined.", body = Written<ProposalView>)),
)]
pub(crate) async fn decline(
    person: Permitted<MayAgree>,
    proposal: At<Number<ProposalNumber>>,
    given: Given<DecliningTerms>,
    office: Office,
) -> Answer {
    let proposal = proposal.0.0;
    let given = given.map(|terms| DeclineLimit { proposal, terms });
    office.act(&person, given, changed(proposal)).await
}

/// Withdraw a proposal of one's own, with the reason.
#[utoipa::path(
    post, path = "",
    request_body(content = DecliningTerms, example = json!({ "reason": "A typing error in the value." })),
    responses((status = 200, description = "Withdrawn.", body = Written<ProposalView>)),
)]
pub(crate) async fn withdraw(
    person: Permitted<access::ProposeLimit>,
    proposal: At<Number<ProposalNumber>>,
    given: Given<DecliningTerms>,
    office: Office,
) -> Answer {
    let proposal = proposal.0.0;
    let given = given.map(|terms| WithdrawProposal { proposal, terms });
    office.act(&person, given, changed(proposal)).await
}
