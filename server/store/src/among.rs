//! Writing to a PostgreSQL database to which other servers write, too.
//!
//! **One after the other, by a lock; and the key as the guard.** A decision rests on the state with everything before it, and
//! whoever decides may do so once only. So a server takes a lock of the programmes that it is about to write to, in the
//! transaction, then takes in what others wrote to them, and only then decides: nobody signs off what another server has just
//! taken back, and nothing that was decided has to be decided again. Those who wait are served in turn, so that none waits for
//! ever because others are faster. The locks of a transaction are taken in one order at all servers, so that no two wait for
//! each other, and keys of requests are locked with the programmes: the same key does a thing once, whichever servers it is
//! sent to. The lock is the transaction's. It ends with it, and so it does where a server dies in the middle: the database
//! gives up a transaction in which nothing happens for ten seconds, and who waits is told after as long. Should anything write
//! without the lock, then the primary key `(programme, seq)` and the trigger refuse the second record of a number, and nothing
//! of that transaction is written.
//!
//! **Changes outside the ledgers** (accounts, sessions, secrets, links) hold the one row of `change` in the same way.
//!
//! **A connection that is lost.** Before the commit was asked for, nothing is written, and that is what is answered. After
//! that it is not known, so it is looked up: with the same locks, which the old transaction holds until it has ended one way or
//! the other, the records either stand or never will. Only then somebody is answered. Where the database stays away, the
//! answer is that it is not known; memory never runs ahead of what was read or committed.

mod settle;

use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;

use programme::codes::ProgrammeId;
use sqlx::PgConnection;
use sqlx::postgres::PgConnectOptions;
use tokio::time::{Instant, timeout};
use uuid::Uuid;

use crate::batch::Batch;
use crate::catch_up::{self, Behind};
use crate::errand::Errand;
use crate::fault::{StopCause, WriteError, connection_is_lost};
use crate::health::Health;
use crate::notary::Signed;
use crate::sql;
use crate::sql::Link;
use crate::sql::others::Locks;
use crate::store::Shared;
use crate::writer::{
    ActJob, Asked, Purged, Told, Workings, answer_all, insert_batch, signed, stop,
};

/// How long the statements of one transaction may take, a wait for other servers included. A connection that was cut without
/// a word is known by it.
const PATIENCE: Duration = Duration::from_secs(20);

/// How long a large errand may take, such as taking a programme over.
const LONG: Duration = Duration::from_secs(3600);

/// The first and the longest pause between two attempts to connect.
const FIRST_PAUSE: Duration = Duration::from_millis(200);
const LONGEST_PAUSE: Duration = Duration::from_secs(5);

/// The connection that writes, beside those of other servers.
pub(crate) struct Among {
    /// What this server calls itself where it tells others something.
    me: Uuid,
    options: PgConnectOptions,
    /// None until the first write, and where it was lost.
    connection: Option<PgConnection>,
    /// The number of the last change outside the ledgers that memory has.
    seen: i64,
    /// When connecting is tried again, and the pause after that.
    next_try: Option<Instant>,
    pause: Duration,
    purged: Purged,
}

impl Among {
    pub fn new(me: Uuid, options: PgConnectOptions, seen: i64) -> Self {
        Self {
            me,
            options,
            connection: None,
            seen,
            next_try: None,
            pause: FIRST_PAUSE,
            purged: Purged::default(),
        }
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
        let programmes: BTreeSet<ProgrammeId> =
            acts.iter().map(|job| job.act.programme.clone()).collect();
        let mut locks = Locks::default();
        programmes.iter().for_each(|programme| locks.of_programme(programme));
        asked.keys.iter().for_each(|(person, key)| locks.of_key(person, key));
        if let Err(error) = self.begin(shared, Some(&locks)).await {
            return answer_all(acts, &error);
        }
        let of = programmes.iter().collect();
        let prepared = within(PATIENCE, async {
            let mut link = self.link()?;
            catch_up::ledgers(&mut link, shared, working, Some(&of)).await?;
            let answered =
                sql::idempotency::find(&mut link, &asked.keys, asked.oldest_reply).await?;
            Ok(answered)
        });
        let answered = match prepared.await {
            Ok(answered) => answered,
            Err(behind) => {
                let error = self.fell_behind(shared, behind).await;
                return answer_all(acts, &error);
            }
        };
        let mut batch = Batch::new(shared, working, answered);
        acts.into_iter().for_each(|job| batch.take(job));
        if !batch.writes() {
            self.roll_back().await;
            return batch.publish();
        }
        let signed = match signed(shared, &batch) {
            Ok(signed) => signed,
            Err(stopped) => {
                self.roll_back().await;
                return batch.fail(&stopped);
            }
        };
        let purge = self.purged.is_due(asked);
        match self.write_batch(shared, &batch, &signed, &locks, asked, purge).await {
            Ok(()) => {
                if purge {
                    self.purged.done(asked);
                }
                batch.publish();
            }
            Err(error) => batch.fail(&error),
        }
    }

