//! What the derived schemas say clumsily, said well.

use serde_json::{Map, Value, json};

/// Texts that were broken into lines to fit the source become one line a paragraph, and whole numbers say how great they
/// can be instead of how many bits they have.
pub(super) fn tidy(value: &mut Value) {
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
