//! The programme as the one document that a team writes: given back, and taken in all or nothing.

use actix_web::HttpRequest;
use programme::document::{self, ImportDocument, ProgrammeDocument};
use programme::state::State;
use serde::Serialize;

use crate::access::{Permitted, Plan, Read};
use crate::desk::{Answer, Outcome, Shown, View, Written};
use crate::entity_tag::{Precondition, Unchanged};
use crate::given::{File, Given, MediaType, Query};
use crate::office::Office;
use crate::page::OfMoment;
use crate::problem::{FAULT, INVALID, Problem};

/// How many of each the programme has, as its document counts them.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct DocumentCounts {
    /// People who take part.
    pub people: usize,
    /// Items that are fitted.
    pub items: usize,
    /// Channels and derived parameters.
    pub channels: usize,
    /// Limits.
    pub limits: usize,
    /// Checks.
    pub checks: usize,
    /// Hazards.
    pub hazards: usize,
    /// Documents.
    pub documents: usize,
    /// Points in the plan.
    pub points: usize,
}

/// Counts what the programme has.
pub(crate) fn counts(view: View<'_>) -> DocumentCounts {
    let state = view.state;
    DocumentCounts {
        people: state.people.values().filter(|person| !person.roles.is_empty()).count(),
        items: state.configuration.items.len(),
        channels: state.channels.len(),
        limits: state.limits.by_code.len(),
        checks: state.checks.by_code.len(),
        hazards: state.hazards.len(),
        documents: state.documents.len(),
        points: state.ladder.rungs().iter().filter(|rung| rung.dropped.is_none()).count(),
    }
}

/// TOML.
#[derive(Debug)]
pub(crate) struct Toml;

impl MediaType for Toml {
    const KNOWN: &'static [&'static str] = &["application/toml"];

    fn of(essence: &str) -> Option<Self> {
        Self::KNOWN.contains(&essence).then_some(Self)
    }
}

/// The whole programme as its document (TOML). Importing it elsewhere gives the same programme.
///
/// Points taken out of the plan, items taken off and people who have left are not in it, nor is anything that was
/// signed, run or observed: that is in the ledger.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((
        status = 200,
        description = "The document.",
        body = String,
        content_type = "application/toml",
        example = "title = \"Electric glider tug\"\n\n[[items]]\ncode = \"motor\"\ntitle = \"Motor\"\nkind = \"part\"\nversion = \"M2 serial 7\"\n",
    )),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    // What is written out is taken from the state first, so that nobody waits for the writing.
    let document = office
        .look(&person, past.as_of.as_deref(), |view| Ok(ProgrammeDocument::of(view.state)))
        .await?;
    Ok(Shown::file("application/toml", text(&document)?).reply(request.headers()))
}

fn text(document: &ProgrammeDocument) -> Result<String, Problem> {
    document.to_toml().map_err(|error| {
        Problem::new(FAULT, "The document could not be written. Tell whoever runs the server.")
            .because(error)
    })
}

/// Import a document (TOML), all or nothing. What it leaves out stays as it is; the same document again changes nothing.
///
/// Where anything is wrong nothing is recorded, and every fault is told with its line and field, such as
/// `line 12, points[3].title`. Once something was signed or run, each section that would change asks for the
/// permission that it asks for elsewhere: limits then change by proposal and agreement. Send the ETag of the document that
/// you read in `If-Match`, so that what others changed meanwhile is not undone.
#[utoipa::path(
    post, path = "",
    request_body(
        content = String,
        content_type = "application/toml",
        description = "`[aircraft]`, `[policy]` and lists of `[[people]]`, `[[items]]`, `[[channels]]`, `[[limits]]`, `[[checks]]`, `[[hazards]]`, `[[documents]]`, `[[points]]`. At most 8 MiB.",
        example = "[[channels]]\ncode = \"motor_temp\"\ntitle = \"Motor temperature\"\nunit = \"degC\"\n",
    ),
    params(Unchanged),
    responses((status = 200, description = "Imported.", body = Written<DocumentCounts>)),
)]
pub(crate) async fn import(
    person: Permitted<Plan>,
    precondition: Precondition,
    file: File<Toml>,
    office: Office,
) -> Answer {
    let toml = std::str::from_utf8(&file.bytes)
        .map_err(|error| {
            Problem::of_field(
                INVALID,
                "",
                format!(
                    "A document is UTF-8 text; this is none after its first {} bytes.",
                    error.valid_up_to()
                ),
            )
        })?
        .to_owned();
    let given = Given { body: ImportDocument { toml }, asked: file.asked };
    let piece = |state: &State| text(&ProgrammeDocument::of(state));
    office
        .act_on(&person, (precondition, "the document"), piece, given, |view, _| {
            Ok(Outcome::changed(Shown::new(&counts(view))?))
        })
        .await
}

/// The greatest document or spreadsheet that is read, in bytes.
pub(crate) const LARGEST: usize = document::LARGEST_DOCUMENT;
