//! Holds what the program reads and writes against the frozen examples in `records/`.
//!
//! An example is `<kind>-v<version>.json`, or `<kind>-v<version>-<which>.json` for another form of the same kind: with
//! its optional fields (`full`), or of another variant. Its text is the exact RFC 8785 form that the ledger hashes, and a
//! line break. Examples are added and never changed, for ledgers hold such entries for ever. All of it is invented.

#![allow(clippy::unwrap_used, clippy::panic)]

use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::fs;
use std::path::Path;

use serde::de::DeserializeOwned;

use super::*;
use crate::entry::{Entry, UnreadableEntry};
use crate::measure::Unit;
use crate::nouns::{
    CertificationBasis, Comparison, DecimalMark, DesignFigure, Direction, DocumentKind, ItemKind,
    PredictionKind, Probability, ReserveRule, Role, TimeForm, Total,
};
use crate::state::State;

/// Every file by name, without `.json`.
fn files() -> BTreeMap<String, String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("records");
    fs::read_dir(folder)
        .unwrap()
        .map(|file| {
            let path = file.unwrap().path();
            assert_eq!(path.extension().unwrap(), "json", "{}", path.display());
            let name = path.file_stem().unwrap().to_str().unwrap().to_owned();
            (name, fs::read_to_string(&path).unwrap())
        })
        .collect()
}

const WORDS: &str = "words-v1";

/// Every example of an entry by name, with the entry.
fn examples() -> BTreeMap<String, (String, Entry)> {
    files()
        .into_iter()
        .filter(|(name, _)| name != WORDS)
        .map(|(name, text)| {
            let text = text.strip_suffix('\n').unwrap().to_owned();
            let entry = Entry::from_json(&text).unwrap_or_else(|error| panic!("{name}: {error:?}"));
            (name, (text, entry))
        })
        .collect()
}

#[test]
fn every_frozen_entry_has_the_shape_that_packs_tell_and_another_has_not() {
    let mut validators = BTreeMap::new();
    for kind in Record::KINDS {
        let schema = Record::json_schema(kind, 1).unwrap();
        let schema: serde_json::Value = serde_json::from_str(&schema).unwrap();
        validators.insert(*kind, jsonschema::validator_for(&schema).unwrap());
    }
    assert_eq!(Record::json_schema("point-planned", 2), None);
    assert_eq!(Record::json_schema("point-painted", 1), None);
    for (name, (text, entry)) in examples() {
        let validator = &validators[entry.record.kind()];
        let mut value: serde_json::Value = serde_json::from_str(&text).unwrap();
        let faults: Vec<_> = validator
            .iter_errors(&value)
            .map(|fault| format!("{}: {fault}", fault.instance_path()))
            .collect();
        assert!(faults.is_empty(), "{name}: {}", faults.join("\n"));
        value["body"]["colour"] = "red".into();
        assert!(!validator.is_valid(&value), "{name}: a field that no record has");
        value["body"] = serde_json::Value::Null;
        assert!(!validator.is_valid(&value), "{name}: no body");
    }
}

#[test]
fn every_frozen_entry_is_read_and_written_again_byte_for_byte() {
    for (name, (text, entry)) in examples() {
        assert_eq!(entry.canonical_json().unwrap(), text, "{name}");
    }
}

#[test]
fn every_kind_has_exactly_one_example_of_its_name_and_there_are_no_others() {
    let mut plain = Vec::new();
    for (name, (_, entry)) in examples() {
        let of_kind = format!("{}-v{}", entry.record.kind(), entry.record.version());
        match name.strip_prefix(&of_kind) {
            Some("") => plain.push(entry.record.kind()),
            Some(which) => assert!(which.starts_with('-'), "{name} is an example of {of_kind}"),
            None => panic!("{name} is an example of {of_kind}"),
        }
    }
    let mut kinds = Record::KINDS.to_vec();
    kinds.sort_unstable();
    plain.sort_unstable();
    assert_eq!(plain, kinds);
}

#[test]
fn every_variant_of_a_limit_a_part_a_recorder_and_an_interval_has_an_example() {
    let (mut limits, mut parts) = (BTreeSet::new(), BTreeSet::new());
    let (mut files, mut intervals) = (BTreeSet::new(), HashSet::new());
    for (_, (_, entry)) in examples() {
        match entry.record {
            Record::LimitSet(body) => {
                limits.insert(body.limit.kind.as_str());
            }
            Record::PartSigned(body) => {
                parts.insert(body.part.in_words());
            }
            Record::RecorderDescribed(body) => {
                files.insert(body.recorder.file.as_str());
            }
            Record::IntervalTaken(body) => {
                intervals.insert(std::mem::discriminant(&body.how));
            }
            _ => {}
        }
    }
    assert_eq!(files.len(), 5, "{files:?}");
    assert_eq!(intervals.len(), 3, "{intervals:?}");
    assert_eq!(
        limits.into_iter().collect::<Vec<_>>(),
        ["maximum", "minimum", "range", "rate", "rating", "spread", "time-above"]
    );
    assert_eq!(parts.len(), 5, "{parts:?}");
}

