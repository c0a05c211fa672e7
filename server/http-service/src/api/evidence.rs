//! Packs and papers: ordered, made in the background, and fetched.

use actix_web::http::StatusCode;
use actix_web::http::header::{
    CONTENT_DISPOSITION, CONTENT_TYPE, ETAG, HeaderMap, LOCATION, RETRY_AFTER,
};
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, Utc};
use programme::codes::{PersonHandle, ProgrammeId};
use programme::ledger::NodeHash;
use programme::record::Digest;
use programme::scope::Scope;
use serde::Serialize;
use store::{ObjectError, Opened, Reply};
use uuid::Uuid;

use super::recordings::{attachment, streamed};
use crate::access::{Permitted, Read};
use crate::desk::{Answer, answer, send};
use crate::entity_tag;
use crate::evidence::{EvidenceKind, EvidenceWanted, Order, Orders, Placed, Stage, check};
use crate::given::{At, Given};
use crate::office::Office;
use crate::problem::{FAULT, Problem};

/// Seconds after which it is worth looking again.
pub(crate) const LOOK_AGAIN_S: u32 = 2;

/// How far an order has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum EvidenceState {
    /// Others are made first.
    Waiting,
    /// It is being made.
    BeingMade,
    /// Its file can be fetched.
    Ready,
    /// It was not made; `why` says why.
    Failed,
}

/// An order of a pack or a paper.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct EvidenceOrder {
    /// Its id.
    pub order: Uuid,
    /// What is made.
    pub what: EvidenceKind,
    /// Of which part of the programme.
    pub scope: Scope,
    /// Whether a pack names the files of recordings by their SHA-256 instead of taking them along.
    pub digests_only: bool,
    /// Who ordered it.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// How far it has come.
    pub state: EvidenceState,
    /// How many orders are made before it, while it waits.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ahead: Option<u64>,
    /// How much of a pack is written, about in bytes read. Absent while its document, or a paper, is set: nobody knows how long
    /// that takes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub done: Option<u64>,
    /// Of how much.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub of: Option<u64>,
    /// The file, once it is ready.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub file: Option<EvidenceFile>,
    /// Why it was not made, and what to do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// A file that was made.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct EvidenceFile {
    /// Where it is fetched.
    pub path: String,
    /// A name for it.
    #[schema(example = "tallow-taxi-pack.zip")]
    pub name: String,
    /// `application/zip` or `application/pdf`.
    #[schema(example = "application/zip")]
    pub media_type: &'static str,
    /// Its size.
    pub bytes: u64,
    /// SHA-256 of it. The same part of the same ledger gives the same file.
    pub sha256: Digest,
    /// How many records the ledger had of which it is made.
    pub records: u64,
    /// The root over them.
    pub root: NodeHash,
    /// Until when it is kept, unless the server starts anew or newer ones take its place.
    pub kept_until: DateTime<Utc>,
}

/// The orders of a programme.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct EvidenceOrders {
    /// The newest first.
    pub items: Vec<EvidenceOrder>,
}

/// How an order stands.
pub(crate) fn view(order: &Order, orders: &Orders) -> EvidenceOrder {
    let (state, mut ahead, mut file, mut why) = (order.stage(), None, None, None);
    let mut progress = None;
    let state = match state {
        Stage::Waiting => {
            ahead = Some(orders.ahead_of(order) as u64);
            EvidenceState::Waiting
        }
        Stage::BeingMade { document } => {
            progress = (!document).then(|| order.progress.done_of());
            EvidenceState::BeingMade
        }
        Stage::Ready(made) => {
            file = Some(EvidenceFile {
                path: format!("{}/file", place(&order.programme, order.id)),
                name: order.file_name(),
                media_type: order.wanted.what.media_type(),
                bytes: made.bytes,
                sha256: made.sha256.clone(),
                records: made.records,
                root: made.root,
                kept_until: Orders::kept_until(&made),
            });
            EvidenceState::Ready
        }
        Stage::Failed(reason) => {
            why = Some(reason);
            EvidenceState::Failed
        }
    };
    EvidenceOrder {
        order: order.id,
        what: order.wanted.what,
        scope: order.wanted.scope.clone(),
        digests_only: order.wanted.digests_only,
        by: order.by.clone(),
        at: order.at,
        state,
        ahead,
        done: progress.map(|(done, _)| done),
        of: progress.map(|(_, of)| of),
        file,
        why,
    }
}

fn place(programme: &ProgrammeId, order: Uuid) -> String {
    format!("/api/v1/programmes/{programme}/evidence/{order}")
}

