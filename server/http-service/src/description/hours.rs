//! The JSON Schema (2020-12) of the hours export, made from the same schemas as the description of the API.

use std::collections::BTreeMap;

use programme::hours::CompletedHours;
use programme::json_schema;
use serde::Serialize;
use serde_json::Value;
use utoipa::{PartialSchema, ToSchema};

use crate::routes::Schemas;

/// A JSON Schema; the fields in the order in which people read them.
#[derive(Serialize)]
struct JsonSchema {
    #[serde(rename = "$schema")]
    dialect: &'static str,
    #[serde(rename = "$id")]
    id: &'static str,
    title: &'static str,
    description: &'static str,
    #[serde(rename = "$ref")]
    root: String,
    #[serde(rename = "$defs")]
    defs: BTreeMap<String, Value>,
}

/// The JSON Schema (2020-12) of the hours export, ending with a line break.
pub fn hours_schema() -> String {
    let mut schemas: Schemas =
        vec![(CompletedHours::name().into_owned(), CompletedHours::schema())];
    CompletedHours::schemas(&mut schemas);
    let schema = JsonSchema {
        dialect: json_schema::DIALECT,
        id: "hours.schema.json",
        title: "Completed hours of a programme",
        description: "What `GET /api/v1/programmes/{programme}/hours` and `rungbook export hours` give: whole minutes, \
                      counts and watt-hours. Every total is exactly the sum of its rows. Later versions may add fields.",
        root: json_schema::reference(&CompletedHours::name()),
        defs: json_schema::definitions(schemas),
    };
    let mut text = serde_json::to_string_pretty(&schema).unwrap_or_default();
    text.push('\n');
    text
}