#[test]
fn an_unknown_kind_or_version_is_an_error_that_names_it() {
    for (name, (text, entry)) in examples() {
        let version = r#""version":1}"#;
        assert!(text.ends_with(version), "{name}");
        for unknown in [0, 2, 4_294_967_295_u32] {
            let newer = text.replace(version, &format!(r#""version":{unknown}}}"#));
            let error = Entry::from_json(&newer).unwrap_err();
            let UnreadableEntry::UnknownVersion { kind, version } = error else {
                panic!("{name}: {error:?}")
            };
            assert_eq!((kind.as_str(), version), (entry.record.kind(), unknown), "{name}");
        }
        let kind = format!(r#""kind":"{}""#, entry.record.kind());
        let stranger = text.replacen(&kind, r#""kind":"tea-made""#, 1);
        let error = Entry::from_json(&stranger).unwrap_err();
        let UnreadableEntry::UnknownVersion { kind, version: 1 } = error else {
            panic!("{name}: {error:?}")
        };
        assert_eq!(kind, "tea-made");
    }
}

/// Places of every field of an object and of all that is in it.
fn fields(value: &serde_json::Value, at: &str, found: &mut Vec<String>) {
    match value {
        serde_json::Value::Object(fields_of) => {
            found.push(at.to_owned());
            for (name, inner) in fields_of {
                fields(inner, &format!("{at}/{name}"), found);
            }
        }
        serde_json::Value::Array(list) => {
            for (place, inner) in list.iter().enumerate() {
                fields(inner, &format!("{at}/{place}"), found);
            }
        }
        _ => {}
    }
}

#[test]
fn a_field_that_nobody_knows_is_refused_wherever_it_stands() {
    for (name, (text, _)) in examples() {
        let entry: serde_json::Value = serde_json::from_str(&text).unwrap();
        let mut places = Vec::new();
        fields(&entry, "", &mut places);
        for place in places {
            let mut changed = entry.clone();
            let object = changed.pointer_mut(&place).unwrap().as_object_mut().unwrap();
            object.insert("unheard-of".to_owned(), serde_json::Value::Null);
            assert!(Entry::from_json(&changed.to_string()).is_err(), "{name} at {place}");
        }
    }
}

#[test]
fn the_body_of_one_kind_is_not_taken_for_another() {
    let examples = examples();
    let text = &examples["check-done-v1"].0;
    let swapped = text.replace(r#""kind":"check-done""#, r#""kind":"snag-closed""#);
    let error = Entry::from_json(&swapped).unwrap_err();
    let UnreadableEntry::Body { kind, .. } = error else { panic!("{error:?}") };
    assert_eq!(kind, "snag-closed");
    for broken in ["", "null", "[]", &text[..text.len() - 1]] {
        assert!(matches!(Entry::from_json(broken), Err(UnreadableEntry::Shape(_))), "{broken}");
    }
}

#[test]
fn frozen_entries_fold_in_the_order_of_their_numbers() {
    let mut entries: Vec<Entry> = examples().into_values().map(|(_, entry)| entry).collect();
    entries.sort_by_key(|entry| entry.seq);
    let mut state = State::default();
    for entry in &entries {
        state.apply(entry);
    }
    assert_eq!(state.length(), entries.len() as u64, "numbers are without gaps");
    assert_eq!(state.title, "Tallowmere electric tug");
}

/// The words of a kind of choice: each is read, and written as it was; with all of them, none is without its word.
fn words<T: DeserializeOwned + Serialize + PartialEq>(of: &str, all: &[T]) {
    let frozen: BTreeMap<String, Vec<serde_json::Value>> =
        serde_json::from_str(&files()[WORDS]).unwrap();
    let mut read: Vec<T> = Vec::new();
    for word in &frozen[of] {
        let choice: T = serde_json::from_value(word.clone())
            .unwrap_or_else(|error| panic!("{of} {word}: {error}"));
        assert_eq!(serde_json::to_value(&choice).unwrap(), *word);
        read.push(choice);
    }
    for choice in all {
        let word = serde_json::to_value(choice).unwrap();
        assert!(read.contains(choice), "the {of} {word} is not among the frozen words");
    }
}

#[test]
fn every_word_that_records_use_is_frozen() {
    words("axis", &Axis::ALL);
    words("certification-basis", &CertificationBasis::ALL);
    words::<Comparison>("comparison", &[]);
    words("design-figure", &DesignFigure::ALL);
    words("direction", &Direction::ALL);
    words::<DocumentKind>("document-kind", &[]);
    words::<ItemKind>("item-kind", &[]);
    words::<DecimalMark>("decimal-mark", &[]);
    words::<HeatingOutcome>("heating-outcome", &[]);
    words("time-form", &TimeForm::ALL);
    words("lost-to", &crate::nouns::LostTo::ALL);
    words("pair", &crate::envelope::Pair::ALL);
    words("phase", &Phase::ALL);
    words("prediction-kind", &PredictionKind::ALL);
    words("probability", &Probability::ALL);
    words::<ReadingMoment>("reading-moment", &[]);
    words::<ReserveRule>("reserve-rule", &[]);
    words::<RiskLevel>("risk-level", &[]);
    words("role", &Role::ALL);
    words::<RunEvent>("run-event", &[]);
    words::<RunKind>("run-kind", &[]);
    words("severity", &Severity::ALL);
    words::<Statistic>("statistic", &[]);
    words::<Total>("total", &[]);
    words("unit", Unit::ALL);
    words("weekday", &crate::forecast::Weekday::ALL);
}
