//! A tree that keeps every complete subtree, so that any proof about any of its sizes is a few look-ups.

use super::{NodeHash, Tree, empty_root, node_hash};

/// All complete subtrees over the leaves, about 64 bytes a leaf.
#[derive(Debug, Clone, Default)]
pub struct WholeTree {
    /// In each level the hashes of its complete subtrees, 1, 2, 4, … leaves wide.
    levels: Vec<Vec<NodeHash>>,
}

impl WholeTree {
    /// Adds a leaf by its hash.
    pub fn push(&mut self, leaf: NodeHash) {
        let mut hash = leaf;
        for level in 0.. {
            if level == self.levels.len() {
                self.levels.push(Vec::new());
            }
            let nodes = &mut self.levels[level];
            nodes.push(hash);
            if nodes.len() % 2 == 1 {
                return;
            }
            hash = node_hash(&nodes[nodes.len() - 2], &nodes[nodes.len() - 1]);
        }
    }

    /// How many leaves it has.
    pub fn size(&self) -> u64 {
        self.levels.first().map_or(0, |leaves| leaves.len() as u64)
    }

    /// The root over all leaves.
    pub fn root(&self) -> NodeHash {
        self.over(0, self.leaves())
    }

    /// The root as it was when the tree had that many leaves; none if it never had.
    pub fn root_at(&self, size: u64) -> Option<NodeHash> {
        Some(self.over(0, self.within(size)?))
    }

    /// The hash of a leaf, counted from 0; none beyond the last.
    pub fn leaf(&self, index: u64) -> Option<NodeHash> {
        self.levels.first()?.get(usize::try_from(index).ok()?).copied()
    }

    /// What shows that a leaf, counted from 0, stands in the tree of that size; none if it does not.
    ///
    /// # Source
    ///
    /// RFC 9162 section 2.1.3.1.
    pub fn inclusion_proof(&self, index: u64, size: u64) -> Option<Vec<NodeHash>> {
        let size = self.within(size)?;
        let index = usize::try_from(index).ok().filter(|index| *index < size)?;
        // From the root down: at each fork the half without the leaf is the proof's next part.
        let (mut start, mut width) = (0, size);
        let mut proof = Vec::new();
        while width > 1 {
            let left = split(width);
            if index < start + left {
                proof.push(self.over(start + left, width - left));
                width = left;
            } else {
                proof.push(self.over(start, left));
                start += left;
                width -= left;
            }
        }
        proof.reverse();
        Some(proof)
    }

    /// What shows that the tree of the second size grew from that of the first; none if the first is larger than the
    /// second, or the second than the tree. From nothing everything grows, so that proof is empty.
    ///
    /// # Source
    ///
    /// RFC 9162 section 2.1.4.1.
    pub fn consistency_proof(&self, first: u64, second: u64) -> Option<Vec<NodeHash>> {
        let second = self.within(second)?;
        let first = self.within(first).filter(|first| *first <= second)?;
        if first == 0 {
            return Some(Vec::new());
        }
        let (mut start, mut width) = (0, second);
        let mut proof = Vec::new();
        // The first tree ends somewhere in start..start + width; go down until it ends exactly there.
        while start + width != first {
            let left = split(width);
            if first <= start + left {
                proof.push(self.over(start + left, width - left));
                width = left;
            } else {
                proof.push(self.over(start, left));
                start += left;
                width -= left;
            }
        }
        // Whoever checks has the first root already, so it is left out where it would come last.
        if start != 0 {
            proof.push(self.over(start, width));
        }
        proof.reverse();
        Some(proof)
    }

    /// The same tree with its right edge alone, to grow on from.
    pub fn edge(&self) -> Tree {
        let leaves = self.leaves();
        let peaks = (0..self.levels.len())
            .rev()
            .filter(|level| leaves >> level & 1 == 1)
            .map(|level| self.levels[level][(leaves >> level) - 1])
            .collect();
        Tree { size: self.size(), peaks }
    }

    fn leaves(&self) -> usize {
        self.levels.first().map_or(0, Vec::len)
    }

    fn within(&self, size: u64) -> Option<usize> {
        usize::try_from(size).ok().filter(|size| *size <= self.leaves())
    }

    /// The root over `width` leaves from `start` on, where `start` is a place at which the tree forks.
    fn over(&self, start: usize, width: usize) -> NodeHash {
        if width == 0 {
            return empty_root();
        }
        if width.is_power_of_two() {
            return self.levels[width.trailing_zeros() as usize][start / width];
        }
        let left = split(width);
        node_hash(&self.over(start, left), &self.over(start + left, width - left))
    }
}

impl FromIterator<NodeHash> for WholeTree {
    fn from_iter<I: IntoIterator<Item = NodeHash>>(leaves: I) -> Self {
        let mut tree = Self::default();
        leaves.into_iter().for_each(|leaf| tree.push(leaf));
        tree
    }
}

/// The largest power of two below a width of at least 2: where the tree forks.
const fn split(width: usize) -> usize {
    width.next_power_of_two() / 2
}
