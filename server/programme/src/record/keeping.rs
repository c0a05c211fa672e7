//! The keys by which checkpoints of the ledger are signed.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::{BadDigest, Digest};

/// The 32 bytes of an Ed25519 public key, in lower-case hexadecimal.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(try_from = "String", into = "String")]
#[schema(value_type = String, pattern = "^[0-9a-f]{64}$")]
pub struct PublicKey([u8; 32]);

impl PublicKey {
    /// From its 32 bytes.
    pub const fn from_bytes(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }

    /// Its 32 bytes.
    pub const fn bytes(&self) -> &[u8; 32] {
        &self.0
    }
}

impl fmt::Display for PublicKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        Digest::from_bytes(self.0).fmt(f)
    }
}

impl fmt::Debug for PublicKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl From<PublicKey> for String {
    fn from(key: PublicKey) -> Self {
        key.to_string()
    }
}

impl TryFrom<String> for PublicKey {
    type Error = BadDigest;

    fn try_from(text: String) -> Result<Self, BadDigest> {
        Digest::try_from(text).map(|digest| Self(*digest.bytes()))
    }
}
