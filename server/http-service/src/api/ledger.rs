//! The ledger itself: its records as they are kept, its size and root, and proofs that anybody can check.

use actix_web::HttpRequest;
use actix_web::http::StatusCode;
use programme::ledger::NodeHash;
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;
use store::StoredEntry;

use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown, answer};
use crate::given::{At, Query, Seq};
use crate::office::Office;
use crate::page::{self, Page};
use crate::problem::{BAD_QUERY, FAULT, Problem};

/// Size and root of the ledger.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct LedgerHead {
    /// How many records.
    pub size: u64,
    /// The root of the Merkle tree over them (RFC 9162, SHA-256).
    pub root: NodeHash,
}

/// A record as it is kept.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = LedgerRecord)]
pub struct RecordView {
    /// Its number, from 1.
    pub seq: u64,
    /// The hash of its leaf: SHA-256 over a zero byte and the record's RFC 8785 text.
    pub leaf: NodeHash,
    /// The record: programme, seq, at, by, observed_at, kind, version and body. In this reply it stands exactly as it is kept.
    #[schema(value_type = Object)]
    pub entry: Box<RawValue>,
}

/// A proof that a record stands in a ledger of some size.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct InclusionProof {
    /// The record.
    pub seq: u64,
    /// The hash of its leaf; its index in the tree is `seq` less one.
    pub leaf: NodeHash,
    /// The size of the ledger.
    pub size: u64,
    /// The root of that size.
    pub root: NodeHash,
    /// The hashes, from the leaf up, as RFC 9162 section 2.1.3 has them.
    pub proof: Vec<NodeHash>,
}

/// A proof that a longer ledger only grew from a shorter one.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct ConsistencyProof {
    /// The shorter.
    pub first: LedgerHead,
    /// The longer.
    pub second: LedgerHead,
    /// The hashes, as RFC 9162 section 2.1.4 has them.
    pub proof: Vec<NodeHash>,
}

/// Which page of the records.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct RecordPage {
    /// The number of the last record of the page before; absent or 0: the first page.
    #[param(minimum = 0)]
    pub after: Option<u64>,
    /// Records at most.
    #[param(minimum = 1, maximum = 500, default = 100)]
    pub limit: Option<u16>,
}

/// Which record in a ledger of which size.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Included {
    /// The record.
    #[param(minimum = 1)]
    pub seq: u64,
    /// The size of the ledger; absent: as it is now.
    #[param(minimum = 1)]
    pub size: Option<u64>,
}

/// Which two sizes.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Sizes {
    /// The shorter ledger.
    #[param(minimum = 0)]
    pub first: u64,
    /// The longer one; absent: as it is now.
    #[param(minimum = 0)]
    pub second: Option<u64>,
}

/// Size and root of the ledger as it is on disk now.
#[utoipa::path(get, path = "", responses((status = 200, description = "Size and root.", body = LedgerHead)))]
pub(crate) async fn head(person: Permitted<Read>, request: HttpRequest, office: Office) -> Answer {
    let head = office.store.tree(&person.programme);
    let head = head.ok_or_else(|| Problem::unknown("programme", &person.programme))?;
    let head = LedgerHead { size: head.size, root: head.root };
    Ok(Shown::tagged(&head)?.reply(request.headers()))
}

/// Records in order, a page at a time.
#[utoipa::path(
    get, path = "",
    params(RecordPage),
    responses((status = 200, description = "A page of records.", body = Page<RecordView>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<RecordPage>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    // One more than asked for tells whether there is another page.
    let limit = u32::try_from(page::rows(page.limit)? + 1).unwrap_or(u32::MAX);
    let entries = office.store.entries(&person.programme, page.after.unwrap_or(0), limit).await?;
    let rows: Result<Vec<_>, Problem> =
        entries.into_iter().map(|entry| Ok((entry.seq, record(entry)?))).collect();
    answer(StatusCode::OK, &Page::of(rows?.into_iter(), page.limit, &request)?)
}

/// One record.
#[utoipa::path(get, path = "", responses((status = 200, description = "The record.", body = RecordView)))]
pub(crate) async fn read(
    person: Permitted<Read>,
    seq: At<Seq>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let seq = seq.0.0;
    let before = seq.checked_sub(1).ok_or_else(|| Problem::unknown("record", seq))?;
    let found = office.store.entries(&person.programme, before, 1).await?.pop();
    let entry = found.ok_or_else(|| Problem::unknown("record", seq))?;
    Ok(Shown::tagged(&record(entry)?)?.reply(request.headers()))
}

/// A proof that a record stands in the ledger.
#[utoipa::path(
    get, path = "",
    params(Included),
    responses((status = 200, description = "The proof.", body = InclusionProof)),
)]
pub(crate) async fn inclusion(
    person: Permitted<Read>,
    asked: Query<Included>,
    office: Office,
) -> Answer {
    let programme = &person.programme;
    let size = asked.size.or_else(|| Some(office.store.tree(programme)?.size)).unwrap_or(0);
    let proof = office
        .store
        .tree_at(programme, size)
        .zip(office.store.inclusion_proof(programme, asked.seq, size));
    let (head, (leaf, proof)) = proof.ok_or_else(|| {
        Problem::of_field(
            BAD_QUERY,
            "seq",
            format!("There is no record {} in a ledger of {size} records here.", asked.seq),
        )
    })?;
    answer(StatusCode::OK, &InclusionProof { seq: asked.seq, leaf, size, root: head.root, proof })
}

/// A proof that the ledger only grew.
#[utoipa::path(
    get, path = "",
    params(Sizes),
    responses((status = 200, description = "The proof.", body = ConsistencyProof)),
)]
pub(crate) async fn consistency(
    person: Permitted<Read>,
    asked: Query<Sizes>,
    office: Office,
) -> Answer {
    let (programme, store) = (&person.programme, &office.store);
    let second = asked.second.or_else(|| Some(store.tree(programme)?.size)).unwrap_or(0);
    let found = store
        .tree_at(programme, asked.first)
        .zip(store.tree_at(programme, second))
        .zip(store.consistency_proof(programme, asked.first, second));
    let ((first, second), proof) = found.ok_or_else(|| {
        Problem::of_field(
            BAD_QUERY,
            "first",
            format!(
                "There are no ledgers of {} and {second} records here; first is at most second, and second at most the present size.",
                asked.first
            ),
        )
    })?;
    let head = |head: store::Head| LedgerHead { size: head.size, root: head.root };
    answer(StatusCode::OK, &ConsistencyProof { first: head(first), second: head(second), proof })
}

fn record(entry: StoredEntry) -> Result<RecordView, Problem> {
    let StoredEntry { seq, text, leaf } = entry;
    let entry = RawValue::from_string(text).map_err(|error| {
        Problem::new(FAULT, "A record is not JSON. Whoever runs the server runs `rungbook verify`.")
            .because(error)
    })?;
    Ok(RecordView { seq, leaf, entry })
}