    async fn write_batch(
        &mut self,
        shared: &Shared,
        batch: &Batch<'_>,
        signed: &[Signed],
        locks: &Locks,
        asked: &Asked,
        purge: bool,
    ) -> Result<(), WriteError> {
        let me = self.me;
        let written = within(PATIENCE, async {
            let mut link = self.link()?;
            insert_batch(&mut link, batch, signed, asked, purge).await?;
            for programme in batch.acknowledged_copies() {
                sql::others::remove_copy(&mut link, programme).await?;
            }
            for programme in batch.heads().into_keys() {
                let what = Told::Ledger(programme.clone());
                sql::others::tell(&mut link, &what.to_others(me)).await?;
            }
            Ok(())
        });
        if let Err(behind) = written.await {
            return Err(self.fell_behind(shared, behind).await);
        }
        let Err(error) = self.end("COMMIT").await else { return Ok(()) };
        if !connection_is_lost(&error) {
            return Err(self.fell_behind(shared, Behind::Database(error)).await);
        }
        self.connection = None;
        match self.settle(locks, batch, asked).await {
            Some(true) => Ok(()),
            Some(false) => Err(WriteError::Unreachable(Arc::new(error))),
            None => {
                let error = Arc::new(error);
                self.lost(shared, Arc::clone(&error));
                Err(WriteError::Uncertain(error))
            }
        }
    }

    pub async fn write_errand(
        &mut self,
        shared: &Shared,
        errand: &mut dyn Errand,
    ) -> Result<(), WriteError> {
        self.begin(shared, None).await?;
        let me = self.me;
        let seen = self.seen;
        let written = within(LONG, async {
            let mut link = self.link()?;
            let number = sql::others::begin_change(&mut link).await?;
            if number != seen + 1 {
                catch_up::people(&mut link, shared).await?;
            }
            errand.run(&mut link).await?;
            sql::others::tell(&mut link, &Told::People.to_others(me)).await?;
            Ok(number)
        });
        let number = match written.await {
            Ok(number) => number,
            Err(behind) => return Err(self.fell_behind(shared, behind).await),
        };
        let Err(error) = self.end("COMMIT").await else {
            self.seen = number;
            return Ok(());
        };
        // Whatever came of it, it is read anew.
        self.seen = -1;
        if !connection_is_lost(&error) {
            return Err(self.fell_behind(shared, Behind::Database(error)).await);
        }
        let error = Arc::new(error);
        self.lost(shared, Arc::clone(&error));
        Err(WriteError::Uncertain(error))
    }

    /// Takes in what others may have written, and connects again where the connection was lost.
    pub async fn look(&mut self, shared: &Shared, working: &mut Workings, told: &BTreeSet<Told>) {
        let stopped = matches!(shared.health(), Health::Stopped(_));
        let too_soon = self.next_try.is_some_and(|next| Instant::now() < next);
        if told.is_empty() || stopped || too_soon {
            return;
        }
        let was_away = matches!(shared.health(), Health::Unreachable(_));
        let everything = was_away || told.contains(&Told::Anything);
        // A connection that was lost since the last time is replaced once.
        let mut again = true;
        loop {
            match self.look_at(shared, working, told, everything).await {
                Ok(()) => return self.reached(shared),
                Err(Behind::Database(error)) if again && connection_is_lost(&error) => {
                    self.connection = None;
                    again = false;
                }
                // Nobody waits for an answer.
                Err(behind) => return drop(self.fell_behind(shared, behind).await),
            }
        }
    }

    async fn look_at(
        &mut self,
        shared: &Shared,
        working: &mut Workings,
        told: &BTreeSet<Told>,
        everything: bool,
    ) -> Result<(), Behind> {
        self.connect().await?;
        let of: BTreeSet<&ProgrammeId> = told.iter().filter_map(Told::programme).collect();
        let seen = self.seen;
        let number = within(LONG, async {
            let mut link = self.link()?;
            if everything || !of.is_empty() {
                let of = (!everything).then_some(&of);
                catch_up::ledgers(&mut link, shared, working, of).await?;
            }
            if !everything && !told.contains(&Told::People) {
                return Ok(seen);
            }
            // Asked before the rest is read: what is newer than the number is read once more.
            let number = sql::others::changes(&mut link).await?;
            if number != seen {
                catch_up::people(&mut link, shared).await?;
            }
            Ok(number)
        })
        .await?;
        self.seen = number;
        Ok(())
    }

