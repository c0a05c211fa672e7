//! From the fields of a form to the JSON body that the API reads.

use chrono::{DateTime, NaiveDateTime};
use programme::refusal::Fault;
use serde_json::{Map, Value, json};

/// Fields that are about the form itself begin so.
pub(super) const OWN: &str = "form.";
/// The field of the password or PIN.
pub(in crate::pages) const SECRET: &str = "secret";
/// The other fields of passwords and PINs.
pub(in crate::pages) const PASSWORD: &str = "password";
pub(in crate::pages) const NEW_PASSWORD: &str = "new_password";
pub(in crate::pages) const PIN: &str = "pin";
/// A list has no more places in a form.
const MOST: usize = 1000;

/// How a field is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Reading<'a> {
    Text,
    Number,
    /// Of a hundred; the API has it of one.
    Percent,
    Count,
    Moment,
    /// A number in a unit, which go together.
    Measure(&'a str),
    /// One of the choices that the page gave, in JSON.
    Chosen,
    /// A list that may stay empty.
    List,
    /// A thing of which nothing may be given.
    Object,
}

/// Makes the body of the fields, or tells every field that cannot be read.
///
/// A name is a place and how it is read: `charge_percent:number`. A `?` behind leaves the field out where it is empty. `[]`
/// is the next place of a list.
pub(super) fn body(fields: &[(String, String)]) -> Result<Value, Vec<Fault>> {
    let mut body = Value::Object(Map::new());
    let mut faults = Vec::new();
    for (name, text) in fields {
        if name.starts_with(OWN) || name == SECRET {
            continue;
        }
        let (place, reading, may_lack) = parsed(name);
        let text = text.trim();
        if may_lack && text.is_empty() {
            continue;
        }
        let put = value(reading, text).and_then(|value| {
            put(&mut body, place, value).ok_or_else(|| "is at a place that no form has".to_owned())
        });
        if let Err(why) = put {
            faults.push(Fault::at(place, why));
        }
    }
    if faults.is_empty() { Ok(body) } else { Err(faults) }
}

/// Whether nobody is shown again what was typed there.
pub(super) fn is_secret(name: &str) -> bool {
    [SECRET, PASSWORD, NEW_PASSWORD, PIN].contains(&name)
}

/// The place in the body that a field is called by.
pub(super) fn place(name: &str) -> &str {
    parsed(name).0
}

fn parsed(name: &str) -> (&str, Reading<'_>, bool) {
    let (name, may_lack) = name.strip_suffix('?').map_or((name, false), |name| (name, true));
    let (place, reading) = match name.rsplit_once(':') {
        Some((place, "number")) => (place, Reading::Number),
        Some((place, "percent")) => (place, Reading::Percent),
        Some((place, "count")) => (place, Reading::Count),
        Some((place, "moment")) => (place, Reading::Moment),
        Some((place, "chosen")) => (place, Reading::Chosen),
        Some((place, "list")) => (place, Reading::List),
        Some((place, "object")) => (place, Reading::Object),
        Some((place, other)) if other.starts_with("measure ") => {
            (place, Reading::Measure(other.trim_start_matches("measure ")))
        }
        _ => (name, Reading::Text),
    };
    (place, reading, may_lack)
}

fn value(reading: Reading<'_>, text: &str) -> Result<Value, String> {
    match reading {
        Reading::Text => Ok(Value::from(text)),
        Reading::Number => number(text).map(Value::from),
        Reading::Percent => Ok(Value::from(number(text)? / 100.0)),
        Reading::Measure(unit) => Ok(json!({ "value": number(text)?, "unit": unit })),
        Reading::Count => text
            .parse::<u64>()
            .map(Value::from)
            .map_err(|_| format!("\"{text}\" is not a whole number such as 3")),
        Reading::Chosen => serde_json::from_str(text)
            .map_err(|_| "is none of the choices that the page gives".to_owned()),
        Reading::List => Ok(Value::Array(Vec::new())),
        Reading::Object => Ok(Value::Object(Map::new())),
        Reading::Moment => moment(text).ok_or_else(|| {
            format!("\"{text}\" is not a time: write it as 2026-05-02T14:30, in UTC")
        }),
    }
}

