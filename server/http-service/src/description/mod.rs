//! The description of the API (OpenAPI 3.1), made from the table of routes and what the handlers say of themselves.

mod common;
mod hours;
mod problem_examples;
mod problems;
mod signed;
mod tidy;
mod who;

use std::collections::BTreeMap;

use actix_web::http::Method;
use serde::Serialize;
use serde_json::{Value, json};
use utoipa::openapi::path::{HttpMethod, Operation as Note, Parameter};
use utoipa::openapi::security::{HttpAuthScheme, HttpBuilder, SecurityRequirement, SecurityScheme};
use utoipa::openapi::tag::TagBuilder;
use utoipa::openapi::{
    Components, Content, InfoBuilder, LicenseBuilder, OpenApiBuilder, PathItem, Paths, Ref, RefOr,
    Schema,
};
use utoipa::{PartialSchema, ToSchema};

use crate::access::Who;
use crate::problem::ProblemDocument;
use crate::routes::{Operation, Schemas, table};

pub use hours::hours_schema;
pub(crate) use signed::SignedBody;

/// The name of the security scheme.
const BEARER: &str = "bearer";

const ABOUT: &str = "\
Rungbook carries one experimental aircraft from its first ground run to its full flight envelope, one released step at a time.

It advises. It clears nobody to fly: the authority's permit and conditions, local rules, the pilot in command and licensed \
inspectors come first. It never says that anything is safe; it says that all stated conditions are met, or what holds a point.

Sign in with `POST /api/v1/sessions` and send the access token as `Authorization: Bearer …`. Each error is an RFC 9457 problem \
with a stable `code`. Each POST honours an `Idempotency-Key`. What people name themselves is written with PUT at its name: where \
nothing stands there it is created (`If-None-Match: *` makes sure of that), and where something does, `If-Match` with the ETag \
of what was read is asked for (428 without it, 412 where it has changed since). What the programme numbers, and every act, is \
a POST. Figures carry their unit in their name or beside them. Unknown \
fields are refused. Replies of success mean that the records are on disk.";

/// Readings whose replies have no ETag: they change from one moment to the next, or nobody reads them twice.
const UNTAGGED: &[&str] = &[
    "health::live",
    "health::ready",
    "clock::read",
    "sessions::list",
    "sessions::current",
    "account::read",
    "accounts::list",
    "programmes::list",
    "next::read",
    "next_steps::read",
    "events::listen",
    "evidence::list",
    "evidence::read",
    "ledger::list",
    "ledger::inclusion",
    "ledger::consistency",
];