    fn link(&mut self) -> sqlx::Result<Link<'_>> {
        self.connection.as_mut().map(Link::Postgres).ok_or(sqlx::Error::PoolClosed)
    }

    /// Begins a transaction, with locks where some are wanted. A connection that was lost since the last one is replaced once.
    async fn begin(&mut self, shared: &Shared, locks: Option<&Locks>) -> Result<(), WriteError> {
        let mut again = true;
        loop {
            let begun = match self.connect().await {
                Ok(()) => {
                    within(PATIENCE, async {
                        let mut link = self.link()?;
                        sql::others::turn(&mut link, "BEGIN").await?;
                        if let Some(locks) = locks {
                            sql::others::lock(&mut link, locks).await?;
                        }
                        Ok(())
                    })
                    .await
                }
                Err(error) => Err(Behind::Database(error)),
            };
            match begun {
                Ok(()) => return Ok(()),
                Err(Behind::Database(error)) if again && connection_is_lost(&error) => {
                    self.connection = None;
                    again = false;
                }
                Err(behind) => return Err(self.fell_behind(shared, behind).await),
            }
        }
    }

    async fn connect(&mut self) -> sqlx::Result<()> {
        if self.connection.is_none() {
            let connected = sql::postgres::connect_to_write(&self.options).await;
            // Who is not let in does not reach the database, whatever the reason is that it gives: that it takes nobody, that it
            // is not there any more, that the password is another one now.
            self.connection = Some(connected.map_err(|error| {
                if connection_is_lost(&error) {
                    return error;
                }
                sqlx::Error::Io(std::io::Error::other(error))
            })?);
        }
        Ok(())
    }

    async fn end(&mut self, how: &'static str) -> sqlx::Result<()> {
        let ended = within(PATIENCE, async {
            sql::others::turn(&mut self.link()?, how).await?;
            Ok(())
        });
        match ended.await {
            Ok(()) => Ok(()),
            Err(Behind::Database(error)) => Err(error),
            Err(Behind::Differs) => Err(sqlx::Error::WorkerCrashed),
        }
    }

    /// Ends a transaction in which nothing is to be written. Where that fails the connection goes, and with it the transaction.
    async fn roll_back(&mut self) {
        if let Err(error) = self.end("ROLLBACK").await {
            self.connection = None;
            tracing::debug!(
                error = &error as &dyn std::error::Error,
                "a transaction did not end cleanly, and its connection was closed"
            );
        }
    }

    /// After something failed and nothing was committed: what is answered.
    async fn fell_behind(&mut self, shared: &Shared, behind: Behind) -> WriteError {
        match behind {
            Behind::Differs => {
                self.connection = None;
                stop(shared, StopCause::LedgerDiffers)
            }
            Behind::Database(error) if connection_is_lost(&error) => {
                let error = Arc::new(error);
                self.lost(shared, Arc::clone(&error));
                WriteError::Unreachable(error)
            }
            Behind::Database(error) => {
                self.roll_back().await;
                tracing::error!(
                    error = &error as &dyn std::error::Error,
                    "a change was not written"
                );
                WriteError::Database(Arc::new(error))
            }
        }
    }

    /// The database cannot be reached: it is tried again after a while, which becomes longer.
    fn lost(&mut self, shared: &Shared, error: Arc<sqlx::Error>) {
        self.connection = None;
        self.next_try = Some(Instant::now() + self.pause);
        self.pause = (self.pause * 2).min(LONGEST_PAUSE);
        if !matches!(*shared.health.read(), Health::Unreachable(_)) {
            tracing::error!(
                database = self.options.get_database(),
                error = &*error as &dyn std::error::Error,
                "the database cannot be reached: nothing is written until it can"
            );
        }
        *shared.health.write() = Health::Unreachable(error);
    }

    fn reached(&mut self, shared: &Shared) {
        self.next_try = None;
        self.pause = FIRST_PAUSE;
        if matches!(*shared.health.read(), Health::Unreachable(_)) {
            *shared.health.write() = Health::Writing;
            tracing::info!(
                database = self.options.get_database(),
                "the database can be reached again: writing goes on"
            );
        }
    }
}

/// Does it, or fails as where the connection is lost.
async fn within<T>(
    limit: Duration,
    work: impl Future<Output = Result<T, Behind>>,
) -> Result<T, Behind> {
    timeout(limit, work)
        .await
        .unwrap_or_else(|_| Err(sqlx::Error::Io(std::io::ErrorKind::TimedOut.into()).into()))
}