fn number(text: &str) -> Result<f64, String> {
    let figure = text.parse::<f64>().ok().filter(|figure| figure.is_finite());
    figure.ok_or_else(|| {
        if text.is_empty() {
            "is empty: give a number".to_owned()
        } else {
            format!("\"{text}\" is not a number: write it with a point, such as 12.5")
        }
    })
}

/// A time in UTC as browsers send it, with or without seconds, or as RFC 3339 has it.
fn moment(text: &str) -> Option<Value> {
    if DateTime::parse_from_rfc3339(text).is_ok() {
        return Some(Value::from(text));
    }
    let text = text.replacen(' ', "T", 1);
    let read = ["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%dT%H:%M:%S%.f"]
        .iter()
        .find_map(|form| NaiveDateTime::parse_from_str(&text, form).ok())?;
    Some(Value::from(read.and_utc().to_rfc3339_opts(chrono::SecondsFormat::Secs, true)))
}

/// Puts a value at a place such as `values[0].value`; nothing where the place cannot be.
fn put(body: &mut Value, place: &str, value: Value) -> Option<()> {
    let mut at = body;
    for part in place.split('.') {
        let (key, indices) = part.split_once('[').map_or((part, None), |(key, it)| (key, Some(it)));
        let object = if at.is_null() {
            *at = Value::Object(Map::new());
            at.as_object_mut()?
        } else {
            at.as_object_mut()?
        };
        at = object.entry(key).or_insert(Value::Null);
        let Some(index) = indices else { continue };
        let index = index.strip_suffix(']')?;
        if at.is_null() {
            *at = Value::Array(Vec::new());
        }
        let list = at.as_array_mut()?;
        let index = if index.is_empty() { list.len() } else { index.parse().ok()? };
        if index >= MOST {
            return None;
        }
        while list.len() <= index {
            list.push(Value::Null);
        }
        at = list.get_mut(index)?;
    }
    if !at.is_null() {
        return None;
    }
    *at = value;
    Some(())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn fields(given: &[(&str, &str)]) -> Vec<(String, String)> {
        given.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect()
    }

    #[test]
    fn fields_stand_in_the_body_where_their_names_say_and_as_they_are_read() {
        let given = fields(&[
            ("form.token", "x"),
            ("secret", "271845"),
            ("moment", "before"),
            ("charge_percent:number", "92.5"),
            ("state:percent", "57"),
            ("energy_counter_kwh:number?", ""),
            ("observed_at:moment", "2026-05-02T14:30"),
            ("points:list", ""),
            ("points[]", "A"),
            ("points[]", "B"),
            ("crew:list", ""),
            ("crew[]:chosen?", ""),
            ("crew[]:chosen?", r#"{"person": "jonas", "on_board": true}"#),
            ("limits:list", ""),
            ("weather:object", ""),
            ("reached.speed:measure km/h?", "52"),
            ("reached.power:measure kW?", ""),
            ("run:count", "12"),
        ]);
        let expected = json!({
            "moment": "before",
            "charge_percent": 92.5,
            "state": 0.57,
            "observed_at": "2026-05-02T14:30:00Z",
            "points": ["A", "B"],
            "crew": [{ "person": "jonas", "on_board": true }],
            "limits": [],
            "weather": {},
            "reached": { "speed": { "value": 52.0, "unit": "km/h" } },
            "run": 12,
        });
        assert_eq!(body(&given).unwrap(), expected);
    }

    #[test]
    fn every_field_that_cannot_be_read_is_told_by_its_place() {
        let given = fields(&[
            ("values[0].value:number", "12,5"),
            ("observed_at:moment", "noon"),
            ("run:count", "-1"),
            ("a", "1"),
            ("a.b", "2"),
            ("list[9999]", "far"),
        ]);
        let faults = body(&given).unwrap_err();
        let places: Vec<_> = faults.iter().map(|fault| fault.field.as_str()).collect();
        assert_eq!(places, ["values[0].value", "observed_at", "run", "a.b", "list[9999]"]);
        assert!(faults[0].why.contains("with a point"), "{}", faults[0].why);
    }
}
