//! A record in its place in the ledger: who, when, and the exact bytes that are hashed.

use std::borrow::Cow;

use chrono::{DateTime, SubsecRound, Utc};
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;

use crate::codes::{PersonHandle, ProgrammeId};
use crate::record::Record;

/// A record that was decided and is not in the ledger yet.
#[derive(Debug, Clone, PartialEq)]
pub struct Draft {
    /// When it was observed, where that differs from when it is recorded.
    pub observed_at: Option<DateTime<Utc>>,
    /// What happened.
    pub record: Record,
}

impl<R: Into<Record>> From<R> for Draft {
    fn from(record: R) -> Self {
        Self { observed_at: None, record: record.into() }
    }
}

/// A record in the ledger.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// The programme.
    pub programme: ProgrammeId,
    /// Its number, from 1, without gaps.
    pub seq: u64,
    /// When it was recorded, to the microsecond.
    pub at: DateTime<Utc>,
    /// Who recorded it.
    pub by: PersonHandle,
    /// When it was observed, where that differs.
    pub observed_at: Option<DateTime<Utc>>,
    /// What happened.
    pub record: Record,
}

/// The stored form, whose RFC 8785 bytes are the leaf of the tree.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Stored<'a> {
    programme: ProgrammeId,
    seq: u64,
    at: DateTime<Utc>,
    by: PersonHandle,
    #[serde(default)]
    observed_at: Option<DateTime<Utc>>,
    #[serde(borrow)]
    kind: Cow<'a, str>,
    version: u32,
    /// Left as text until the kind says what it must be: with long ledgers, starting takes half the time.
    #[serde(borrow)]
    body: &'a RawValue,
}

/// Ledger text that this program cannot read.
#[derive(Debug, thiserror::Error)]
pub enum UnreadableEntry {
    /// Not JSON, or not of the ledger's shape.
    #[error("the text is not a ledger entry")]
    Shape(#[source] serde_json::Error),
    /// Of a kind or version that this program does not know.
    #[error("this program does not know version {version} of \"{kind}\"; a newer one wrote it")]
    UnknownVersion {
        /// The kind.
        kind: String,
        /// Its version.
        version: u32,
    },
    /// Of a known kind, with another body.
    #[error("the body is not that of \"{kind}\"")]
    Body {
        /// The kind.
        kind: String,
        /// What is wrong with it.
        #[source]
        source: serde_json::Error,
    },
}

impl Entry {
    /// Puts a draft in its place. The moments are cut to the microsecond.
    pub fn new(
        programme: ProgrammeId,
        seq: u64,
        at: DateTime<Utc>,
        by: PersonHandle,
        draft: Draft,
    ) -> Self {
        Self {
            programme,
            seq,
            at: at.trunc_subsecs(6),
            by,
            observed_at: draft.observed_at.map(|moment| moment.trunc_subsecs(6)),
            record: draft.record,
        }
    }

    /// When it happened: as observed, else as recorded.
    pub fn happened_at(&self) -> DateTime<Utc> {
        self.observed_at.unwrap_or(self.at)
    }

    /// The RFC 8785 form, whose bytes are hashed and kept.
    ///
    /// # Errors
    ///
    /// Where a figure has no JSON form, such as a NaN.
    pub fn canonical_json(&self) -> Result<String, serde_json::Error> {
        #[derive(Serialize)]
        struct Written<'a> {
            programme: &'a ProgrammeId,
            seq: u64,
            at: DateTime<Utc>,
            by: &'a PersonHandle,
            #[serde(skip_serializing_if = "Option::is_none")]
            observed_at: Option<DateTime<Utc>>,
            version: u32,
            #[serde(flatten)]
            record: &'a Record,
        }
        serde_json_canonicalizer::to_string(&Written {
            programme: &self.programme,
            seq: self.seq,
            at: self.at,
            by: &self.by,
            observed_at: self.observed_at,
            version: self.record.version(),
            record: &self.record,
        })
    }

    /// Reads what [`Entry::canonical_json`] wrote.
    ///
    /// # Errors
    ///
    /// [`UnreadableEntry`] for anything else.
    pub fn from_json(text: &str) -> Result<Self, UnreadableEntry> {
        let stored: Stored = serde_json::from_str(text).map_err(UnreadableEntry::Shape)?;
        let unknown = || UnreadableEntry::UnknownVersion {
            kind: stored.kind.to_string(),
            version: stored.version,
        };
        if stored.version != 1 {
            return Err(unknown());
        }
        let record = Record::read(&stored.kind, stored.body.get())
            .ok_or_else(unknown)?
            .map_err(|source| UnreadableEntry::Body { kind: stored.kind.to_string(), source })?;
        Ok(Self {
            programme: stored.programme,
            seq: stored.seq,
            at: stored.at,
            by: stored.by,
            observed_at: stored.observed_at,
            record,
        })
    }
}