/// What was ordered of late: everybody of the programme sees and may fetch all of it.
#[utoipa::path(get, path = "", responses((status = 200, description = "The orders.", body = EvidenceOrders)))]
pub(crate) async fn list(person: Permitted<Read>, office: Office) -> Answer {
    let orders = office.evidence.of_programme(&person.programme, office.now());
    let items = orders.iter().map(|order| view(order, &office.evidence)).collect();
    answer(StatusCode::OK, &EvidenceOrders { items })
}

/// Order a pack or a paper. It is made in the background, one at a time; `Location` tells where to look how far it has come.
///
/// A pack is as of the last signed checkpoint, a paper as of the last record. Nothing is recorded. A few orders can wait at a
/// time, and what is made is kept for a day, or until the server starts anew: fetch it, and keep it elsewhere.
#[utoipa::path(
    post, path = "",
    request_body(
        content = EvidenceWanted,
        example = json!({ "what": "pack", "scope": { "of": "point", "point": "GR-02" }, "digests_only": true }),
    ),
    responses((status = 202, description = "It is going to be made.", body = EvidenceOrder)),
)]
pub(crate) async fn order(
    person: Permitted<Read>,
    given: Given<EvidenceWanted>,
    office: Office,
) -> Answer {
    let Given { body: wanted, asked } = given;
    if let Some(reply) = office.replayed(&person, &asked).await? {
        return Ok(reply);
    }
    let looked = office.store.read(&person.programme, |state, _| check(&wanted, state));
    looked.unwrap_or_else(|| Err(Problem::unknown("programme", &person.programme)))?;
    let key = asked.idempotency.clone();
    let Placed { order, again } =
        office.evidence.place(&office, &person.programme, &person.person, wanted, key)?;
    let body = serde_json::to_vec(&view(&order, &office.evidence)).map_err(|error| {
        Problem::new(FAULT, "It was ordered, but the reply could not be written. Read the orders.")
            .because(error)
    })?;
    let location = place(&person.programme, order.id);
    let reply = Reply {
        status: StatusCode::ACCEPTED.as_u16(),
        body,
        headers: vec![(LOCATION.to_string(), location)],
    };
    if let Some(key) = asked.idempotency
        && let Err(error) =
            office.store.remember(&person.person, key, reply.clone(), office.now()).await
    {
        // The order itself knows its key for as long as it is kept; also a server that no longer writes gives evidence.
        tracing::warn!(
            error = &error as &dyn std::error::Error,
            "the reply to an order was not kept"
        );
    }
    Ok(send(reply, again))
}

/// How far an order has come.
#[utoipa::path(get, path = "", responses((status = 200, description = "The order.", body = EvidenceOrder)))]
pub(crate) async fn read(person: Permitted<Read>, order: At<Uuid>, office: Office) -> Answer {
    let order = office.evidence.find(&person.programme, *order, office.now())?;
    let seen = view(&order, &office.evidence);
    let mut reply = answer(StatusCode::OK, &seen)?;
    if matches!(seen.state, EvidenceState::Waiting | EvidenceState::BeingMade) {
        reply.headers_mut().insert(RETRY_AFTER, LOOK_AGAIN_S.into());
    }
    Ok(reply)
}

/// The file that was made: a pack (zip) or a paper (PDF). Its SHA-256 stands in the order.
#[utoipa::path(
    get, path = "",
    responses((
        status = 200,
        description = "The file.",
        content(
            (String = "application/zip"),
            (String = "application/pdf"),
        ),
    )),
)]
pub(crate) async fn file(
    person: Permitted<Read>,
    order: At<Uuid>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    fetch(&person, *order, request.headers(), &office)
}

/// The file of an order as a reply.
pub(crate) fn fetch<P>(
    person: &Permitted<P>,
    order: Uuid,
    headers: &HeaderMap,
    office: &Office,
) -> Answer {
    let order = office.evidence.find(&person.programme, order, office.now())?;
    let (file, made) = office.evidence.open(&order)?;
    let file = Opened::on_disk(file).map_err(ObjectError::from)?;
    let tag = entity_tag::of_digest(&made.sha256);
    if entity_tag::is_known(headers, &tag) {
        return Ok(HttpResponse::NotModified()
            .insert_header((ETAG, entity_tag::to_header(&tag)))
            .finish());
    }
    Ok(HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, order.wanted.what.media_type()))
        .insert_header((CONTENT_DISPOSITION, attachment(&order.file_name())))
        .insert_header((ETAG, entity_tag::to_header(&tag)))
        .body(streamed(file, &made.sha256)))
}
