//! JSON Schemas (2020-12) of what leaves the program, made from the same shapes as the description of the API.

use std::collections::BTreeMap;

use serde::Serialize;
use serde_json::{Map, Value, json};
use utoipa::openapi::{RefOr, Schema};

/// Schemas by name, as they are collected.
pub type Shapes = Vec<(String, RefOr<Schema>)>;

/// The dialect of all of them.
pub const DIALECT: &str = "https://json-schema.org/draft/2020-12/schema";

/// Where the description of the API keeps its schemas, and where a JSON Schema does.
const IN_THE_DESCRIPTION: &str = "#/components/schemas/";
const IN_A_SCHEMA: &str = "#/$defs/";

/// A reference to a definition of the same schema.
pub fn reference(name: &str) -> String {
    format!("{IN_A_SCHEMA}{name}")
}

/// Shapes as the definitions of a JSON Schema.
pub fn definitions(shapes: Shapes) -> BTreeMap<String, Value> {
    shapes.into_iter().map(|(name, shape)| (name, definition(&shape))).collect()
}

/// A shape as a part of a JSON Schema.
pub fn definition(shape: &impl Serialize) -> Value {
    let mut schema = json!(shape);
    tidy(&mut schema);
    as_json_schema(&mut schema);
    schema
}

/// What the derived schemas say clumsily, said well: texts that were broken into lines to fit the source become one line a
/// paragraph, and whole numbers say how great they can be instead of how many bits they have.
pub fn tidy(value: &mut Value) {
    match value {
        Value::Object(fields) => {
            for name in ["summary", "description"] {
                if let Some(Value::String(text)) = fields.get_mut(name) {
                    *text = unbroken(text);
                }
            }
            bounded(fields);
            fields.values_mut().for_each(tidy);
        }
        Value::Array(items) => items.iter_mut().for_each(tidy),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

fn unbroken(text: &str) -> String {
    let paragraphs: Vec<String> =
        text.split("\n\n").map(|paragraph| paragraph.replace('\n', " ")).collect();
    paragraphs.join("\n\n")
}

/// Unsigned numbers of 32 bits are called signed ones of 32 bits that are not below nothing, which forbids the upper half.
fn bounded(schema: &mut Map<String, Value>) {
    let is = |name: &str, value: Value| schema.get(name) == Some(&value);
    if is("format", json!("int32")) && is("minimum", json!(0)) {
        schema.remove("format");
        schema.entry("maximum").or_insert(json!(u32::MAX));
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_of_one_paragraph_are_joined_and_paragraphs_stay() {
        let mut value = json!({ "description": "One\nsentence.\n\nAnother." });
        tidy(&mut value);
        assert_eq!(value["description"], "One sentence.\n\nAnother.");
    }

    #[test]
    fn an_unsigned_number_may_be_as_great_as_it_can_and_a_signed_one_keeps_its_format() {
        let mut value = json!([
            { "type": "integer", "format": "int32", "minimum": 0 },
            { "type": "integer", "format": "int32" },
        ]);
        tidy(&mut value);
        assert_eq!(
            value[0],
            json!({ "type": "integer", "minimum": 0, "maximum": 4_294_967_295_u32 })
        );
        assert_eq!(value[1]["format"], "int32");
    }
}
