//! The one writer: takes what waits, decides it, writes it in one transaction, then publishes and answers.

use std::collections::HashMap;
use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};
use programme::codes::ProgrammeId;
use sqlx::{Connection, SqliteConnection};
use tokio::sync::{mpsc, oneshot};

use crate::act::{Act, ActError, Acted};
use crate::batch::{Batch, Working};
use crate::errand::Errand;
use crate::fault::{Severity, StopCause, WriteError, severity};
use crate::health::Health;
use crate::idempotency::KEPT_FOR;
use crate::notary::Signed;
use crate::sqlite;
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
    /// Finish and close the database.
    Close(oneshot::Sender<()>),
}

/// An act and who waits for it.
pub(crate) struct ActJob {
    pub act: Act,
    /// Whether the act begins the programme.
    pub founds: bool,
    pub answer: oneshot::Sender<Result<Acted, ActError>>,
}

/// The writer, on its own thread.
pub(crate) struct Writer {
    shared: Arc<Shared>,
    connection: Option<SqliteConnection>,
    working: HashMap<ProgrammeId, Working>,
    purged_at: Option<DateTime<Utc>>,
}

impl Writer {
    pub fn new(shared: Arc<Shared>, connection: SqliteConnection) -> Self {
        Self { shared, connection: Some(connection), working: HashMap::new(), purged_at: None }
    }

