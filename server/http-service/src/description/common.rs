//! What many operations have in common: the names in their paths, and their headers.

use std::collections::BTreeMap;

use actix_web::http::Method;
use serde_json::json;
use utoipa::openapi::header::HeaderBuilder;
use utoipa::openapi::path::{Parameter, ParameterBuilder, ParameterIn};
use utoipa::openapi::response::{Response, ResponseBuilder, Responses};
use utoipa::openapi::schema::{ObjectBuilder, Type};
use utoipa::openapi::{RefOr, Required, Schema};

use crate::description::reference;

/// The pattern of all codes.
const CODE: &str = "^[A-Za-z0-9][A-Za-z0-9._-]{0,39}$";

/// The names that paths have in braces: the schema of each, what it names, and one that the demonstration has.
const NAMES: &[(&str, &str, &str, &str)] = &[
    ("programme", "ProgrammeId", "The programme.", "tallow"),
    ("person", "PersonHandle", "The person's handle.", "ines"),
    ("point", "PointCode", "The point's code.", "GR-02"),
    ("item", "ItemCode", "The item's code.", "battery"),
    ("channel", "ChannelCode", "The channel's code.", "cas"),
    ("limit", "LimitCode", "The limit's code.", "L-WINDING"),
    ("check", "CheckCode", "The check's code.", "C-ISO"),
    ("hazard", "HazardCode", "The hazard's code.", "H-FIRE"),
    ("document", "DocumentCode", "The document's code.", "D-PERMIT"),
    ("recorder", "RecorderCode", "The recorder's code.", "bms"),
    (
        "recording",
        "Digest",
        "The recording: SHA-256 of the file as it came.",
        "3b0c6d6a1f5e2b7c9d84e0a1725f3c6b8d9e0f1a2b3c4d5e6f708192a3b49a41",
    ),
    ("run", "RunNumber", "The run's number.", "9"),
    ("snag", "SnagNumber", "The snag's number.", "1"),
    ("exceedance", "ExceedanceNumber", "The exceedance's number.", "1"),
    ("interval", "IntervalNumber", "The interval's number.", "1"),
    ("reduction", "ReductionNumber", "The reduction's number.", "1"),
    ("proposal", "ProposalNumber", "The proposal's number.", "1"),
    ("deviation", "DeviationNumber", "The deviation's number.", "1"),
    ("forecast", "ForecastNumber", "The forecast's number.", "1"),
    ("plan", "DayPlanNumber", "The number of the plan of a day.", "1"),
    ("pair", "Pair", "The pair of axes.", "speed-altitude"),
    ("topic", "TopicName", "The topic's name.", "atmosphere"),
    ("seq", "RecordNumber", "The record's number.", "1"),
    (
        "session",
        "SessionId",
        "The sign-in: its id, as the list of your sign-ins tells it.",
        "0197f2a4-6b1e-7c50-9d2f-3a8e5b1c7d91",
    ),
    (
        "order",
        "OrderId",
        "The order: the id that it was given when it was taken.",
        "0197f2a4-6b1e-7c50-9d2f-3a8e5b1c7d90",
    ),
    (
        "link",
        "Digest",
        "The secret at the end of a private link.",
        "5f1d0a9c7be24d638a41f0e2c93b7d580e6a1f4b2c8d9e7053a6b4c1d2e8f907",
    ),
];

fn code(about: &str) -> RefOr<Schema> {
    ObjectBuilder::new()
        .schema_type(Type::String)
        .pattern(Some(CODE))
        .description(Some(about))
        .into()
}

fn number(about: &str) -> RefOr<Schema> {
    ObjectBuilder::new()
        .schema_type(Type::Integer)
        .minimum(Some(1))
        .maximum(Some(u32::MAX))
        .description(Some(about))
        .into()
}

/// Adds the schemas of names in paths. Those of numbers say besides what can be derived that they begin with 1.
pub(super) fn add_path_schemas(schemas: &mut BTreeMap<String, RefOr<Schema>>) {
    for (_, name, about, _) in NAMES {
        if name.ends_with("Number") {
            schemas.insert((*name).to_owned(), number(about));
        } else {
            schemas.entry((*name).to_owned()).or_insert_with(|| code(about));
        }
    }
}

