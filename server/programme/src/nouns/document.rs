//! Permits, insurance, conditions and the like.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::codes::DocumentCode;
use crate::nouns::Phase;
use crate::nouns::judging::Judging;
use crate::refusal::Fault;

/// What a document is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum DocumentKind {
    /// The authority's permit.
    Permit,
    /// Conditions that the authority attached.
    Conditions,
    /// Insurance.
    Insurance,
    /// Any other paper that a point may need.
    Other,
}

/// A paper that must be in force before points of the phases it covers may be run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Document {
    /// Its code.
    pub code: DocumentCode,
    /// What it is called.
    pub title: String,
    /// What kind of paper it is.
    pub kind: DocumentKind,
    /// Its number, issue or date; absent while it is not in hand, and then it covers nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference: Option<String>,
    /// In force from then on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub valid_from: Option<DateTime<Utc>>,
    /// In force up to, not including, this moment; absent: until withdrawn.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub valid_until: Option<DateTime<Utc>>,
    /// The phases it covers.
    pub covers: Vec<Phase>,
    /// The phases in which every point needs it; points may name it besides.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub needed_in: Vec<Phase>,
}

impl Document {
    /// Whether it is in hand and in force at a moment; which phases it covers is another matter.
    pub fn is_in_force(&self, now: DateTime<Utc>) -> bool {
        self.reference.is_some()
            && self.valid_from.is_none_or(|from| from <= now)
            && self.valid_until.is_none_or(|until| now < until)
    }

    /// What is wrong with it when it is looked at alone; `at` is its place in what was given.
    pub fn faults(&self, at: &str) -> Vec<Fault> {
        let mut judging = Judging::of(at);
        judging.title("title", &self.title);
        if let Some(reference) = &self.reference {
            judging.title("reference", reference);
        }
        if let (Some(from), Some(until)) = (self.valid_from, self.valid_until) {
            judging.must(
                from < until,
                "valid_until",
                format!(
                    "must be after valid_from: {} is not after {}",
                    until.to_rfc3339(),
                    from.to_rfc3339()
                ),
            );
        }
        judging.some_without_repeats("covers", &self.covers);
        judging.no_repeats("needed_in", &self.needed_in);
        for (place, phase) in self.needed_in.iter().enumerate() {
            judging.must(
                self.covers.contains(phase),
                &format!("needed_in[{place}]"),
                format!("is needed in the phase {phase}, which it does not cover"),
            );
        }
        judging.done()
    }
}
