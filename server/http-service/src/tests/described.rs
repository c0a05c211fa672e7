//! Holds every reply of every story against the description of the API.

use std::collections::HashMap;
use std::sync::{Arc, LazyLock, Mutex};

use actix_web::http::{Method, StatusCode};
use jsonschema::Validator;
use serde_json::{Value, json};

static DESCRIPTION: LazyLock<Value> =
    LazyLock::new(|| serde_json::from_str(&crate::openapi()).unwrap());

/// Validators by pointer to the schema, since making one takes long.
static VALIDATORS: LazyLock<Mutex<HashMap<String, Arc<Validator>>>> = LazyLock::new(Mutex::default);

/// Panics where the description does not know the reply of an operation, or knows another shape of it. Paths and methods
/// that it does not know are let pass.
pub(super) fn hold_against(
    method: &Method,
    path: &str,
    status: StatusCode,
    media_type: &str,
    body: &[u8],
) {
    let Some(template) = template_of(path) else { return };
    let operation = &DESCRIPTION["paths"][template][method.as_str().to_lowercase()];
    if operation.is_null() || status == StatusCode::NOT_MODIFIED {
        return;
    }
    let at = format!("{method} {path}: {status}");
    let mut pointer = format!(
        "/paths/{}/{}/responses/{}",
        escaped(template),
        method.as_str().to_lowercase(),
        status.as_u16()
    );
    let response = DESCRIPTION.pointer(&pointer);
    let response = response.unwrap_or_else(|| panic!("{at} is not described"));
    if let Some(reference) = response["$ref"].as_str() {
        pointer = reference.trim_start_matches('#').to_owned();
    }
    let pointer = format!("{pointer}/content/{}/schema", escaped(media_type));
    if DESCRIPTION.pointer(&pointer).is_none() {
        assert!(body.is_empty(), "{at}: a body of {media_type} is not described");
        return;
    }
    if !media_type.ends_with("json") {
        return;
    }
    let reply: Value = serde_json::from_slice(body).unwrap();
    if let Err(error) = validator(&pointer).validate(&reply) {
        panic!("{at}: {} at {}", error, error.instance_path());
    }
}

fn escaped(part: &str) -> String {
    part.replace('~', "~0").replace('/', "~1")
}

fn template_of(path: &str) -> Option<&'static str> {
    let path = path.split('?').next().unwrap_or_default();
    let paths = DESCRIPTION["paths"].as_object().unwrap();
    let fits = |template: &str| {
        let (of_path, of_template) = (path.split('/'), template.split('/'));
        of_path.clone().count() == of_template.clone().count()
            && of_path.zip(of_template).all(|(a, b)| a == b || b.starts_with('{'))
    };
    // What is written out comes before what stands in braces.
    paths
        .keys()
        .map(String::as_str)
        .filter(|template| fits(template))
        .min_by_key(|template| template.matches('{').count())
}

fn validator(pointer: &str) -> Arc<Validator> {
    let mut known = VALIDATORS.lock().unwrap();
    let made = known.entry(pointer.to_owned()).or_insert_with(|| {
        let schema = json!({
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "allOf": [DESCRIPTION.pointer(pointer)],
            "components": { "schemas": DESCRIPTION["components"]["schemas"] },
        });
        Arc::new(jsonschema::validator_for(&schema).unwrap())
    });
    Arc::clone(made)
}
