//! The shape of each kind of record, as a JSON Schema of a line of the ledger.

use serde::Serialize;
use serde_json::{Map, Value, json};
use utoipa::{PartialSchema, ToSchema};

use super::Record;
use crate::codes::{PersonHandle, ProgrammeId};
use crate::json_schema::{self, Shapes};

/// The fields of a schema, in the order in which people read them.
#[derive(Serialize)]
struct OfARecord<'a> {
    #[serde(rename = "$schema")]
    dialect: &'a str,
    #[serde(rename = "$id")]
    id: String,
    title: &'a str,
    description: &'a str,
    #[serde(rename = "type")]
    is: &'a str,
    required: &'a [&'a str],
    #[serde(rename = "additionalProperties")]
    more: bool,
    properties: Map<String, Value>,
    #[serde(rename = "$defs")]
    definitions: Value,
}

/// A body with all that it refers to: its name, and the shapes.
pub(super) fn of<T: ToSchema>() -> (String, Shapes) {
    let name = T::name().into_owned();
    let mut shapes: Shapes = vec![(name.clone(), <T as PartialSchema>::schema())];
    T::schemas(&mut shapes);
    (name, shapes)
}

impl Record {
    /// The JSON Schema (2020-12) of a record of a kind as the ledger keeps it, with a line break at its end; none where there
    /// is no such kind or version.
    ///
    /// It tells the shape alone. What a record may say is decided before it is written.
    pub fn json_schema(kind: &str, version: u32) -> Option<String> {
        let (body, shapes) = Self::shapes(kind).filter(|_| version == 1)?;
        let inline = |shape: Value| json_schema::definition(&shape);
        let about =
            "A record of this kind, as the ledger keeps it: one line of canonical JSON (RFC 8785).";
        let properties = [
            ("programme", inline(json!(ProgrammeId::schema()))),
            (
                "seq",
                json!({ "description": "Its number in the ledger, from 1.", "type": "integer", "minimum": 1 }),
            ),
            (
                "at",
                json!({ "description": "When it was recorded, by the server's clock, in UTC.", "type": "string", "format": "date-time" }),
            ),
            ("by", inline(json!(PersonHandle::schema()))),
            (
                "observed_at",
                json!({ "description": "When it was observed, where that differs.", "type": "string", "format": "date-time" }),
            ),
            ("kind", json!({ "const": kind })),
            ("version", json!({ "const": version })),
            ("body", json!({ "$ref": json_schema::reference(&body) })),
        ];
        let schema = OfARecord {
            dialect: json_schema::DIALECT,
            id: format!("{kind}-v{version}.json"),
            title: kind,
            description: about,
            is: "object",
            required: &["programme", "seq", "at", "by", "kind", "version", "body"],
            more: false,
            properties: properties.into_iter().map(|(name, is)| (name.to_owned(), is)).collect(),
            definitions: json!(json_schema::definitions(shapes)),
        };
        let mut text = serde_json::to_string_pretty(&schema).ok()?;
        text.push('\n');
        Some(text)
    }
}
