//! The one writer of this process: takes what waits, decides it, writes it in one transaction, then publishes and answers.
//!
//! How a transaction is written depends on whether others write to the same database: [`Alone`] has a file of SQLite,
//! [`Among`] works beside other servers on PostgreSQL.

use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};
use programme::codes::ProgrammeId;
use tokio::sync::{mpsc, oneshot};

use crate::act::{Act, ActError, Acted};
use crate::alone::Alone;
use crate::among::Among;
use crate::batch::{Batch, Working};
use crate::errand::Errand;
use crate::fault::{StopCause, WriteError};
use crate::health::Health;
use crate::idempotency::{KEPT_FOR, Key};
use crate::notary::Signed;
use crate::sql;
use crate::sql::Link;
use crate::store::Shared;

/// How many jobs may wait before callers wait to hand theirs in.
pub(crate) const WAITING: usize = 1024;

/// How many acts go into one transaction at most, so that none waits long for those behind it.
const MOST_IN_A_BATCH: usize = 256;

/// How often replies that are too old are deleted, by the time that acts carry.
const PURGE_EVERY: TimeDelta = TimeDelta::hours(1);

/// Something for the writer to do.
pub(crate) enum Job {
    /// An act on a programme.
    Act(ActJob),
    /// A change outside the ledger.
    Errand(Box<dyn Errand>),
    /// Another server may have written.
    Told(Told),
    /// Finish and close the database.
    Close(oneshot::Sender<()>),
}

/// What another server may have written.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Told {
    /// Anything.
    Anything,
    /// Something outside the ledgers.
    People,
    /// Records of a programme.
    Ledger(ProgrammeId),
}

/// An act and who waits for it.
pub(crate) struct ActJob {
    pub act: Act,
    /// Whether the act begins the programme.
    pub founds: bool,
    pub answer: oneshot::Sender<Result<Acted, ActError>>,
}

/// Programmes with what is decided and not yet on disk.
pub(crate) type Workings = HashMap<ProgrammeId, Working>;

/// Who writes.
pub(crate) enum Hand {
    /// Nobody else writes to the database.
    Alone(Alone),
    /// Other servers do, too.
    Among(Box<Among>),
}

/// The writer, on its own thread.
pub(crate) struct Writer {
    shared: Arc<Shared>,
    hand: Hand,
    working: Workings,
}

impl Writer {
    pub fn new(shared: Arc<Shared>, hand: Hand) -> Self {
        Self { shared, hand, working: HashMap::new() }
    }

    /// Works until every handle is gone or the store is closed.
    pub async fn work(mut self, mut jobs: mpsc::Receiver<Job>) {
        while let Some(first) = jobs.recv().await {
            let mut acts = Vec::new();
            let mut told = BTreeSet::new();
            let mut next = Some(first);
            while let Some(job) = next {
                match job {
                    Job::Act(act) => acts.push(act),
                    Job::Errand(errand) => {
                        self.write_acts(std::mem::take(&mut acts)).await;
                        self.write_errand(errand).await;
                    }
                    Job::Told(what) => {
                        told.insert(what);
                    }
                    Job::Close(done) => {
                        self.write_acts(acts).await;
                        jobs.close();
                        self.close().await;
                        // Whoever closed may have stopped waiting.
                        let _ = done.send(());
                        return;
                    }
                }
                next = if acts.len() < MOST_IN_A_BATCH { jobs.try_recv().ok() } else { None };
            }
            self.write_acts(acts).await;
            if let Hand::Among(among) = &mut self.hand {
                among.look(&self.shared, &mut self.working, &told).await;
            }
        }
        self.close().await;
    }

    async fn close(&mut self) {
        *self.shared.health.write() = Health::Stopped(Arc::new(StopCause::Closed));
        let closed = match &mut self.hand {
            Hand::Alone(alone) => alone.close().await,
            Hand::Among(among) => among.close().await,
        };
        if let Err(error) = closed {
            tracing::warn!(
                error = &error as &dyn std::error::Error,
                "the database did not close cleanly"
            );
        }
    }

    async fn write_acts(&mut self, acts: Vec<ActJob>) {
        let Some(asked) = Asked::of(&acts) else { return };
        if let Err(error) = self.shared.health().refuses_to_write() {
            return answer_all(acts, &error);
        }
        match &mut self.hand {
            Hand::Alone(alone) => {
                alone.write_acts(&self.shared, &mut self.working, acts, &asked).await;
            }
            Hand::Among(among) => {
                among.write_acts(&self.shared, &mut self.working, acts, &asked).await;
            }
        }
    }