    /// Works until every handle is gone or the store is closed.
    pub async fn work(mut self, mut jobs: mpsc::Receiver<Job>) {
        while let Some(first) = jobs.recv().await {
            let mut acts = Vec::new();
            let mut next = Some(first);
            while let Some(job) = next {
                match job {
                    Job::Act(act) => acts.push(act),
                    Job::Errand(errand) => {
                        self.write_acts(std::mem::take(&mut acts)).await;
                        self.write_errand(errand).await;
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
        }
        self.close().await;
    }

    async fn close(&mut self) {
        *self.shared.health.write() = Health::Stopped(Arc::new(StopCause::Closed));
        if let Some(connection) = self.connection.take()
            && let Err(error) = connection.close().await
        {
            tracing::warn!(
                error = &error as &dyn std::error::Error,
                "the database did not close cleanly"
            );
        }
    }

    async fn write_acts(&mut self, acts: Vec<ActJob>) {
        let Some(latest) = acts.iter().map(|job| job.act.at).max() else {
            return;
        };
        let shared = Arc::clone(&self.shared);
        let writable = shared.health().refuses_to_write();
        let (Some(connection), Ok(())) = (self.connection.as_mut(), writable) else {
            let error = shared.health().refuses_to_write().err().unwrap_or_else(WriteError::closed);
            return answer_all(acts, &error);
        };
        let keys: Vec<_> = acts
            .iter()
            .filter_map(|job| {
                let key = job.act.idempotency.as_ref()?.key.clone();
                Some((job.act.by.clone(), key))
            })
            .collect();
        let oldest = latest - KEPT_FOR;
        let answered = match sqlite::idempotency::find(connection, &keys, oldest).await {
            Ok(answered) => answered,
            Err(error) => {
                let error = self.recover(error).await;
                return answer_all(acts, &error);
            }
        };

        let mut batch = Batch::new(&shared, &mut self.working, answered);
        acts.into_iter().for_each(|job| batch.take(job));
        if !batch.writes() {
            return batch.publish();
        }
        let signed = match shared.notary.sign(&shared, &batch) {
            Ok(signed) => signed,
            Err(inconsistent) => {
                tracing::error!(
                    error = &inconsistent as &dyn std::error::Error,
                    "nothing more is written: {inconsistent}"
                );
                let error = stop(&shared, StopCause::LedgerDiffers);
                return batch.fail(&error);
            }
        };
        let purge = self.purged_at.is_none_or(|purged_at| latest - purged_at >= PURGE_EVERY);
        match write_batch(connection, &batch, &signed, oldest, purge).await {
            Ok(()) => {
                if purge {
                    self.purged_at = Some(latest);
                }
                wrote(&shared);
                batch.publish();
            }
            Err(error) => {
                let error = recover(&shared, &mut self.connection, error).await;
                batch.fail(&error);
            }
        }
    }

    async fn write_errand(&mut self, mut errand: Box<dyn Errand>) {
        let shared = Arc::clone(&self.shared);
        let writable = shared.health().refuses_to_write();
        let written = match (self.connection.as_mut(), writable) {
            (Some(connection), Ok(())) => match run_errand(connection, errand.as_mut()).await {
                Ok(()) => {
                    wrote(&shared);
                    Ok(())
                }
                Err(error) => Err(self.recover(error).await),
            },
            (_, Err(stopped)) => Err(stopped),
            (None, Ok(())) => Err(WriteError::closed()),
        };
        errand.finish(&shared, written);
    }

    async fn recover(&mut self, error: sqlx::Error) -> WriteError {
        recover(&self.shared, &mut self.connection, error).await
    }
}

/// Called before anybody hears of the success.
fn wrote(shared: &Shared) {
    if matches!(*shared.health.read(), Health::DiskFull) {
        *shared.health.write() = Health::Writing;
        tracing::info!("there is space on the disk again: writing goes on");
    }
}

fn answer_all(acts: Vec<ActJob>, error: &WriteError) {
    for job in acts {
        // Whoever asked may have stopped waiting.
        let _ = job.answer.send(Err(error.clone().into()));
    }
}

async fn run_errand(
    connection: &mut SqliteConnection,
    errand: &mut dyn Errand,
) -> sqlx::Result<()> {
    let mut transaction = connection.begin_with("BEGIN IMMEDIATE").await?;
    errand.run(&mut transaction).await?;
    transaction.commit().await
}

async fn write_batch(
    connection: &mut SqliteConnection,
    batch: &Batch<'_>,
    signed: &[Signed],
    oldest_reply: DateTime<Utc>,
    purge: bool,
) -> sqlx::Result<()> {
    let mut transaction = connection.begin_with("BEGIN IMMEDIATE").await?;
    for (decided, _) in &batch.decided {
        if let Some(founded_at) = decided.founded_at {
            sqlite::ledger::insert_programme(&mut transaction, &decided.programme, founded_at)
                .await?;
        }
    }
    let rows: Vec<_> = batch.decided.iter().flat_map(|(decided, _)| &decided.rows).collect();
    sqlite::ledger::insert(&mut transaction, &rows).await?;
    sqlite::ledger::insert_checkpoints(&mut transaction, &batch.heads()).await?;
    sqlite::ledger::insert_signatures(&mut transaction, signed).await?;
    if purge {
        sqlite::idempotency::purge(&mut transaction, oldest_reply).await?;
    }
    let replies: Vec<_> = batch.to_remember.iter().collect();
    sqlite::idempotency::insert(&mut transaction, &replies, oldest_reply).await?;
    transaction.commit().await
}

/// After a write that failed: finds out whether the next one can be relied on, and stops writing if not.
///
/// The connection is replaced, since after some failures SQLite has rolled back by itself and after others it has not.
async fn recover(
    shared: &Shared,
    connection: &mut Option<SqliteConnection>,
    error: sqlx::Error,
) -> WriteError {
    let severity = severity(&error);
    let error = Arc::new(error);
    if severity == Severity::Lasting {
        return stop(shared, StopCause::Disk(error));
    }
    // Opened before the old one is closed: on a full disk there may be no space for the files that the first
    // connection makes.
    let mut fresh = match sqlite::connect_to_write(&shared.place.database()).await {
        Ok(fresh) => fresh,
        Err(source) => return stop(shared, StopCause::Reopen(source)),
    };
    if let Some(old) = connection.take()
        && let Err(error) = old.close().await
    {
        tracing::debug!(
            error = &error as &dyn std::error::Error,
            "the old connection did not close cleanly"
        );
    }
    let lengths = match sqlite::ledger::lengths(&mut fresh).await {
        Ok(lengths) => lengths,
        Err(source) => return stop(shared, StopCause::Reopen(source)),
    };
    let published: std::collections::BTreeMap<_, _> = shared
        .programmes
        .read()
        .iter()
        .map(|(id, published)| (id.as_str().to_owned(), published.read().head.size))
        .collect();
    if lengths != published {
        return stop(shared, StopCause::LedgerDiffers);
    }
    *connection = Some(fresh);
    tracing::error!(error = &*error as &dyn std::error::Error, "a change was not written");
    if severity == Severity::Full {
        *shared.health.write() = Health::DiskFull;
        WriteError::DiskFull(error)
    } else {
        WriteError::Database(error)
    }
}

fn stop(shared: &Shared, cause: StopCause) -> WriteError {
    tracing::error!(
        error = &cause as &dyn std::error::Error,
        "writing stops until the program is started again"
    );
    let cause = Arc::new(cause);
    *shared.health.write() = Health::Stopped(Arc::clone(&cause));
    WriteError::Stopped(cause)
}
