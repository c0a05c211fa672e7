//! What the derived description says clumsily, said well.

use serde_json::{Value, json};

pub(super) use programme::json_schema::tidy;

/// Replies that wrap a thing refer to it by its name instead of repeating its shape.
pub(super) fn refer(document: &mut Value) {
    let Some(Value::Object(schemas)) = document.pointer_mut("/components/schemas") else { return };
    let named = schemas.clone();
    for (name, schema) in schemas {
        for (wrapper, place) in
            [("Written_", "/properties/now"), ("Page_", "/properties/items/items")]
        {
            let Some(inner) = name.strip_prefix(wrapper) else { continue };
            if let Some(repeated) = schema.pointer_mut(place)
                && named.get(inner) == Some(repeated)
            {
                *repeated = json!({ "$ref": format!("#/components/schemas/{inner}") });
            }
        }
    }
}

/// Gives a name of its own to each variant of a shape whose variants are told apart by one field, and says in the shape which
/// field that is: generated clients then have a type for a release and one for an acknowledgement, and not a first and a
/// second. A variant of which the only field tells what it is gets a name too.
pub(super) fn name_variants(document: &mut Value) {
    let Some(Value::Object(schemas)) = document.pointer_mut("/components/schemas") else { return };
    let mut named = serde_json::Map::new();
    for (name, schema) in schemas.iter_mut() {
        let Some(variants) = schema.get("oneOf").and_then(Value::as_array) else { continue };
        let Some(told_apart) = told_apart(variants) else { continue };
        let reference = |said: &str| format!("#/components/schemas/{}", name_of(said, name));
        let references: Vec<Value> =
            told_apart.said.iter().map(|said| json!({ "$ref": reference(said) })).collect();
        let mapping: serde_json::Map<String, Value> =
            told_apart.said.iter().map(|said| (said.clone(), json!(reference(said)))).collect();
        for (said, variant) in told_apart.said.iter().zip(variants) {
            named.insert(name_of(said, name), variant.clone());
        }
        if let Some(field) = told_apart.by {
            schema["discriminator"] = json!({ "propertyName": field, "mapping": mapping });
        }
        schema["oneOf"] = references.into();
    }
    for (name, variant) in named {
        schemas.entry(name).or_insert(variant);
    }
}

/// How the variants of a shape are told apart.
struct ToldApart {
    /// The field that says which it is; none where it is the name of the only field.
    by: Option<String>,
    /// What it says, in the order of the variants.
    said: Vec<String>,
}

fn told_apart(variants: &[Value]) -> Option<ToldApart> {
    let mut found: Vec<(Option<String>, String)> = Vec::new();
    for variant in variants {
        let fields = variant.get("properties")?.as_object()?;
        let mut constants = fields.iter().filter_map(|(field, schema)| {
            match schema.get("enum")?.as_array()?.as_slice() {
                [Value::String(only)] => Some((Some(field.clone()), only.clone())),
                _ => None,
            }
        });
        found.push(match (constants.next(), constants.next()) {
            (Some(constant), None) => constant,
            _ if fields.len() == 1 => (None, fields.keys().next()?.clone()),
            _ => return None,
        });
    }
    let (by, _) = found.first()?.clone();
    let alike = found.iter().all(|(field, _)| *field == by);
    alike.then(|| ToldApart { by, said: found.into_iter().map(|(_, said)| said).collect() })
}

/// `release` of a `SignOff` is a `ReleaseSignOff`.
fn name_of(said: &str, shape: &str) -> String {
    let mut name: String = said
        .split(['-', '_'])
        .flat_map(|word| {
            let mut letters = word.chars();
            letters.next().map(|first| first.to_ascii_uppercase()).into_iter().chain(letters)
        })
        .collect();
    name.extend(shape.split('_'));
    name
}

/// Bodies that are no JSON are files: what is sent is sent byte for byte, and so is what comes but for what is text.
pub(super) fn files(document: &mut Value) {
    let Some(Value::Object(paths)) = document.get_mut("paths") else { return };
    let operations =
        paths.values_mut().filter_map(Value::as_object_mut).flat_map(|item| item.values_mut());
    for operation in operations {
        if let Some(sent) = operation.pointer_mut("/requestBody/content") {
            as_files(sent, |_| true);
        }
        let replies = operation.get_mut("responses").and_then(Value::as_object_mut);
        for reply in replies.into_iter().flat_map(|replies| replies.values_mut()) {
            if let Some(came) = reply.get_mut("content") {
                as_files(came, |kind| !is_text(kind));
            }
        }
    }
}

fn as_files(content: &mut Value, which: impl Fn(&str) -> bool) {
    let Some(content) = content.as_object_mut() else { return };
    for (kind, body) in content {
        if !kind.ends_with("json") && which(kind) {
            body["schema"] = json!({ "type": "string", "format": "binary" });
        }
    }
}

fn is_text(kind: &str) -> bool {
    kind.starts_with("text/") || matches!(kind, "image/svg+xml" | "application/toml")
}
