//! What readers see: the state and tree of each programme as far as they are on disk.

use programme::codes::ProgrammeId;
use programme::entry::Entry;
use programme::ledger::{NodeHash, WholeTree};
use programme::state::State;

/// Size and root of a programme's tree.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Head {
    /// How many records.
    pub size: u64,
    /// The root over them.
    pub root: NodeHash,
}

/// Told to those who listen once records are on disk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct News {
    /// Of which programme.
    pub programme: ProgrammeId,
    /// The number of its last record.
    pub seq: u64,
}

/// A programme as far as it is on disk.
#[derive(Debug, Clone)]
pub(crate) struct Published {
    pub state: State,
    pub tree: WholeTree,
    pub head: Head,
}

impl Default for Published {
    fn default() -> Self {
        let tree = WholeTree::default();
        Self { state: State::default(), head: Head { size: 0, root: tree.root() }, tree }
    }
}

impl Published {
    /// Takes in entries that are on disk.
    pub fn take_in<'a>(&mut self, rows: impl Iterator<Item = (&'a Entry, NodeHash)>) {
        for (entry, leaf) in rows {
            self.state.apply(entry);
            self.tree.push(leaf);
        }
        self.head = Head { size: self.tree.size(), root: self.tree.root() };
    }
}
