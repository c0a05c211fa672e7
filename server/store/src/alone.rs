//! Writing to a file of SQLite, which no other process writes.

use std::collections::BTreeMap;
use std::sync::Arc;

use sqlx::{Connection, SqliteConnection};

use crate::batch::Batch;
use crate::errand::Errand;
use crate::fault::{Severity, StopCause, WriteError, severity};
use crate::health::Health;
use crate::notary::Signed;
use crate::sql;
use crate::sql::Link;
use crate::store::Shared;
use crate::writer::{ActJob, Asked, Purged, Workings, answer_all, insert_batch, signed, stop};

/// The connection that writes; none where it was lost or closed.
pub(crate) struct Alone {
    connection: Option<SqliteConnection>,
    purged: Purged,
}

impl Alone {
    pub fn new(connection: SqliteConnection) -> Self {
        Self { connection: Some(connection), purged: Purged::default() }
    }

    pub async fn close(&mut self) -> sqlx::Result<()> {
        sql::close(self.connection.take()).await
    }

    pub async fn write_acts(
        &mut self,
        shared: &Shared,
        working: &mut Workings,
        acts: Vec<ActJob>,
        asked: &Asked,
    ) {
        let Some(connection) = self.connection.as_mut() else {
            return answer_all(acts, &WriteError::closed());
        };
        let mut link = Link::Sqlite(&mut *connection);
        let answered =
            match sql::idempotency::find(&mut link, &asked.keys, asked.oldest_reply).await {
                Ok(answered) => answered,
                Err(error) => {
                    let error = self.recover(shared, error).await;
                    return answer_all(acts, &error);
                }
            };
        let mut batch = Batch::new(shared, working, answered);
        acts.into_iter().for_each(|job| batch.take(job));
        if !batch.writes() {
            return batch.publish();
        }
        let signed = match signed(shared, &batch) {
            Ok(signed) => signed,
            Err(stopped) => return batch.fail(&stopped),
        };
        let purge = self.purged.is_due(asked);
        match write_batch(connection, &batch, &signed, asked, purge).await {
            Ok(()) => {
                if purge {
                    self.purged.done(asked);
                }
                wrote(shared);
                batch.publish();
            }
            Err(error) => {
                let error = self.recover(shared, error).await;
                batch.fail(&error);
            }
        }
    }

    pub async fn write_errand(
        &mut self,
        shared: &Shared,
        errand: &mut dyn Errand,
    ) -> Result<(), WriteError> {
        let Some(connection) = self.connection.as_mut() else {
            return Err(WriteError::closed());
        };
        match run_errand(connection, errand).await {
            Ok(()) => {
                wrote(shared);
                Ok(())
            }
            Err(error) => Err(self.recover(shared, error).await),
        }
    }

    /// After a write that failed: finds out whether the next one can be relied on, and stops writing if not.
    ///
    /// The connection is replaced, since after some failures SQLite has rolled back by itself and after others it has not.
    async fn recover(&mut self, shared: &Shared, error: sqlx::Error) -> WriteError {
        let severity = severity(&error);
        let error = Arc::new(error);
        if severity == Severity::Lasting {
            return stop(shared, StopCause::Disk(error));
        }
        // Opened before the old one is closed: on a full disk there may be no space for the files that the first
        // connection makes.
        let mut fresh = match sql::sqlite::connect_to_write(&shared.place.database()).await {
            Ok(fresh) => fresh,
            Err(source) => return stop(shared, StopCause::Reopen(source)),
        };
        if let Err(error) = self.close().await {
            tracing::debug!(
                error = &error as &dyn std::error::Error,
                "the old connection did not close cleanly"
            );
        }
        let lengths = match sql::ledger::lengths(&mut Link::Sqlite(&mut fresh)).await {
            Ok(lengths) => lengths,
            Err(source) => return stop(shared, StopCause::Reopen(source)),
        };
        let published: BTreeMap<_, _> = shared
            .programmes
            .read()
            .iter()
            .map(|(id, published)| (id.as_str().to_owned(), published.read().head.size))
            .collect();
        if lengths != published {
            return stop(shared, StopCause::LedgerDiffers);
        }
        self.connection = Some(fresh);
        tracing::error!(error = &*error as &dyn std::error::Error, "a change was not written");
        if severity == Severity::Full {
            *shared.health.write() = Health::DiskFull;
            WriteError::DiskFull(error)
        } else {
            WriteError::Database(error)
        }
    }
}

/// Called before anybody hears of the success.
fn wrote(shared: &Shared) {
    if matches!(*shared.health.read(), Health::DiskFull) {
        *shared.health.write() = Health::Writing;
        tracing::info!("there is space on the disk again: writing goes on");
    }
}

async fn run_errand(
    connection: &mut SqliteConnection,
    errand: &mut dyn Errand,
) -> sqlx::Result<()> {
    let mut transaction = connection.begin_with("BEGIN IMMEDIATE").await?;
    errand.run(&mut Link::Sqlite(&mut transaction)).await?;
    transaction.commit().await
}

async fn write_batch(
    connection: &mut SqliteConnection,
    batch: &Batch<'_>,
    signed: &[Signed],
    asked: &Asked,
    purge: bool,
) -> sqlx::Result<()> {
    let mut transaction = connection.begin_with("BEGIN IMMEDIATE").await?;
    insert_batch(&mut Link::Sqlite(&mut transaction), batch, signed, asked, purge).await?;
    transaction.commit().await
}
