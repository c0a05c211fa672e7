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