/// Groups of operations, in reading order, by the handlers' modules.
const GROUPS: &[(&str, &str)] = &[
    ("health", "Whether the program lives and can do its work."),
    ("description", "The description of this API."),
    ("sessions", "Signing in, staying signed in, signing out."),
    ("account", "Your own account."),
    ("accounts", "Accounts of the server, for administrators."),
    ("compute", "The flight-test science without a programme around it."),
    ("rules", "The reference of all rules that can hold a point."),
    ("calendars", "The dates of a programme, for people's own calendars."),
    ("programmes", "Programmes in which you take part, and new ones."),
    ("document", "The programme as the one document that a team writes."),
    ("aircraft", "The aircraft under test."),
    ("policy", "What the programme has decided for itself: risk matrix, build-up, totals, ages."),
    ("people", "People of the programme: roles and qualifications."),
    ("configuration", "What is fitted to the aircraft, and how that changed."),
    ("channels", "Channels that recorders give, and parameters worked out from them."),
    ("limits", "Limits as they hold, and as they held."),
    ("limit_proposals", "Proposals to set or change a limit, which take two people."),
    ("recorders", "Recorders: the files that they write, and which column is which channel."),
    ("recorder_files", "Help with the mapping of files that nobody has mapped yet."),
    ("recordings", "Recorder files that were taken in: what was found in them, plots and data."),
    ("intervals", "Intervals of recordings, taken for points, and the values that they give."),
    ("reductions", "What was worked out of intervals, with what it rests on."),
    ("checks", "Recurring inspections, when they were done and become due."),
    ("happenings", "Happenings that end the validity of checks."),
    ("hazards", "Hazards, their risk, and who has accepted what is left."),
    ("documents", "Permits, insurance, conditions and other papers that points need."),
    ("points_table", "The points as a spreadsheet has them."),
    ("snags", "Defects and anomalies that were found, the work on them, and their closing."),
    ("weather", "The weather as people at the field saw or read it."),
    ("stand_down", "Stops of the whole programme."),
    ("points", "Test points as steps of the ladder: plans, where they stand, and every hold."),
    ("next", "What can be done next, and what would open if a hold cleared."),
    ("sign_offs", "Approval, release, acknowledgement and acceptance; refusing and taking back."),
    ("runs", "Runs: opened against released points, noted moment by moment, closed, corrected."),
    ("results", "What runs showed, with the verdict on each criterion, condition and limit."),
    ("exceedances", "Values beyond their limits: noted, explained, closed."),
    ("hours", "Completed hours, and what is still to go."),
    (
        "envelope",
        "What accepted results have shown, with what shows it, inside the design boundary.",
    ),
    ("next_steps", "What may or could be done next, what is worth looking at first first."),
    (
        "predictions",
        "What earlier runs let expect of a point, what came of earlier predictions, and who judges both.",
    ),
    ("changes", "What a change would undo, before it is recorded."),
    ("progress", "How the programme gets on, and where the days went."),
    ("forecast_assumptions", "What forecasts rest on, as the test lead assumes it."),
    ("forecasts", "When the aircraft may fly first and the programme may end, as distributions."),
    ("heating", "Parts that runs heat, as fits of the programme's recordings have them."),
    ("day_plans", "Plans of test days: proposals, with charge and temperatures along the day."),
    ("day_energy", "How many runs the energy of a planned day allows, and from which source."),
    ("deviations", "Deviations from the build-up, which take two people."),
    ("events", "That the ledger has grown, told while it happens."),
    ("ledger", "The records as they are kept, and proofs that none was altered."),
    (
        "checkpoints",
        "Size and root of the ledger, signed, to be kept elsewhere; and the keys to check them with.",
    ),
    (
        "evidence",
        "Packs and papers that are made in the background, to be taken away and checked elsewhere. No record is made of it.",
    ),
    ("copies", "A ledger that goes on from a copy that may be older, and who knows of it."),
    ("clock", "The server's clock, by which releases and checks run out."),
    ("differences", "What changed between two moments, in words."),
];

/// The description, its parts in the order in which people read them.
#[derive(Serialize)]
struct Document {
    openapi: Value,
    info: Value,
    tags: Value,
    paths: Value,
    components: Value,
}

/// The description as JSON text, ending with a line break.
pub fn openapi() -> String {
    let mut document = json!(document());
    tidy::refer(&mut document);
    tidy::tidy(&mut document);
    tidy::name_variants(&mut document);
    tidy::files(&mut document);
    let mut part = |name: &str| document.get_mut(name).map(Value::take).unwrap_or_default();
    let document = Document {
        openapi: part("openapi"),
        info: part("info"),
        tags: part("tags"),
        paths: part("paths"),
        components: part("components"),
    };
    let mut text = serde_json::to_string_pretty(&document).unwrap_or_default();
    text.push('\n');
    text
}

fn document() -> utoipa::openapi::OpenApi {
    let operations = table();
    let mut schemas: Schemas = Vec::new();
    let mut paths: BTreeMap<&str, Vec<(HttpMethod, Note)>> = BTreeMap::new();
    for operation in operations {
        (operation.schemas)(&mut schemas);
        let (path, method) = (operation.path, to_method(&operation.method));
        paths.entry(path).or_default().push((method, noted(operation)));
    }
    schemas.push((ProblemDocument::name().into_owned(), ProblemDocument::schema()));
    ProblemDocument::schemas(&mut schemas);

    let mut described = Paths::new();
    for (path, notes) in paths {
        let mut item = PathItem::default();
        for (method, note) in notes {
            let place = match method {
                HttpMethod::Post => &mut item.post,
                HttpMethod::Put => &mut item.put,
                HttpMethod::Delete => &mut item.delete,
                _ => &mut item.get,
            };
            *place = Some(note);
        }
        described.paths.insert(path.to_owned(), item);
    }

    let mut components = Components::new();
    components.schemas = schemas.into_iter().collect();
    common::add_path_schemas(&mut components.schemas);
    components.responses = problems::responses();
    components.security_schemes.insert(
        BEARER.to_owned(),
        RefOr::T(SecurityScheme::Http(
            HttpBuilder::new()
                .scheme(HttpAuthScheme::Bearer)
                .bearer_format("JWT")
                .description(Some("The access token of a session."))
                .build(),
        )),
    );
    let tags = GROUPS
        .iter()
        .map(|(name, about)| TagBuilder::new().name(*name).description(Some(*about)).build());
    OpenApiBuilder::new()
        .info(
            InfoBuilder::new()
                .title("Rungbook")
                .version(env!("CARGO_PKG_VERSION"))
                .description(Some(ABOUT))
                .license(Some(LicenseBuilder::new().name("MIT").identifier(Some("MIT")).build()))
                .build(),
        )
        .paths(described)
        .components(Some(components))
        .tags(Some(tags.collect::<Vec<_>>()))
        .build()
}

