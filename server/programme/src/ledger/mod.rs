//! The hash tree over a programme's records, by which anybody can check that none was altered, dropped or slipped in.
//!
//! A leaf is the RFC 8785 text of an entry. Two roots with a consistency proof show that the longer ledger only grew
//! from the shorter one; a root with an inclusion proof shows that a record stands in it at its number.
//!
//! # Source
//!
//! RFC 9162 section 2.1, which takes the tree over from RFC 6962. Checked by `published/tree.toml`.

pub mod checkpoint;
pub mod note;
mod proof;
#[cfg(test)]
mod published;
mod tree;
mod whole;

use std::fmt;

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

pub use proof::{consistency_holds, inclusion_holds};
pub use tree::Tree;
pub use whole::WholeTree;

use crate::record::{BadDigest, Digest};

/// A hash of the tree: of a leaf, a node or the whole. Written as 64 lower-case hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(try_from = "String", into = "String")]
#[schema(value_type = String, pattern = "^[0-9a-f]{64}$")]
pub struct NodeHash([u8; 32]);

impl NodeHash {
    /// From its 32 bytes.
    pub const fn from_bytes(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }

    /// Its 32 bytes.
    pub const fn bytes(&self) -> &[u8; 32] {
        &self.0
    }
}

impl fmt::Display for NodeHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        Digest::from_bytes(self.0).fmt(f)
    }
}

impl fmt::Debug for NodeHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl From<NodeHash> for String {
    fn from(hash: NodeHash) -> Self {
        hash.to_string()
    }
}

impl TryFrom<String> for NodeHash {
    type Error = BadDigest;

    fn try_from(text: String) -> Result<Self, BadDigest> {
        Digest::try_from(text).map(|digest| Self(*digest.bytes()))
    }
}

impl std::str::FromStr for NodeHash {
    type Err = BadDigest;

    fn from_str(text: &str) -> Result<Self, BadDigest> {
        Self::try_from(text.to_owned())
    }
}

/// The hash of a tree without leaves: that of no bytes.
pub fn empty_root() -> NodeHash {
    NodeHash(Sha256::digest([]).into())
}

/// The hash of one leaf: SHA-256 of a zero byte and the leaf's bytes.
pub fn leaf_hash(leaf: &[u8]) -> NodeHash {
    let mut hasher = Sha256::new();
    hasher.update([0x00]);
    hasher.update(leaf);
    NodeHash(hasher.finalize().into())
}

/// The hash of a node: SHA-256 of a one byte and its two children.
///
/// The leading byte keeps a node from ever being taken for a leaf.
pub fn node_hash(left: &NodeHash, right: &NodeHash) -> NodeHash {
    let mut hasher = Sha256::new();
    hasher.update([0x01]);
    hasher.update(left.0);
    hasher.update(right.0);
    NodeHash(hasher.finalize().into())
}

/// The root over leaf hashes in their order.
pub fn root_of(leaves: &[NodeHash]) -> NodeHash {
    let mut tree = Tree::default();
    leaves.iter().for_each(|leaf| tree.push(*leaf));
    tree.root()
}
