//! The JSON Schema (2020-12) of the hours export, made from the same schemas as the description of the API.

use std::collections::BTreeMap;

use programme::hours::CompletedHours;
use serde::Serialize;
use serde_json::{Value, json};
use utoipa::{PartialSchema, ToSchema};

use super::tidy;
use crate::routes::Schemas;

/// Where the description of the API keeps its schemas, and where a JSON Schema does.
const IN_THE_DESCRIPTION: &str = "#/components/schemas/";
const IN_A_SCHEMA: &str = "#/$defs/";

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
    let defs = schemas.into_iter().map(|(name, schema)| {
        let mut schema = json!(schema);
        tidy::tidy(&mut schema);
        as_json_schema(&mut schema);
        (name, schema)
    });
    let schema = JsonSchema {
        dialect: "https://json-schema.org/draft/2020-12/schema",
        id: "hours.schema.json",
        title: "Completed hours of a programme",
        description: "What `GET /api/v1/programmes/{programme}/hours` and `rungbook export hours` give: whole minutes, \
                      counts and watt-hours. Every total is exactly the sum of its rows. Later versions may add fields.",
        root: format!("{IN_A_SCHEMA}{}", CompletedHours::name()),
        defs: defs.collect(),
    };
    let mut text = serde_json::to_string_pretty(&schema).unwrap_or_default();
    text.push('\n');
    text
}

/// Leads references to the other definitions, and says `examples` where OpenAPI says `example`.
fn as_json_schema(value: &mut Value) {
    match value {
        Value::Object(fields) => {
            if let Some(Value::String(reference)) = fields.get_mut("$ref") {
                *reference = reference.replace(IN_THE_DESCRIPTION, IN_A_SCHEMA);
            }
            if let Some(example) = fields.remove("example") {
                fields.insert("examples".to_owned(), json!([example]));
            }
            fields.values_mut().for_each(as_json_schema);
        }
        Value::Array(items) => items.iter_mut().for_each(as_json_schema),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}
