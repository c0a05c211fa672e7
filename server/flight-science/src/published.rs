//! Runs the published cases of every topic, and holds every topic to what the catalogue promises of it.
//!
//! A case is data beside the code:
//!
//! ```toml
//! [[case]]
//! name = "base of the 11 km layer"          # may be left out
//! source = "author or body, edition, table"
//! status = "how the figure was come by"
//! input = { pressure_altitude_ft = 36089.24 }
//! expect = { pressure_hpa = 226.32, "gusts[0].n_up" = 3.8 }   # a path into the answer
//! expect_null = ["tas_se_kt"]
//! within = { pressure_hpa = 0.005 }          # absolute; or within_rel, relative
//! reason = "half of the last printed digit"
//! ```
//!
//! or, in place of `expect`: `refused = "legs[2].track_deg/out-of-range"` (or a list of such).

#![allow(clippy::unwrap_used, clippy::panic)]

use std::collections::BTreeMap;

use serde::Deserialize;
use serde_json::{Value, json};

use crate::catalogue::{ComputeError, FaultCode, Topic, catalogue, compute};

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    case: Vec<Case>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Case {
    #[serde(default)]
    name: String,
    source: String,
    status: String,
    input: toml::Table,
    #[serde(default)]
    expect: BTreeMap<String, toml::Value>,
    #[serde(default)]
    expect_null: Vec<String>,
    #[serde(default)]
    within: BTreeMap<String, f64>,
    #[serde(default)]
    within_rel: BTreeMap<String, f64>,
    #[serde(default)]
    reason: String,
    refused: Option<OneOrMany>,
}

#[derive(Debug, Deserialize)]
#[serde(untagged)]
enum OneOrMany {
    One(String),
    Many(Vec<String>),
}

/// Follows a path such as `gusts[0].n_up`.
fn at_path<'a>(value: &'a Value, path: &str) -> Option<&'a Value> {
    path.split(['.', '[']).try_fold(value, |value, step| match step.strip_suffix(']') {
        Some(index) => value.get(index.parse::<usize>().ok()?),
        None => value.get(step),
    })
}

impl Case {
    fn title(&self) -> String {
        if self.name.is_empty() { self.source.clone() } else { self.name.clone() }
    }

    fn complaints(&self, topic: &str) -> Vec<String> {
        let mut complaints = Vec::new();
        if self.source.trim().is_empty() || self.status.trim().is_empty() {
            complaints.push("has no source or no status".to_owned());
        }
        if !(self.within.is_empty() && self.within_rel.is_empty()) && self.reason.trim().is_empty()
        {
            complaints.push("has a tolerance without a reason".to_owned());
        }
        for path in self.within.keys().chain(self.within_rel.keys()) {
            if !self.expect.contains_key(path) {
                complaints.push(format!("has a tolerance for {path}, which it does not expect"));
            }
        }
        let input = serde_json::to_value(&self.input).unwrap();
        let answer = compute(topic, &input);
        match (&self.refused, answer) {
            (None, Ok(answer)) => complaints.extend(self.differences(&answer)),
            (None, Err(error)) => complaints.push(format!("was refused: {error}")),
            (Some(_), Ok(answer)) => {
                complaints.push(format!("should be refused but gave {answer}"))
            }
            (Some(wanted), Err(ComputeError::Refused(refused))) => {
                let wanted = match wanted {
                    OneOrMany::One(one) => vec![one.clone()],
                    OneOrMany::Many(many) => many.clone(),
                };
                let told: Vec<String> = refused
                    .faults
                    .iter()
                    .map(|fault| format!("{}/{}", fault.field, fault.code.code()))
                    .collect();
                if told != wanted {
                    complaints
                        .push(format!("should be refused for {wanted:?} but was for {told:?}"));
                }
            }
            (Some(_), Err(error)) => complaints.push(error.to_string()),
        }
        complaints
    }

    fn differences(&self, answer: &Value) -> Vec<String> {
        let mut complaints = Vec::new();
        if self.expect.is_empty() && self.expect_null.is_empty() {
            complaints.push("expects nothing".to_owned());
        }
        for path in &self.expect_null {
            if at_path(answer, path) != Some(&Value::Null) {
                complaints.push(format!("{path} should be null: {:?}", at_path(answer, path)));
            }
        }
        for (path, wanted) in &self.expect {
            let given = at_path(answer, path);
            let wanted_number =
                wanted.as_float().or_else(|| wanted.as_integer().map(|whole| whole as f64));
            let Some(wanted_number) = wanted_number else {
                if given != Some(&serde_json::to_value(wanted).unwrap()) {
                    complaints.push(format!("{path} should be {wanted} but is {given:?}"));
                }
                continue;
            };
            let Some(given) = given.and_then(Value::as_f64) else {
                complaints.push(format!("{path} should be {wanted_number} but is {given:?}"));
                continue;
            };
            let tolerance = match (self.within.get(path), self.within_rel.get(path)) {
                (Some(absolute), None) => *absolute,
                (None, Some(relative)) => relative * wanted_number.abs(),
                (Some(_), Some(_)) => {
                    complaints.push(format!("has two tolerances for {path}"));
                    continue;
                }
                // A whole number without a tolerance is meant exactly.
                (None, None) if wanted.is_integer() => 0.0,
                (None, None) => {
                    complaints.push(format!("has no tolerance for {path}"));
                    continue;
                }
            };
            let difference = (given - wanted_number).abs();
            // NaN fails, because it is not at most the tolerance.
            if difference <= tolerance {
                continue;
            }
            complaints.push(format!("{path} should be {wanted_number} ± {tolerance:e} but is {given} ({difference:e} off)"));
        }
        complaints
    }
}

