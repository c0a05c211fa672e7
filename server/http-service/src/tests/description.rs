//! The description of the API, held against the table of routes and the committed file.

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
