//! Permits, insurance, conditions and other papers that points need.

use actix_web::HttpRequest;
use programme::codes::DocumentCode;
use programme::commands::FileDocument;
use programme::nouns::Document;
use programme::state::Amendable;
use serde::Serialize;

use crate::access::{FileDocuments, Permitted, Read};
use crate::desk::{Answer, Outcome, Shown, View, Written};
use crate::entity_tag::{Amends, Precondition};
use crate::given::{At, Given, Query};
use crate::office::Office;
use crate::page::{OfMoment, Page, Paging, after, beyond};
use crate::problem::Problem;

/// A paper, and whether it is in force at the moment asked for.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = FiledDocument)]
pub struct DocumentView<'a> {
    /// The paper.
    pub document: &'a Document,
    /// Whether it is in hand and in force. It covers its phases only while it is.
    pub in_force: bool,
}

fn document_view<'a>(view: View<'a>, document: &'a Document) -> DocumentView<'a> {
    DocumentView { document, in_force: document.is_in_force(view.now) }
}

fn shown(view: View<'_>, code: &DocumentCode) -> Result<Shown, Problem> {
    let known = view.state.documents.get(code);
    let document = known.ok_or_else(|| Problem::unknown("document", code))?;
    let revision = view.state.revision(&Amendable::Document(code.clone()));
    Shown::at_revision(revision, &document_view(view, document))
}

/// Papers, each with whether it is in force, by code.
#[utoipa::path(
    get, path = "",
    params(Paging),
    responses((status = 200, description = "A page of papers.", body = Page<DocumentView>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<Paging>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<DocumentCode> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let rows = beyond(&view.state.documents, after.as_ref())
                .map(|(code, document)| (code, document_view(view, document)));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// One paper, with whether it is in force.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The paper.", body = DocumentView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    document: At<DocumentCode>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office.show(&person, past.as_of.as_deref(), &request, |view| shown(view, &document)).await
}

/// File a paper, or file it anew: extended, replaced, or with its number once it is in hand.
#[utoipa::path(
    put, path = "",
    request_body(
        content = Document,
        example = json!({
            "code": "D-PERMIT",
            "title": "Permit to fly for test flights",
            "kind": "permit",
            "reference": "permit 118, edition 2 (invented)",
            "valid_from": "2026-04-01T00:00:00Z",
            "valid_until": "2027-04-01T00:00:00Z",
            "covers": ["first-flight", "envelope"],
            "needed_in": ["first-flight", "envelope"],
        }),
    ),
    params(Amends),
    responses(
        (status = 200, description = "Filed anew.", body = Written<DocumentView>),
        (status = 201, description = "Filed.", body = Written<DocumentView>),
    ),
)]
pub(crate) async fn file(
    person: Permitted<FileDocuments>,
    at: At<DocumentCode>,
    precondition: Precondition,
    given: Given<Document>,
    office: Office,
) -> Answer {
    at.names("code", &given.body.code)?;
    let code = at.0;
    let place = format!("/api/v1/programmes/{}/documents/{code}", person.programme);
    let amends = (precondition, Amendable::Document(code.clone()));
    let given = given.map(|document| FileDocument { document, expected: None });
    office
        .amend(&person, amends, given, move |view, _, was_there| {
            Ok(Outcome::put(was_there, place, shown(view, &code)?))
        })
        .await
}
