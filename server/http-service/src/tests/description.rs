//! The description of the API, held against the table of routes and the committed files.

use std::collections::BTreeSet;

use super::*;
use crate::routes::table;

fn description() -> Value {
    serde_json::from_str(&crate::openapi()).unwrap()
}

fn operations(description: &Value) -> Vec<(String, String, Value)> {
    let paths = description["paths"].as_object().unwrap();
    paths
        .iter()
        .flat_map(|(path, item)| {
            item.as_object().unwrap().iter().map(move |(method, operation)| {
                (method.to_uppercase(), path.clone(), operation.clone())
            })
        })
        .collect()
}

#[test]
fn the_table_of_routes_and_the_description_name_the_same_operations() {
    let routes: BTreeSet<_> = table()
        .iter()
        .map(|operation| (operation.method.to_string(), operation.path.to_owned()))
        .collect();
    assert_eq!(routes.len(), table().len(), "no route is there twice");
    let described: BTreeSet<_> =
        operations(&description()).into_iter().map(|(method, path, _)| (method, path)).collect();
    assert_eq!(routes, described);
}

#[test]
fn every_operation_has_an_id_of_its_own_a_summary_and_all_its_problems() {
    let description = description();
    let tags: BTreeSet<_> = description["tags"]
        .as_array()
        .unwrap()
        .iter()
        .map(|tag| tag["name"].clone().to_string())
        .collect();
    let mut ids = BTreeSet::new();
    for (method, path, operation) in operations(&description) {
        let at = format!("{method} {path}");
        assert!(ids.insert(operation["operationId"].to_string()), "{at}: the id is taken");
        assert!(
            operation["summary"]
                .as_str()
                .is_some_and(|it| it.ends_with(['.', ':']) || it.len() > 5),
            "{at}"
        );
        assert!(tags.contains(&operation["tags"][0].to_string()), "{at}: {}", operation["tags"]);
        let responses = operation["responses"].as_object().unwrap();
        assert!(responses.keys().any(|status| status.starts_with('2')), "{at}");
        assert!(responses.contains_key("500") && responses.contains_key("400"), "{at}");
        let public = operation["security"].as_array().is_some_and(Vec::is_empty);
        assert_eq!(responses.contains_key("401"), !public || path.contains("/sessions"), "{at}");
        for (status, response) in responses {
            assert!(
                response["description"].is_string() || response["$ref"].is_string(),
                "{at} {status}"
            );
        }
    }
}

/// Reads of a programme in which the past cannot be asked for.
const WITHOUT_A_PAST: &[(&str, &str)] = &[
    ("/ledger", "the ledger is its own past"),
    (
        "/recordings/{recording}/",
        "a recording never changes, and is held against the limits of now",
    ),
    ("/intervals/{interval}/values", "it proposes values for a result that is recorded now"),
    ("/calendar-link", "it is the reader's own, and stands in no ledger"),
    ("/evidence", "it is of what is made to be taken away, which stands in no ledger"),
    ("/events", "it tells of what is recorded from now on"),
    ("/day-plans/{plan}/energy", "a plan never changes, nor what its energy allows"),
    ("/reductions/{reduction}/input", "what was given to a reduction never changes"),
];

#[test]
fn every_read_of_a_programme_can_be_asked_for_as_it_stood_or_is_of_what_never_changes() {
    for (method, path, operation) in operations(&description()) {
        let Some(rest) = path.strip_prefix("/api/v1/programmes/{programme}") else { continue };
        if method != "GET" {
            continue;
        }
        let parameters = operation["parameters"].as_array().cloned().unwrap_or_default();
        let looks_back = parameters.iter().any(|it| it["name"] == "as_of");
        let without = WITHOUT_A_PAST.iter().any(|(of, _)| rest.starts_with(of));
        assert!(looks_back != without, "{path}: as_of {looks_back}, and in the list {without}");
    }
}

#[test]
fn every_reference_in_the_description_leads_somewhere() {
    let description = description();
    let mut waiting = vec![&description];
    while let Some(value) = waiting.pop() {
        match value {
            Value::Object(fields) => {
                if let Some(Value::String(reference)) = fields.get("$ref") {
                    let pointer = reference.trim_start_matches('#');
                    assert!(description.pointer(pointer).is_some(), "{reference}");
                }
                waiting.extend(fields.values());
            }
            Value::Array(items) => waiting.extend(items),
            _ => {}
        }
    }
}

fn committed(name: &str) -> Value {
    let file = format!("{}/../../openapi/{name}", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(file).unwrap()).unwrap()
}

#[test]
fn the_committed_files_are_what_the_program_prints() {
    let same = |printed: String, name: &str| {
        serde_json::from_str::<Value>(&printed).unwrap() == committed(name)
    };
    assert!(
        same(crate::openapi(), "openapi.json"),
        "the description has changed: cargo run -- openapi > openapi/openapi.json"
    );
    assert!(
        same(crate::hours_schema(), "hours.schema.json"),
        "the hours' schema has changed: cargo run -- openapi --schema hours > openapi/hours.schema.json"
    );
}