fn example(topic: &Topic) -> Value {
    serde_json::from_str(topic.example)
        .unwrap_or_else(|error| panic!("the example of {} is not JSON: {error}", topic.name))
}

fn codes(topic: &Topic, input: &Value) -> Vec<(String, FaultCode)> {
    match compute(topic.name, input) {
        Ok(answer) => panic!("{} took {input} and gave {answer}", topic.name),
        Err(ComputeError::Refused(refused)) => {
            for fault in &refused.faults {
                assert!(
                    fault.why.ends_with(['.', '!', '?']),
                    "{}: no whole sentence: {}",
                    topic.name,
                    fault.why
                );
            }
            refused.faults.into_iter().map(|fault| (fault.field, fault.code)).collect()
        }
        Err(error) => panic!("{error}"),
    }
}

#[test]
fn every_published_case_is_met_within_its_stated_tolerance() {
    let mut complaints = Vec::new();
    let mut cases = 0;
    for topic in catalogue() {
        for (file_name, text) in topic.published {
            let file: File =
                toml::from_str(text).unwrap_or_else(|error| panic!("{file_name}: {error}"));
            for (index, case) in file.case.iter().enumerate() {
                cases += 1;
                for complaint in case.complaints(topic.name) {
                    complaints.push(format!(
                        "{file_name}, case {}, {}: {complaint}",
                        index + 1,
                        case.title()
                    ));
                }
            }
        }
    }
    assert!(
        complaints.is_empty(),
        "{} of {cases} cases:\n{}",
        complaints.len(),
        complaints.join("\n")
    );
}

#[test]
fn every_topic_has_a_published_case_with_a_figure_and_one_with_a_refusal() {
    let mut without = Vec::new();
    for topic in catalogue() {
        let cases: Vec<Case> = topic
            .published
            .iter()
            .flat_map(|(name, text)| {
                toml::from_str::<File>(text).unwrap_or_else(|error| panic!("{name}: {error}")).case
            })
            .collect();
        if !cases.iter().any(|case| !case.expect.is_empty()) {
            without.push(format!("{}: no case with a figure", topic.name));
        }
        if !cases.iter().any(|case| case.refused.is_some()) {
            without.push(format!("{}: no case with a refusal", topic.name));
        }
    }
    assert!(without.is_empty(), "{without:#?}");
}

