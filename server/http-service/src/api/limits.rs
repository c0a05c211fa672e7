//! Limits as they hold, and as they held.
//!
//! A limit changes by a proposal of an engineer and the agreement of a safety officer, see [`super::limit_proposals`].

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use programme::codes::{LimitCode, PersonHandle, ProposalNumber};
use programme::nouns::Limit;
use programme::state::{Amendable, LimitState, ProposalFate, State};
use serde::Serialize;

use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown};
use crate::given::{At, Query};
use crate::office::Office;
use crate::page::{OfMoment, Page, Paging, after, beyond};
use crate::problem::Problem;

/// A limit as it holds.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = LimitInForce)]
pub struct LimitView<'a> {
    /// The limit; its figures are in its unit.
    pub limit: &'a Limit,
    /// How often it was set, from 1.
    pub revision: u32,
    /// The record that set it.
    pub seq: u64,
    /// Since when it holds.
    pub since: DateTime<Utc>,
    /// Who set or proposed it.
    pub set_by: &'a PersonHandle,
    /// Who agreed; absent: it was set when the programme was written.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub agreed_by: Option<&'a PersonHandle>,
    /// The proposal to change it that waits for the safety officer.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub open_proposal: Option<ProposalNumber>,
}

/// A limit as it held from some moment on.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct LimitRevision<'a> {
    /// Counts how often it was set, from 1.
    pub revision: u32,
    /// The limit; its figures are in its unit.
    pub limit: &'a Limit,
    /// The record that set it.
    pub seq: u64,
    /// Since when it held.
    pub since: DateTime<Utc>,
    /// Until when; absent: it holds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub until: Option<DateTime<Utc>>,
    /// Who set or proposed it.
    pub set_by: &'a PersonHandle,
    /// Who agreed; absent: it was set when the programme was written.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub agreed_by: Option<&'a PersonHandle>,
}

fn limit_view<'a>(state: &'a State, known: &'a LimitState) -> LimitView<'a> {
    let mut proposals = state.limits.proposals.iter();
    let open = proposals
        .find(|it| it.fate == ProposalFate::Open && it.limit.code == known.limit.code)
        .map(|open| open.number);
    LimitView {
        limit: &known.limit,
        revision: known.revision,
        seq: known.changed_at,
        since: known.at,
        set_by: &known.set_by,
        agreed_by: known.agreed_by.as_ref(),
        open_proposal: open,
    }
}

fn known<'a>(state: &'a State, code: &LimitCode) -> Result<&'a LimitState, Problem> {
    state.limits.by_code.get(code).ok_or_else(|| Problem::unknown("limit", code))
}

/// Limits in force, by code.
#[utoipa::path(
    get, path = "",
    params(Paging),
    responses((status = 200, description = "A page of limits.", body = Page<LimitView>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<Paging>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<LimitCode> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let rows = beyond(&view.state.limits.by_code, after.as_ref())
                .map(|(code, known)| (code, limit_view(view.state, known)));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// One limit in force.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The limit.", body = LimitView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    limit: At<LimitCode>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office
        .show(&person, past.as_of.as_deref(), &request, |view| {
            let revision = view.state.revision(&Amendable::Limit(limit.0.clone()));
            let known = known(view.state, &limit)?;
            Shown::at_revision(revision, &limit_view(view.state, known))
        })
        .await
}

/// A limit as it holds and as it held before, newest first.
#[utoipa::path(
    get, path = "",
    params(Paging),
    responses((status = 200, description = "A page of revisions.", body = Page<LimitRevision>)),
)]
pub(crate) async fn history(
    person: Permitted<Read>,
    limit: At<LimitCode>,
    page: Query<Paging>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<u32> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let rows = revisions(known(view.state, &limit)?)
                .into_iter()
                .rev()
                .filter(|it| after.is_none_or(|after| it.revision < after))
                .map(|it| (it.revision, it));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// Oldest first.
fn revisions(known: &LimitState) -> Vec<LimitRevision<'_>> {
    let ends = known.earlier.iter().skip(1).map(|next| next.at).chain([known.at]);
    let earlier = known.earlier.iter().zip(ends).zip(1..);
    let mut all: Vec<_> = earlier
        .map(|((held, until), revision)| LimitRevision {
            revision,
            limit: &held.limit,
            seq: held.changed_at,
            since: held.at,
            until: Some(until),
            set_by: &held.set_by,
            agreed_by: held.agreed_by.as_ref(),
        })
        .collect();
    all.push(LimitRevision {
        revision: known.revision,
        limit: &known.limit,
        seq: known.changed_at,
        since: known.at,
        until: None,
        set_by: &known.set_by,
        agreed_by: known.agreed_by.as_ref(),
    });
    all
}