    async fn write_errand(&mut self, mut errand: Box<dyn Errand>) {
        let written = match self.shared.health().refuses_to_write() {
            Err(stopped) => Err(stopped),
            Ok(()) => match &mut self.hand {
                Hand::Alone(alone) => alone.write_errand(&self.shared, &mut *errand).await,
                Hand::Among(among) => among.write_errand(&self.shared, &mut *errand).await,
            },
        };
        errand.finish(&self.shared, written);
    }
}

/// What acts that are to be written together are about.
pub(crate) struct Asked {
    /// The latest moment of theirs.
    latest: DateTime<Utc>,
    /// The keys that came with them.
    pub keys: Vec<Key>,
    /// Replies from before are forgotten.
    pub oldest_reply: DateTime<Utc>,
}

impl Asked {
    /// None where there are no acts.
    fn of(acts: &[ActJob]) -> Option<Self> {
        let latest = acts.iter().map(|job| job.act.at).max()?;
        let keys = acts.iter().filter_map(|job| {
            let key = job.act.idempotency.as_ref()?.key.clone();
            Some((job.act.by.clone(), key))
        });
        Some(Self { latest, keys: keys.collect(), oldest_reply: latest - KEPT_FOR })
    }
}

/// When old replies were last deleted, by the time that acts carry.
#[derive(Debug, Default)]
pub(crate) struct Purged(Option<DateTime<Utc>>);

impl Purged {
    pub fn is_due(&self, asked: &Asked) -> bool {
        self.0.is_none_or(|purged_at| asked.latest - purged_at >= PURGE_EVERY)
    }

    pub fn done(&mut self, asked: &Asked) {
        self.0 = Some(asked.latest);
    }
}

/// Called where nobody's act was written.
pub(crate) fn answer_all(acts: Vec<ActJob>, error: &WriteError) {
    for job in acts {
        // Whoever asked may have stopped waiting.
        let _ = job.answer.send(Err(error.clone().into()));
    }
}

/// Writes what a batch decided, inside a transaction.
pub(crate) async fn insert_batch(
    link: &mut Link<'_>,
    batch: &Batch<'_>,
    signed: &[Signed],
    asked: &Asked,
    purge: bool,
) -> sqlx::Result<()> {
    for (decided, _) in &batch.decided {
        if let Some(founded_at) = decided.founded_at {
            sql::ledger::insert_programme(link, &decided.programme, founded_at).await?;
        }
    }
    let rows: Vec<_> = batch.decided.iter().flat_map(|(decided, _)| &decided.rows).collect();
    sql::ledger::insert(link, &rows).await?;
    sql::ledger::insert_checkpoints(link, &batch.heads()).await?;
    sql::ledger::insert_signatures(link, signed).await?;
    if purge {
        sql::idempotency::purge(link, asked.oldest_reply).await?;
    }
    let replies: Vec<_> = batch.to_remember.iter().collect();
    let kept = sql::idempotency::insert(link, &replies, asked.oldest_reply).await?;
    if kept == replies.len() as u64 {
        return Ok(());
    }
    // Whoever decided looked for the keys before, so that something else put one there in between.
    Err(sqlx::Error::InvalidArgument("a key was answered by something else meanwhile".to_owned()))
}

/// Signs what a batch adds; where it does not follow from what was signed last, nothing more is written.
pub(crate) fn signed(shared: &Shared, batch: &Batch<'_>) -> Result<Vec<Signed>, WriteError> {
    shared.notary.sign(shared, batch).map_err(|inconsistent| {
        tracing::error!(
            error = &inconsistent as &dyn std::error::Error,
            "nothing more is written: {inconsistent}"
        );
        stop(shared, StopCause::LedgerDiffers)
    })
}

/// Writes no more until the program is started again.
pub(crate) fn stop(shared: &Shared, cause: StopCause) -> WriteError {
    tracing::error!(
        error = &cause as &dyn std::error::Error,
        "writing stops until the program is started again"
    );
    let cause = Arc::new(cause);
    *shared.health.write() = Health::Stopped(Arc::clone(&cause));
    WriteError::Stopped(cause)
}
