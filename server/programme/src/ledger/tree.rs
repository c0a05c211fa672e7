//! A tree that only grows and keeps no more than its right edge.

use super::{NodeHash, empty_root, node_hash};

/// Size and root of a growing tree, in a few hundred bytes however many leaves it has.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Tree {
    pub(super) size: u64,
    /// Roots of the complete subtrees that the leaves fall into, the largest first: one for each bit set in the size.
    pub(super) peaks: Vec<NodeHash>,
}

impl Tree {
    /// Adds a leaf by its hash.
    pub fn push(&mut self, leaf: NodeHash) {
        let mut hash = leaf;
        let mut remaining = self.size;
        // Each low bit set is a complete subtree of the size that has just been reached.
        while remaining & 1 == 1 {
            if let Some(left) = self.peaks.pop() {
                hash = node_hash(&left, &hash);
            }
            remaining >>= 1;
        }
        self.peaks.push(hash);
        self.size += 1;
    }

    /// How many leaves it has.
    pub const fn size(&self) -> u64 {
        self.size
    }

    /// Its root.
    pub fn root(&self) -> NodeHash {
        self.peaks
            .iter()
            .rev()
            .copied()
            .reduce(|right, left| node_hash(&left, &right))
            .unwrap_or_else(empty_root)
    }
}