#[test]
fn no_two_shapes_have_the_same_name() {
    let mut schemas = Vec::new();
    for operation in table() {
        (operation.schemas)(&mut schemas);
    }
    let mut by_name = std::collections::BTreeMap::new();
    for (name, schema) in schemas {
        let schema = json!(schema);
        let known = by_name.entry(name.clone()).or_insert_with(|| schema.clone());
        assert_eq!(*known, schema, "{name} names two shapes");
    }
}

#[test]
fn variants_have_names_and_one_field_that_tells_them_apart() {
    let description = description();
    let schemas = description["components"]["schemas"].as_object().unwrap();
    let mut told_apart = 0;
    for (name, schema) in schemas {
        let Some(variants) = schema["oneOf"].as_array() else { continue };
        assert!(
            variants.iter().all(|variant| variant["properties"].is_null()),
            "{name}: a variant without a name"
        );
        let Some(field) = schema["discriminator"]["propertyName"].as_str() else { continue };
        let mapping = schema["discriminator"]["mapping"].as_object().unwrap();
        assert_eq!(mapping.len(), variants.len(), "{name}");
        for (said, reference) in mapping {
            assert!(variants.iter().any(|variant| variant["$ref"] == *reference), "{name}: {said}");
            let variant =
                description.pointer(reference.as_str().unwrap().trim_start_matches('#')).unwrap();
            // No two shapes have come to the same name: each says what it is, and asks to be told.
            assert_eq!(variant["properties"][field]["enum"], json!([said]), "{name}");
            assert!(variant["required"].as_array().unwrap().contains(&json!(field)), "{name}");
            told_apart += 1;
        }
    }
    assert!(told_apart > 50, "{told_apart}");
    assert_eq!(schemas["ReleaseSignOff"]["properties"]["part"]["enum"], json!(["release"]));
}

#[test]
fn a_file_that_is_sent_or_comes_is_described_as_bytes() {
    let description = description();
    let schema = |pointer: &str| description["paths"].pointer(pointer).unwrap()["schema"].clone();
    let of = |path: &str| path.replace('/', "~1");
    let bytes = json!({ "type": "string", "format": "binary" });
    let sheet = "application~1vnd.openxmlformats-officedocument.spreadsheetml.sheet";
    let table = of("/api/v1/programmes/{programme}/points-table");
    assert_eq!(schema(&format!("/{table}/post/requestBody/content/{sheet}")), bytes);
    let file = of("/api/v1/programmes/{programme}/evidence/{order}/file");
    assert_eq!(schema(&format!("/{file}/get/responses/200/content/application~1zip")), bytes);
    assert_eq!(
        schema(&format!("/{table}/get/responses/200/content/text~1csv")),
        json!({ "type": "string" })
    );
}

#[test]
fn who_may_is_told_in_words_and_in_fields() {
    for (method, path, operation) in operations(&description()) {
        let at = format!("{method} {path}");
        let said = operation["description"].as_str().unwrap_or_default();
        assert!(
            said.contains("For any") || said.contains("For ") || said.contains("Who may"),
            "{at}"
        );
        let permitted = operation["x-permitted"].as_str().unwrap();
        let roles = operation["x-permitted-roles"].as_array();
        let in_programme = path.starts_with("/api/v1/programmes/");
        assert_eq!(permitted == "roles", in_programme, "{at}");
        assert_eq!(roles.is_some_and(|roles| !roles.is_empty()), in_programme, "{at}");
        let public = operation["security"].as_array().is_some_and(Vec::is_empty);
        assert_eq!(permitted == "anyone", public, "{at}");
    }
    let sign =
        &description()["paths"]["/api/v1/programmes/{programme}/points/{point}/sign-offs"]["post"];
    assert_eq!(sign["x-permitted-roles"], json!(["lead", "pilot", "safety", "engineer"]));
    assert_eq!(sign["x-permitted-roles-by-part"]["release"], json!(["safety"]));
}

#[test]
fn every_body_that_can_be_sent_has_an_example() {
    for (method, path, operation) in operations(&description()) {
        let Some(content) = operation["requestBody"]["content"].as_object() else { continue };
        for (kind, body) in content {
            // Nobody reads a spreadsheet written out as text.
            let binary = kind.ends_with("sheet");
            assert_ne!(binary, body.get("example").is_some(), "{method} {path}: {kind}");
        }
    }
}

#[test]
fn the_hours_schema_stands_alone() {
    let schema: Value = serde_json::from_str(&crate::hours_schema()).unwrap();
    assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
    let mut waiting = vec![&schema];
    while let Some(value) = waiting.pop() {
        match value {
            Value::Object(fields) => {
                if let Some(Value::String(reference)) = fields.get("$ref") {
                    let name = reference.strip_prefix("#/$defs/").unwrap();
                    assert!(schema["$defs"][name].is_object(), "{reference}");
                }
                waiting.extend(fields.values());
            }
            Value::Array(items) => waiting.extend(items),
            _ => {}
        }
    }
}
