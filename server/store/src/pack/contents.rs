//! What stands where in a pack.

use std::fmt::Write as _;

use programme::codes::ProgrammeId;
use programme::ledger::NodeHash;
use programme::ledger::note::Verifier;
use programme::record::Digest;
use programme::scope::Scope;
use serde::{Deserialize, Serialize};

use crate::files::FileOfRecord;

pub(super) const README: &str = "README.txt";
pub(super) const ABOUT: &str = "pack.json";
pub(super) const CHECKPOINT: &str = "checkpoint.txt";
pub(super) const CHECKPOINTS: &str = "checkpoints.jsonl";
pub(super) const KEYS: &str = "keys.txt";
pub(super) const RECORDS: &str = "records.jsonl";
pub(super) const PROOFS: &str = "proofs.jsonl";
pub(super) const LEAVES: &str = "leaves.txt";
pub(super) const FILES: &str = "recordings.jsonl";
pub(super) const SUMS: &str = "SHA256SUMS";
/// The folder of the shapes of records.
const SCHEMAS: &str = "schemas/";

/// The names that every pack has, in their order.
pub(super) const OWN: [&str; 10] =
    [README, ABOUT, CHECKPOINT, CHECKPOINTS, KEYS, RECORDS, PROOFS, LEAVES, FILES, SUMS];

/// How a pack is read by whoever has no program for it.
pub(super) const README_TEXT: &str = include_str!("readme.txt");

/// The form of a pack that this program writes and reads.
pub(super) const FORM: u32 = 1;

/// Whether the files of recordings come along.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RecordingsIn {
    /// All of their bytes.
    Included,
    /// Their digests alone.
    Digests,
}

/// What a pack says of itself.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct About {
    /// [`FORM`].
    pub form: u32,
    pub programme: ProgrammeId,
    pub scope: Scope,
    pub recordings: RecordingsIn,
    /// How many records are in it.
    pub records: u64,
    /// How many records the ledger has up to its checkpoint.
    pub size: u64,
    pub root: NodeHash,
}

/// A line of checkpoints: size, root, and what signed it; unsigned where the ledger went on from a copy just then.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct CheckpointLine {
    pub size: u64,
    pub root: NodeHash,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key: Option<Digest>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub signature: Option<String>,
}

/// A line of proofs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ProofLine {
    pub seq: u64,
    pub leaf: NodeHash,
    pub proof: Vec<NodeHash>,
}

/// A line of files that records speak of.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(super) struct FileLine<'a> {
    pub record: u64,
    pub sha256: &'a Digest,
    pub what: &'a str,
}

impl<'a> From<&'a FileOfRecord> for FileLine<'a> {
    fn from(file: &'a FileOfRecord) -> Self {
        Self { record: file.seq, sha256: &file.digest, what: file.what }
    }
}

/// A value as a line of JSON.
pub(super) fn line(value: &impl Serialize) -> String {
    let mut text =
        serde_json::to_string(value).expect("names, numbers and digests have a JSON form");
    text.push('\n');
    text
}

/// The keys as `verify --key` reads them, a line each.
pub(super) fn keys_text(keys: &[Verifier]) -> String {
    keys.iter().fold(String::new(), |mut text, key| {
        // Writing to a text cannot fail.
        let _ = writeln!(text, "{key}");
        text
    })
}

/// The name of a key's file; keys count from 1.
pub(super) fn key_name(place: usize) -> String {
    format!("keys/{}.pem", place + 1)
}

/// The name of the file of a digest.
pub(super) fn file_name(digest: &Digest) -> String {
    format!("recordings/{digest}")
}

/// The name of the shape of a kind of record.
pub(super) fn schema_name(kind: &str, version: u32) -> String {
    format!("{SCHEMAS}{kind}-v{version}.json")
}

/// Whether a name could be that of a shape: of a newer program it may be one that this one does not know.
fn is_of_a_schema(rest: &str) -> bool {
    let parts = rest.strip_suffix(".json").and_then(|it| it.rsplit_once("-v"));
    parts.is_some_and(|(kind, version)| {
        let plain = |sign: char| sign.is_ascii_lowercase() || sign == '-';
        (1..=100).contains(&kind.len())
            && kind.starts_with(|first: char| first.is_ascii_lowercase())
            && kind.chars().all(plain)
            && version
                .parse::<u32>()
                .is_ok_and(|number| number > 0 && number.to_string() == version)
    })
}

/// What a name stands for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Named {
    /// One of those that every pack has.
    Own,
    /// A key, counted from 0.
    Key(usize),
    /// The shape of a kind of record.
    Schema,
    /// A file that records speak of.
    File(Digest),
    /// Another file that comes along.
    Besides,
}

/// What a name stands for; none where it can be none of a pack: it leads elsewhere, or hides.
pub(super) fn named(name: &str) -> Option<Named> {
    if OWN.contains(&name) {
        return Some(Named::Own);
    }
    if let Some(number) = name.strip_prefix("keys/").and_then(|it| it.strip_suffix(".pem")) {
        let number: usize = number.parse().ok().filter(|number| *number > 0)?;
        return (key_name(number - 1) == name).then_some(Named::Key(number - 1));
    }
    if let Some(rest) = name.strip_prefix(SCHEMAS) {
        return is_of_a_schema(rest).then_some(Named::Schema);
    }
    if let Some(digest) = name.strip_prefix("recordings/") {
        return Digest::try_from(digest.to_owned()).ok().map(Named::File);
    }
    is_plain(name).then_some(Named::Besides)
}

/// Whether a file that comes along may have a name.
pub(super) fn is_plain(name: &str) -> bool {
    // A name that differs from one of the pack's own in capitals alone would be the same file on some systems.
    !OWN.iter().any(|own| own.eq_ignore_ascii_case(name))
        && (1..=100).contains(&name.len())
        && name.starts_with(|first: char| first.is_ascii_alphanumeric())
        && name.chars().all(|one| one.is_ascii_alphanumeric() || "._-".contains(one))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_names_that_stay_where_they_are_put_are_taken() {
        let digest = "ab".repeat(32);
        for right in ["README.txt", "keys/1.pem", "keys/12.pem", "document.pdf"] {
            assert!(named(right).is_some(), "{right}");
        }
        assert!(matches!(named(&format!("recordings/{digest}")), Some(Named::File(_))));
        assert_eq!(named(&schema_name("point-planned", 1)), Some(Named::Schema));
        for wrong in [
            "",
            ".",
            "..",
            "../x",
            "/etc/passwd",
            "a/b",
            "a\\b",
            "C:x",
            ".hidden",
            "keys/0.pem",
            "keys/01.pem",
            "keys/../1.pem",
            "recordings/",
            "recordings/../x",
            &format!("recordings/{}", digest.to_uppercase()),
            "readme.TXT",
            "a b",
            "é.pdf",
            "recordings/x/",
            "schemas/",
            "schemas/point-planned.json",
            "schemas/point-planned-v01.json",
            "schemas/../x-v1.json",
            "schemas/x/y-v1.json",
            "schemas/-v1.json",
        ] {
            assert_eq!(named(wrong), None, "{wrong}");
        }
    }
}