fn to_method(method: &Method) -> HttpMethod {
    match *method {
        Method::POST => HttpMethod::Post,
        Method::PUT => HttpMethod::Put,
        Method::DELETE => HttpMethod::Delete,
        _ => HttpMethod::Get,
    }
}

/// A handler's note with all that follows from its line in the table.
fn noted(operation: Operation) -> Note {
    let Operation { method, path, name, who, mut note, .. } = operation;
    let (module, _) = name.split_once("::").unwrap_or((name, ""));
    note.tags = Some(vec![module.to_owned()]);
    note.operation_id = Some(name.replace("::", "_"));
    note.security = Some(match who {
        Who::Anyone => Vec::new(),
        _ => vec![SecurityRequirement::new(BEARER, Vec::<String>::new())],
    });
    who::tell(&mut note, module, who);
    let mut parameters = common::path_parameters(path, name_in_example(&note).as_deref());
    parameters.extend(note.parameters.take().into_iter().flatten());
    let has = |name: &str| parameters.iter().any(|it| parameter_name(it) == Some(name));
    let character = problems::Character {
        method: &method,
        path,
        who,
        has_body: note.request_body.is_some(),
        signs: asks_for_a_secret(path, &note),
        amends: has("If-Match"),
        version_asked: has("If-Match") && has("If-None-Match"),
        looks_back: has("as_of") || path.ends_with("/differences"),
    };
    let tagged = method == Method::GET && !UNTAGGED.contains(&name);
    if method == Method::POST {
        parameters.push(common::idempotency_key());
    }
    if tagged {
        parameters.push(common::if_none_match());
        note.responses.responses.insert("304".to_owned(), RefOr::T(common::not_modified()));
    }
    note.parameters = (!parameters.is_empty()).then_some(parameters);
    for (status, problem) in character.problems() {
        note.responses
            .responses
            .entry(status)
            .or_insert_with(|| RefOr::Ref(Ref::new(format!("#/components/responses/{problem}"))));
    }
    common::name_headers(&method, tagged, &mut note.responses);
    note
}

/// The name of the thing that the example of the body is about.
fn name_in_example(note: &Note) -> Option<String> {
    let Some(RefOr::T(body)) = &note.request_body else { return None };
    let example = body.content.values().find_map(|content| match content {
        RefOr::T(content) => content.example.as_ref(),
        RefOr::Ref(_) => None,
    })?;
    let name = example.get("code").or_else(|| example.get("handle"))?;
    name.as_str().map(str::to_owned)
}

/// Whether somebody gives their password or PIN again.
fn asks_for_a_secret(path: &str, note: &Note) -> bool {
    let signed = note.request_body.iter().flat_map(|body| match body {
        RefOr::T(body) => body.content.values().collect(),
        RefOr::Ref(_) => Vec::new(),
    });
    let mut names = signed.filter_map(|content| match content {
        RefOr::T(Content { schema: Some(RefOr::Ref(schema)), .. }) => Some(&schema.ref_location),
        RefOr::T(_) | RefOr::Ref(_) => None,
    });
    (path.starts_with("/api/v1/account/") && note.request_body.is_some())
        || names.any(|name| name.starts_with("#/components/schemas/Signed_"))
}

fn parameter_name(parameter: &RefOr<Parameter>) -> Option<&str> {
    match parameter {
        RefOr::T(parameter) => Some(&parameter.name),
        RefOr::Ref(_) => None,
    }
}

/// A schema by its name.
fn reference(name: &str) -> RefOr<Schema> {
    RefOr::Ref(Ref::from_schema_name(name))
}