#[test]
fn every_topic_answers_its_own_example_with_the_fields_that_the_catalogue_names() {
    for topic in catalogue() {
        let answer = compute(topic.name, &example(topic))
            .unwrap_or_else(|error| panic!("{} refuses its example: {error}", topic.name));
        let answer = answer.as_object().unwrap();
        let top_level = |name: &'static str| name.split(['.', '[']).next().unwrap_or(name);
        for field in topic.outputs.iter().filter(|field| field.required) {
            assert!(
                answer.contains_key(top_level(field.name)),
                "{} does not give {}",
                topic.name,
                field.name
            );
        }
        for given in answer.keys() {
            assert!(
                topic.outputs.iter().any(|field| top_level(field.name) == given),
                "{} gives {given}, which the catalogue does not name",
                topic.name
            );
        }
    }
}

#[test]
fn every_topic_names_its_sources_equations_range_and_units() {
    for topic in catalogue() {
        let name = topic.name;
        assert!(topic.version >= 1, "{name}");
        assert!(
            !topic.title.is_empty() && !topic.gives.is_empty() && !topic.valid_range.is_empty(),
            "{name}"
        );
        assert!(
            !topic.equations.is_empty() && !topic.sources.is_empty(),
            "{name} has no equations or sources"
        );
        assert!(!topic.inputs.is_empty() && !topic.outputs.is_empty(), "{name} has no fields");
        for field in topic.inputs.iter().chain(topic.outputs) {
            assert!(!field.unit.is_empty() && !field.meaning.is_empty(), "{name}: {}", field.name);
        }
        assert_eq!(
            catalogue().iter().filter(|other| other.name == name).count(),
            1,
            "{name} is there twice"
        );
    }
}

#[test]
fn every_topic_refuses_a_field_that_it_does_not_know() {
    for topic in catalogue() {
        let mut input = example(topic);
        input["colour_of_the_sky"] = json!(1);
        let codes = codes(topic, &input);
        assert_eq!(
            codes,
            [("colour_of_the_sky".to_owned(), FaultCode::UnknownField)],
            "{}",
            topic.name
        );
    }
}

/// Every place in an input that holds a number, as a path of keys and indexes.
fn numbers_of(value: &Value, pointer: &str, found: &mut Vec<String>) {
    match value {
        Value::Number(_) => found.push(pointer.to_owned()),
        Value::Array(items) => {
            for (index, item) in items.iter().enumerate() {
                numbers_of(item, &format!("{pointer}/{index}"), found);
            }
        }
        Value::Object(fields) => {
            for (key, field) in fields {
                numbers_of(field, &format!("{pointer}/{key}"), found);
            }
        }
        _ => {}
    }
}

#[test]
fn every_topic_refuses_nan_infinity_null_and_other_types_in_place_of_any_number() {
    let impostors = [
        (json!("NaN"), FaultCode::NotFinite),
        (json!("-Infinity"), FaultCode::NotFinite),
        (json!("12"), FaultCode::NotANumber),
        (json!(null), FaultCode::NotANumber),
        (json!([1]), FaultCode::WrongType),
        (json!({ "value": 1 }), FaultCode::WrongType),
        (json!(true), FaultCode::WrongType),
    ];
    for topic in catalogue() {
        let input = example(topic);
        let mut pointers = Vec::new();
        numbers_of(&input, "", &mut pointers);
        for pointer in &pointers {
            for (impostor, code) in &impostors {
                let mut input = input.clone();
                *input.pointer_mut(pointer).unwrap() = impostor.clone();
                let codes = codes(topic, &input);
                assert!(
                    codes.iter().any(|(_, given)| given == code),
                    "{}: {impostor} at {pointer} gave {codes:?}",
                    topic.name
                );
            }
        }
    }
}

#[test]
fn every_topic_refuses_an_input_that_is_no_object_or_lacks_what_it_requires() {
    for topic in catalogue() {
        for input in [json!(null), json!(3), json!("x"), json!([])] {
            assert_eq!(
                codes(topic, &input),
                [(String::new(), FaultCode::WrongType)],
                "{}: {input}",
                topic.name
            );
        }
        let told = codes(topic, &json!({}));
        for field in
            topic.inputs.iter().filter(|field| field.required && !field.name.contains(['.', '[']))
        {
            assert!(
                told.contains(&(field.name.to_owned(), FaultCode::Missing)),
                "{} does not miss {}: {told:?}",
                topic.name,
                field.name
            );
        }
    }
}

#[test]
fn a_topic_that_does_not_exist_is_refused_by_name() {
    assert_eq!(
        compute("warp-drive", &json!({})),
        Err(ComputeError::UnknownTopic { name: "warp-drive".to_owned() })
    );
}

/// A path in an answer as the catalogue writes it: `gusts[3].n_up` is `gusts[].n_up`.
fn catalogued(path: &str) -> String {
    path.split('[')
        .map(|part| part.split_once(']').map_or(part.to_owned(), |(_, rest)| format!("]{rest}")))
        .collect::<Vec<_>>()
        .join("[")
}

/// Every place in an answer that holds null, as a path.
fn nulls_of(value: &Value, path: &str, found: &mut Vec<String>) {
    match value {
        Value::Null => found.push(path.to_owned()),
        Value::Array(items) => {
            for (index, item) in items.iter().enumerate() {
                nulls_of(item, &format!("{path}[{index}]"), found);
            }
        }
        Value::Object(fields) => {
            for (key, field) in fields {
                let path = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
                nulls_of(field, &path, found);
            }
        }
        _ => {}
    }
}

/// A NaN or an infinity in an answer would be written as null, and null would be read as "there is none".
#[test]
fn no_figure_however_extreme_makes_a_topic_answer_with_a_null_that_the_catalogue_does_not_explain()
{
    let extremes = [0.0, -1.0, 5.0e-324, 1.0e-30, 1.0e6, 1.0e154, f64::MAX, f64::MIN];
    let mut unexplained = std::collections::BTreeSet::new();
    for topic in catalogue() {
        let input = example(topic);
        let mut pointers = Vec::new();
        numbers_of(&input, "", &mut pointers);
        for pointer in &pointers {
            let typed = input.pointer(pointer).and_then(Value::as_f64).unwrap();
            let near = [typed * 1.0e-6, typed * 1.0e6, -typed];
            for extreme in extremes.iter().chain(&near) {
                let mut input = input.clone();
                *input.pointer_mut(pointer).unwrap() = json!(extreme);
                let Ok(answer) = compute(topic.name, &input) else { continue };
                let mut nulls = Vec::new();
                nulls_of(&answer, "", &mut nulls);
                for null in nulls {
                    let null = catalogued(&null);
                    let explained = topic.outputs.iter().any(|field| {
                        null.starts_with(field.name) && field.meaning.contains("null")
                    });
                    if !explained {
                        unexplained.insert(format!(
                            "{}: {null}, first with {extreme:e} at {pointer}",
                            topic.name
                        ));
                    }
                }
            }
        }
    }
    assert!(unexplained.is_empty(), "{unexplained:#?}");
}
