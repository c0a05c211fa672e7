//! Digests and the parts of a step that people sign.

use std::fmt;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use sha2::Digest as _;

use crate::codes::RunNumber;

/// SHA-256 of the RFC 8785 form of something, in lower-case hexadecimal.
#[derive(Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(try_from = "String", into = "String")]
#[schema(value_type = String, pattern = "^[0-9a-f]{64}$")]
pub struct Digest([u8; 32]);

/// Text that is not a digest.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("a digest is 64 lower-case hexadecimal digits")]
pub struct BadDigest;

impl Digest {
    /// The digest of a value's RFC 8785 form.
    ///
    /// # Errors
    ///
    /// Where the value has no JSON form, such as a NaN.
    pub fn of(value: &impl Serialize) -> Result<Self, serde_json::Error> {
        let canonical = serde_json_canonicalizer::to_vec(value)?;
        Ok(Self(sha2::Sha256::digest(&canonical).into()))
    }

    /// The digest's 32 bytes.
    pub const fn bytes(&self) -> &[u8; 32] {
        &self.0
    }

    /// From 32 bytes.
    pub const fn from_bytes(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl From<Digest> for String {
    fn from(digest: Digest) -> Self {
        digest.to_string()
    }
}

impl TryFrom<String> for Digest {
    type Error = BadDigest;

    fn try_from(text: String) -> Result<Self, BadDigest> {
        let digits = text.as_bytes();
        let lower_case = digits.iter().all(|d| matches!(d, b'0'..=b'9' | b'a'..=b'f'));
        if digits.len() != 64 || !lower_case {
            return Err(BadDigest);
        }
        let mut bytes = [0; 32];
        for (byte, pair) in bytes.iter_mut().zip(digits.chunks_exact(2)) {
            let value = |digit: u8| {
                if digit <= b'9' { digit - b'0' } else { digit - b'a' + 10 }
            };
            *byte = value(pair[0]) * 16 + value(pair[1]);
        }
        Ok(Self(bytes))
    }
}

/// A part of a point's step that one person signs.
///
/// Plan approval, release and acknowledgement belong to one step, the two acceptances of one result to the next:
/// nobody signs two parts of one step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(tag = "part", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Part {
    /// The plan of the point is right; somebody other than its author.
    PlanApproval {},
    /// The point may be run; the safety officer.
    Release {},
    /// The card was read and will be flown as released; a pilot.
    Acknowledgement {},
    /// The result stands, as an engineer sees it.
    EngineeringAcceptance {
        /// Of the result of which run.
        run: RunNumber,
    },
    /// The result stands, as the safety officer sees it.
    SafetyAcceptance {
        /// Of the result of which run.
        run: RunNumber,
    },
}

impl Part {
    /// The part in words.
    pub const fn in_words(&self) -> &'static str {
        match self {
            Part::PlanApproval {} => "plan approval",
            Part::Release {} => "release",
            Part::Acknowledgement {} => "acknowledgement",
            Part::EngineeringAcceptance { .. } => "acceptance by an engineer",
            Part::SafetyAcceptance { .. } => "acceptance by the safety officer",
        }
    }

    /// The run whose result the part accepts.
    pub const fn run(&self) -> Option<RunNumber> {
        match self {
            Part::PlanApproval {} | Part::Release {} | Part::Acknowledgement {} => None,
            Part::EngineeringAcceptance { run } | Part::SafetyAcceptance { run } => Some(*run),
        }
    }
}

/// When a release is good, and under which conditions besides the plan's.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReleaseWindow {
    /// From then on.
    pub valid_from: DateTime<Utc>,
    /// Up to, not including, this moment.
    pub valid_until: DateTime<Utc>,
    /// Under these conditions besides the plan's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub conditions: Option<String>,
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_digest_reads_back_what_it_writes_and_refuses_other_text() {
        // FIPS 180-4 example: SHA-256 of "abc"; here of the JSON text "abc" with its quotes, checked by sha256sum.
        let digest = Digest::of(&"abc").unwrap();
        assert_eq!(Digest::try_from(digest.to_string()).unwrap(), digest);
        assert!(Digest::try_from("AB".repeat(32)).is_err());
        assert!(Digest::try_from("0".repeat(63)).is_err());
    }
}
