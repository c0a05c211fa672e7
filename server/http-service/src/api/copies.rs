//! A ledger that goes on from a copy that may be older: who has acknowledged it.

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use programme::codes::PersonHandle;
use programme::commands::{self, CopyTerms, GoneOnFrom};
use programme::ledger::NodeHash;
use programme::nouns::Role;
use programme::state::State;
use serde::Serialize;

use crate::access::{AcknowledgeCopy, Permitted, Read};
use crate::description::SignedBody;
use crate::desk::{Answer, Outcome, Shown, Written};
use crate::given::Signed;
use crate::office::Office;
use crate::problem::Problem;

/// Whether the ledger goes on from a copy, such as a restored backup, that test lead and safety officer have not both
/// acknowledged. Until then nobody signs in it, and no checkpoint of it is signed.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct CopyView {
    /// Whether it does.
    pub waits: bool,
    /// How many records the copy has.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub records: Option<u64>,
    /// The root over them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub root: Option<NodeHash>,
    /// How many records there are known to have been; absent: not known, and there may be more than the copy has.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub known: Option<u64>,
    /// Who has acknowledged it.
    pub acknowledged: Vec<CopyAcknowledged>,
    /// Who has not.
    pub missing: Vec<Role>,
}

/// Somebody has acknowledged it.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = CopyAcknowledgedBy)]
pub struct CopyAcknowledged {
    /// Who.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// As whom.
    pub role: Role,
}

/// How it stands with a copy.
pub(crate) fn copy_view(state: &State, copy: Option<GoneOnFrom>) -> CopyView {
    let Some(copy) = copy else {
        return CopyView {
            waits: false,
            records: None,
            root: None,
            known: None,
            acknowledged: Vec::new(),
            missing: Vec::new(),
        };
    };
    let by: Vec<_> = state.keeping.acknowledgements(copy.records, copy.root).collect();
    let missing: Vec<Role> = [Role::Lead, Role::Safety]
        .into_iter()
        .filter(|role| by.iter().all(|it| it.role != *role))
        .collect();
    let acknowledged = by
        .into_iter()
        .map(|it| CopyAcknowledged { by: it.by.clone(), at: it.at, role: it.role })
        .collect();
    CopyView {
        waits: !missing.is_empty(),
        records: Some(copy.records),
        root: Some(copy.root),
        known: copy.known,
        acknowledged,
        missing,
    }
}

/// Whether the ledger goes on from a copy, and who has acknowledged it.
#[utoipa::path(get, path = "", responses((status = 200, description = "The copy, if there is one.", body = CopyView)))]
pub(crate) async fn read(person: Permitted<Read>, request: HttpRequest, office: Office) -> Answer {
    let copy = office.store.copy_of(&person.programme);
    let view = office.store.read(&person.programme, |state, _| copy_view(state, copy));
    let view = view.ok_or_else(|| Problem::unknown("programme", &person.programme))?;
    Ok(Shown::tagged(&view)?.reply(request.headers()))
}

/// Acknowledge that the ledger goes on from a copy, with what was done to find out what is missing.
///
/// It takes the test lead and the safety officer, with password or PIN. Once both have, people sign again, and so does the
/// server; the records that the copy lacks stay missing unless they are recorded again.
#[utoipa::path(
    post, path = "",
    request_body(
        content = SignedBody<CopyTerms>,
        example = json!({
            "records": 380,
            "account": "The laptop was stolen; the release of TX-03 and two readings were recorded again from the sheets.",
            "secret": "271845",
        }),
    ),
    responses((status = 201, description = "Acknowledged.", body = Written<CopyView>)),
)]
pub(crate) async fn acknowledge(
    person: Permitted<AcknowledgeCopy>,
    signed: Signed<CopyTerms>,
    office: Office,
) -> Answer {
    let copy = office.store.copy_of(&person.programme);
    let place = format!("/api/v1/programmes/{}/ledger/copy", person.programme);
    office
        .sign(
            &person,
            signed.map(|terms| commands::AcknowledgeCopy { copy, terms }),
            move |view, _| {
                Ok(Outcome::created(place, Shown::tagged(&copy_view(view.state, copy))?))
            },
        )
        .await
}