/// The parameters of a path template. A body that is shown as an example may be about a thing of another name than the usual
/// one; then the path that ends with the name shows that.
pub(super) fn path_parameters(path: &str, shown: Option<&str>) -> Vec<RefOr<Parameter>> {
    let in_braces = path.split('{').skip(1).filter_map(|rest| rest.split('}').next());
    in_braces
        .filter_map(|segment| NAMES.iter().find(|(known, ..)| *known == segment))
        .map(|(segment, schema, about, usual)| {
            let ends = path.ends_with(&format!("{{{segment}}}"));
            let example = shown.filter(|_| ends).unwrap_or(usual);
            let example = if schema.ends_with("Number") {
                json!(example.parse::<u32>().ok())
            } else {
                json!(example)
            };
            RefOr::T(
                ParameterBuilder::new()
                    .name(*segment)
                    .parameter_in(ParameterIn::Path)
                    .required(Required::True)
                    .description(Some(*about))
                    .schema(Some(reference(schema)))
                    .example(Some(example))
                    .build(),
            )
        })
        .collect()
}

/// The header by which a POST can be repeated.
pub(super) fn idempotency_key() -> RefOr<Parameter> {
    let schema = ObjectBuilder::new()
        .schema_type(Type::String)
        .pattern(Some("^[!-~]{1,128}$"))
        .examples([json!("0197f2a4-6b1e-7c50-9d2f-3a8e5b1c7d90")]);
    RefOr::T(
        ParameterBuilder::new()
            .name("Idempotency-Key")
            .parameter_in(ParameterIn::Header)
            .required(Required::False)
            .description(Some(
                "A key of your own for this request. A repeat with the same key within 30 days is answered as the first was, and does nothing again.",
            ))
            .schema(Some(schema))
            .build(),
    )
}

/// The header by which a reader says what they have already.
pub(super) fn if_none_match() -> RefOr<Parameter> {
    let schema =
        ObjectBuilder::new().schema_type(Type::String).examples([json!("\"0123456789abcdef\"")]);
    RefOr::T(
        ParameterBuilder::new()
            .name("If-None-Match")
            .parameter_in(ParameterIn::Header)
            .required(Required::False)
            .description(Some(
                "The ETag of what you have already; if nothing has changed, only that is said.",
            ))
            .schema(Some(schema))
            .build(),
    )
}

/// The reply to a reader who has it already.
pub(super) fn not_modified() -> Response {
    ResponseBuilder::new().description("You have it as it is.").build()
}

/// Names the headers of successful replies.
pub(super) fn name_headers(method: &Method, tagged: bool, responses: &mut Responses) {
    let text = || ObjectBuilder::new().schema_type(Type::String);
    for (status, response) in &mut responses.responses {
        let RefOr::T(response) = response else { continue };
        let mut name = |name: &str, about: &str| {
            let header = HeaderBuilder::new().schema(Some(text())).description(Some(about)).build();
            response.headers.insert(name.to_owned(), RefOr::T(header));
        };
        name("X-Request-Id", "The request's id, as in the server's log.");
        if status == "201" || status == "202" {
            name("Location", "Where the new thing is.");
        }
        if tagged {
            name("ETag", "Which version this is.");
        } else if method != Method::GET && status.starts_with('2') && status != "204" {
            name("ETag", "Which version this is, where it can be amended.");
        }
        if method == Method::POST && status.starts_with('2') {
            name(
                "Idempotency-Replayed",
                "`true` where this request was done before under its key.",
            );
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::routes::table;

    #[test]
    fn every_name_in_a_path_is_described() {
        for operation in table() {
            let names = operation.path.matches('{').count();
            assert_eq!(path_parameters(operation.path, None).len(), names, "{}", operation.path);
        }
    }

    #[test]
    fn the_examples_of_names_are_names_of_the_demonstration() {
        let seed = concat!(env!("CARGO_MANIFEST_DIR"), "/../../seed/programme.toml");
        let seed = std::fs::read_to_string(seed).unwrap();
        for (name, schema, _, example) in NAMES {
            let is_in_the_seed = schema.ends_with("Code") || *name == "person";
            assert!(
                !is_in_the_seed || seed.contains(&format!(" = \"{example}\"\n")),
                "{name}: {example}"
            );
        }
    }
}
