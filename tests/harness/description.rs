//! The description of the API, as the program gives it: every operation, and which of them a request was.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;

use super::Client;

/// One operation.
#[derive(Debug)]
pub struct Operation {
    /// Its id.
    pub id: String,
    /// Its method.
    pub method: String,
    /// Its path, with names in braces.
    pub path: String,
    /// What is said of it.
    pub about: String,
    /// Whether it asks for a token.
    pub needs_token: bool,
    /// Whether it reads a body.
    pub reads_body: bool,
    /// The example of its JSON body.
    pub example: Option<Value>,
    /// What can be asked for in the query string.
    pub queries: BTreeSet<String>,
    /// Whether it changes one version of something that is there, named in If-Match.
    pub amends: bool,
    /// Every status that it can answer with.
    pub statuses: BTreeSet<u16>,
}

/// Every operation, by id.
#[derive(Debug)]
pub struct Description(BTreeMap<String, Operation>);

impl Description {
    /// Asks the program for it.
    pub fn read(anyone: &Client) -> Self {
        let document = anyone.get("/api/v1/openapi.json").has_status(200).json();
        let mut operations = BTreeMap::new();
        for (path, item) in document["paths"].as_object().into_iter().flatten() {
            for method in ["get", "post", "put", "delete"] {
                if let Some(described) = item.get(method) {
                    let operation = operation(method, path, described);
                    let again = operations.insert(operation.id.clone(), operation);
                    assert!(again.is_none(), "{method} {path}: its operationId is used twice");
                }
            }
        }
        assert!(operations.len() > 100, "only {} operations are described", operations.len());
        Self(operations)
    }

    /// Every operation.
    pub fn operations(&self) -> impl Iterator<Item = &Operation> {
        self.0.values()
    }

    /// The operation that a method and path are of. Where several fit, it is the one with the fewest names in braces.
    pub fn find(&self, method: &str, path: &str) -> Option<&Operation> {
        let path = path.split('?').next().unwrap_or(path);
        self.operations()
            .filter(|operation| operation.method == method && fits(&operation.path, path))
            .min_by_key(|operation| operation.path.matches('{').count())
    }
}

fn operation(method: &str, path: &str, described: &Value) -> Operation {
    let text = |field: &str| described[field].as_str().unwrap_or_default().to_owned();
    let statuses = described["responses"].as_object().into_iter().flatten();
    let parameters = described["parameters"].as_array().map(Vec::as_slice).unwrap_or_default();
    let named = |place: &'static str| {
        let of_place = parameters.iter().filter(move |parameter| parameter["in"] == place);
        of_place.filter_map(|parameter| Some(parameter["name"].as_str()?.to_owned()))
    };
    let json = &described["requestBody"]["content"]["application/json"];
    Operation {
        id: text("operationId"),
        method: method.to_uppercase(),
        path: path.to_owned(),
        about: text("description"),
        needs_token: described["security"].as_array().is_some_and(|schemes| !schemes.is_empty()),
        reads_body: described["requestBody"].is_object(),
        example: json.get("example").cloned(),
        queries: named("query").collect(),
        amends: named("header").any(|name| name == "If-Match"),
        statuses: statuses.map(|(status, _)| status.parse().expect("a status")).collect(),
    }
}

fn fits(template: &str, path: &str) -> bool {
    let (mut wanted, mut given) = (template.split('/'), path.split('/'));
    loop {
        match (wanted.next(), given.next()) {
            (None, None) => return true,
            (Some(part), Some(name)) if part == name => {}
            (Some(part), Some(name)) if part.starts_with('{') && !name.is_empty() => {}
            _ => return false,
        }
    }
}
