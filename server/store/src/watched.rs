//! What somebody who watches over the store is told of each transaction.

use std::fmt;
use std::sync::OnceLock;
use std::time::Duration;

use crate::store::Store;

/// One transaction of acts that is on disk.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Transaction {
    /// How many acts were done by it.
    pub acts: usize,
    /// How many records it added.
    pub records: usize,
    /// From the decision on the first of them until it was on disk.
    pub took: Duration,
}

type Hears = Box<dyn Fn(Transaction) + Send + Sync>;

/// Who is told, if anybody.
#[derive(Default)]
pub(crate) struct Watcher(OnceLock<Hears>);

impl Watcher {
    pub fn tell(&self, transaction: Transaction) {
        if let Some(hears) = self.0.get() {
            hears(transaction);
        }
    }
}

impl fmt::Debug for Watcher {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("Watcher").field(&self.0.get().is_some()).finish()
    }
}

impl Store {
    /// Has each transaction of acts told to `hears` once it is on disk, on the thread that writes, which waits meanwhile.
    ///
    /// There is one who hears; whoever comes later hears nothing.
    pub fn watch_transactions(&self, hears: impl Fn(Transaction) + Send + Sync + 'static) {
        // Somebody hears already.
        let _ = self.shared().watcher.0.set(Box::new(hears));
    }
}
