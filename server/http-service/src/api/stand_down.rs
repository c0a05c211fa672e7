//! Stops of the whole programme: anyone who takes part calls one, only the safety officer lifts it.

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use programme::codes::PersonHandle;
use programme::commands::{CallStandDown, LiftStandDown, LiftingTerms, StandDownTerms};
use programme::state::StandDown;
use serde::Serialize;

use crate::access::{self, Permitted, Read};
use crate::description::SignedBody;
use crate::desk::{Answer, Outcome, Shown, View, Written};
use crate::given::{Given, Query, Signed};
use crate::office::Office;
use crate::page::{OfMoment, Page, Paging, after};

/// One call of a stand-down.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct StandDownCall<'a> {
    /// Its record, by which it is named when it is lifted.
    pub seq: u64,
    /// Who called it.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Why.
    pub reason: &'a str,
    /// How it was lifted; absent: it is in force.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lifted: Option<Lifted<'a>>,
}

/// How a stand-down was lifted.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct Lifted<'a> {
    /// By which safety officer.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Why it could be.
    pub reasons: &'a str,
}

/// Whether a stand-down is in force, and why.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct StandDownView<'a> {
    /// Whether one is: then nothing is released and nothing runs.
    pub in_force: bool,
    /// Every call in force, oldest first.
    pub calls: Vec<StandDownCall<'a>>,
}

/// One call.
pub(crate) fn call_view(called: &StandDown) -> StandDownCall<'_> {
    StandDownCall {
        seq: called.seq,
        by: &called.by,
        at: called.at,
        reason: &called.reason,
        lifted: called.lifted.as_ref().map(|(by, at, reasons)| Lifted { by, at: *at, reasons }),
    }
}

/// Every call in force.
pub(crate) fn stand_down_view(view: View<'_>) -> StandDownView<'_> {
    let in_force = view.state.stand_downs.iter().filter(|called| called.lifted.is_none());
    let calls: Vec<_> = in_force.map(call_view).collect();
    StandDownView { in_force: !calls.is_empty(), calls }
}

/// Whether a stand-down is in force, and why.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The stand-down.", body = StandDownView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office
        .show(&person, past.as_of.as_deref(), &request, |view| {
            Shown::tagged(&stand_down_view(view))
        })
        .await
}

/// Every call of a stand-down, also those that were lifted, newest first.
#[utoipa::path(
    get, path = "",
    params(Paging),
    responses((status = 200, description = "A page of calls.", body = Page<StandDownCall>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<Paging>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<u64> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let rows = view.state.stand_downs.iter().rev();
            let rows = rows
                .filter(|called| after.is_none_or(|after| called.seq < after))
                .map(|called| (called.seq, call_view(called)));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// Stop the whole programme, with the reason. It works at once and needs no signature.
///
/// Whoever calls one while another is in force is not refused: each reason is read before the stand-down is lifted.
#[utoipa::path(
    post, path = "",
    request_body(content = StandDownTerms, example = json!({ "reason": "Smoke from the rear battery box after run 12." })),
    responses((status = 201, description = "Called.", body = Written<StandDownView>)),
)]
pub(crate) async fn call(
    person: Permitted<access::CallStandDown>,
    given: Given<StandDownTerms>,
    office: Office,
) -> Answer {
    let place = format!("/api/v1/programmes/{}/stand-down", person.programme);
    office
        .act(&person, given.map(|terms| CallStandDown { terms }), |view, _| {
            Ok(Outcome::created(place, Shown::tagged(&stand_down_view(view))?))
        })
        .await
}

/// Lift the stand-down, with reasons, and with the password or PIN again.
///
/// `calls` names the records of all calls in force: one that was called meanwhile, and that nobody has read, is not lifted
/// with the others.
#[utoipa::path(
    post, path = "",
    request_body(
        content = SignedBody<LiftingTerms>,
        example = json!({
            "reasons": "The smoke was from the kettle; the box was opened and looked at.",
            "calls": [412],
            "secret": "271845",
        }),
    ),
    responses((status = 200, description = "Lifted.", body = Written<StandDownView>)),
)]
pub(crate) async fn lift(
    person: Permitted<access::LiftStandDown>,
    signed: Signed<LiftingTerms>,
    office: Office,
) -> Answer {
    office
        .sign(&person, signed.map(|terms| LiftStandDown { terms }), |view, _| {
            Ok(Outcome::changed(Shown::tagged(&stand_down_view(view))?))
        })
        .await
}
