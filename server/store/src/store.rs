//! The store itself: what is shared between those who read and the one who writes.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use parking_lot::RwLock;
use programme::codes::ProgrammeId;
use programme::commands::GoneOnFrom;
use programme::ledger::NodeHash;
use programme::state::State;
use tokio::sync::{broadcast, mpsc, oneshot};

use crate::data_dir::DataDir;
use crate::fault::{StopCause, WriteError};
use crate::fence::{CopyFound, Fence};
use crate::health::Health;
use crate::notary::Notary;
use crate::objects::Objects;
use crate::published::{Head, News, Published};
use crate::secret::Secret;
use crate::session::SignIns;
use crate::sql::Readers;
use crate::watched::Watcher;
use crate::writer::Job;

/// The ledger, people and sessions of one data directory. Clones are handles to the same store.
#[derive(Clone)]
pub struct Store {
    shared: Arc<Shared>,
    jobs: mpsc::Sender<Job>,
}

/// What readers and the writer share.
pub(crate) struct Shared {
    pub programmes: RwLock<BTreeMap<ProgrammeId, Arc<RwLock<Published>>>>,
    pub sign_ins: RwLock<SignIns>,
    pub secrets: RwLock<HashMap<String, Secret>>,
    pub health: RwLock<Health>,
    pub news: broadcast::Sender<News>,
    pub readers: Readers,
    pub objects: Objects,
    pub notary: Notary,
    pub fence: Fence,
    /// Ledgers that go on from copies that nobody has acknowledged.
    pub copies: RwLock<HashMap<ProgrammeId, CopyFound>>,
    /// Who hears of each transaction.
    pub watcher: Watcher,
    /// Holds the directory's lock until the last handle and the writer are gone.
    pub place: DataDir,
}

impl Shared {
    pub fn health(&self) -> Health {
        self.health.read().clone()
    }

    pub fn programme(&self, id: &ProgrammeId) -> Option<Arc<RwLock<Published>>> {
        self.programmes.read().get(id).cloned()
    }
}

impl std::fmt::Debug for Store {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Store").field("place", &self.shared.place).finish_non_exhaustive()
    }
}

impl Store {
    pub(crate) fn new(shared: Arc<Shared>, jobs: mpsc::Sender<Job>) -> Self {
        Self { shared, jobs }
    }

    pub(crate) fn shared(&self) -> &Shared {
        &self.shared
    }

    pub(crate) async fn send(&self, job: Job) -> Result<(), WriteError> {
        self.jobs.send(job).await.map_err(|_| WriteError::closed())
    }

    #[cfg(test)]
    pub(crate) fn jobs_waiting(&self) -> usize {
        self.jobs.max_capacity() - self.jobs.capacity()
    }

    /// Looks at a programme as it is on disk now; none if there is no such programme.
    ///
    /// Writing waits while `look` runs, so it should copy out what takes long.
    pub fn read<T>(
        &self,
        programme: &ProgrammeId,
        look: impl FnOnce(&State, &Head) -> T,
    ) -> Option<T> {
        let published = self.shared.programme(programme)?;
        let published = published.read();
        Some(look(&published.state, &published.head))
    }

    /// Every programme, by id.
    pub fn programmes(&self) -> Vec<ProgrammeId> {
        self.shared.programmes.read().keys().cloned().collect()
    }

    /// Size and root of the programme's tree.
    pub fn tree(&self, programme: &ProgrammeId) -> Option<Head> {
        self.read(programme, |_, head| *head)
    }

    /// Size and root as they were when the ledger had that many records; none if it never had.
    pub fn tree_at(&self, programme: &ProgrammeId, size: u64) -> Option<Head> {
        let published = self.shared.programme(programme)?;
        let root = published.read().tree.root_at(size)?;
        Some(Head { size, root })
    }

    /// What shows that the record of that number stands in the ledger of that size: its leaf's hash and the proof.
    ///
    /// None if there is no such programme, record or size. Records count from 1, leaves in a proof from 0: check with
    /// [`programme::ledger::inclusion_holds`] and `seq - 1`.
    pub fn inclusion_proof(
        &self,
        programme: &ProgrammeId,
        seq: u64,
        size: u64,
    ) -> Option<(NodeHash, Vec<NodeHash>)> {
        let index = seq.checked_sub(1)?;
        let published = self.shared.programme(programme)?;
        let published = published.read();
        Some((published.tree.leaf(index)?, published.tree.inclusion_proof(index, size)?))
    }

    /// What shows that the ledger of the second size only grew from that of the first.
    ///
    /// None if there is no such programme, or the sizes are not `first <= second <= present`.
    pub fn consistency_proof(
        &self,
        programme: &ProgrammeId,
        first: u64,
        second: u64,
    ) -> Option<Vec<NodeHash>> {
        let published = self.shared.programme(programme)?;
        let published = published.read();
        published.tree.consistency_proof(first, second)
    }

    /// The copy that a ledger goes on from, where test lead and safety officer have not both acknowledged it: until then
    /// nobody signs in it, and its checkpoints are not signed.
    pub fn copy_of(&self, programme: &ProgrammeId) -> Option<GoneOnFrom> {
        let found = self.shared.copies.read().get(programme).copied()?;
        let CopyFound { head: Head { size, root }, known } = found;
        Some(GoneOnFrom { records: size, root, known, key: self.shared.notary.newest() })
    }

    /// Hears of records once they are on disk. Who listens too slowly misses some, is told so, and can read on from
    /// the last number.
    pub fn subscribe(&self) -> broadcast::Receiver<News> {
        self.shared.news.subscribe()
    }

    /// The files that records speak of.
    pub fn objects(&self) -> &Objects {
        &self.shared.objects
    }

    /// Whether the store writes.
    pub fn health(&self) -> Health {
        self.shared.health()
    }

    /// Finishes what waits to be written and closes the database. Later writes through any handle are refused.
    pub async fn close(&self) {
        let (done, finished) = oneshot::channel();
        if self.jobs.send(Job::Close(done)).await.is_ok() {
            // Nothing to do where the writer is gone already.
            let _ = finished.await;
        }
        self.shared.readers.close().await;
        self.shared.place.unlock();
    }
}

impl WriteError {
    pub(crate) fn closed() -> Self {
        WriteError::Stopped(Arc::new(StopCause::Closed))
    }
}
