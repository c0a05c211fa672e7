//! The thread of a server on a shared database: it listens for what other servers tell, looks every second in any case, and
//! keeps the connections that read.

use std::io;
use std::sync::Weak;
use std::time::Duration;

use programme::codes::ProgrammeId;
use sqlx::PgPool;
use sqlx::postgres::{PgConnectOptions, PgListener};
use tokio::runtime::{Builder, Handle};
use tokio::sync::{mpsc, oneshot};
use tokio::time::{MissedTickBehavior, interval, sleep};
use uuid::Uuid;

use crate::sql;
use crate::sql::others::CHANNEL;
use crate::store::Shared;
use crate::writer::{Job, Told};

/// How often it is looked whether others wrote, where nobody told so.
const EVERY: Duration = Duration::from_secs(1);

impl Told {
    /// The programme that it is about.
    pub fn programme(&self) -> Option<&ProgrammeId> {
        match self {
            Told::Ledger(programme) => Some(programme),
            Told::Anything | Told::People => None,
        }
    }

    /// As it is told to other servers.
    pub fn to_others(&self, me: Uuid) -> String {
        match self {
            Told::Anything => format!("{me}"),
            Told::People => format!("{me} people"),
            Told::Ledger(programme) => format!("{me} ledger {programme}"),
        }
    }

    /// What another server told; none where it was this one.
    fn heard(text: &str, me: Uuid) -> Option<Self> {
        let parts: Vec<&str> = text.split(' ').collect();
        match parts.as_slice() {
            [from, ..] if *from == me.to_string() => None,
            [_, "people"] => Some(Told::People),
            [_, "ledger", programme] => {
                Some(ProgrammeId::new(programme).map_or(Told::Anything, Told::Ledger))
            }
            _ => Some(Told::Anything),
        }
    }
}

/// The thread before the store is there.
pub(crate) struct Watch {
    pub readers: PgPool,
    pub thread: Handle,
    begin: oneshot::Sender<(Weak<Shared>, mpsc::WeakSender<Job>)>,
}

impl Watch {
    /// Starts the thread.
    pub fn prepare(options: &PgConnectOptions, me: Uuid) -> io::Result<Self> {
        let runtime = Builder::new_current_thread().enable_all().build()?;
        let thread = runtime.handle().clone();
        let readers = {
            let _on_the_thread = runtime.enter();
            sql::postgres::readers(options)
        };
        let (begin, begun) = oneshot::channel();
        let pool = readers.clone();
        std::thread::Builder::new().name("ledger-watch".to_owned()).spawn(move || {
            runtime.block_on(async {
                // Dropped where the store could not be opened.
                if let Ok((shared, jobs)) = begun.await {
                    watch(&pool, &shared, &jobs, me).await;
                }
                pool.close().await;
            });
        })?;
        Ok(Self { readers, thread, begin })
    }

    /// Watches until the store is closed.
    pub fn begin(self, shared: Weak<Shared>, jobs: mpsc::WeakSender<Job>) {
        // The thread waits for nothing else.
        let _ = self.begin.send((shared, jobs));
    }
}

async fn watch(readers: &PgPool, shared: &Weak<Shared>, jobs: &mpsc::WeakSender<Job>, me: Uuid) {
    let (tell, mut told) = mpsc::channel(256);
    let listening = tokio::spawn(listen(readers.clone(), tell, me));
    let mut ticks = interval(EVERY);
    ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
    while shared.strong_count() > 0 && !readers.is_closed() {
        let what = tokio::select! {
            _ = ticks.tick() => Told::Anything,
            Some(what) = told.recv() => what,
        };
        if let Some(jobs) = jobs.upgrade() {
            // Where so much waits, the writer looks before it writes; and there is a next time.
            let _ = jobs.try_send(Job::Told(what));
        }
    }
    listening.abort();
}

/// Passes on what others tell. Where the connection is lost it is made anew; looking goes on meanwhile.
async fn listen(readers: PgPool, tell: mpsc::Sender<Told>, me: Uuid) {
    loop {
        if let Err(error) = listen_on(&readers, &tell, me).await {
            tracing::debug!(error = &error as &dyn std::error::Error, "nothing is heard of others");
        }
        if tell.is_closed() || readers.is_closed() {
            return;
        }
        sleep(EVERY).await;
    }
}

async fn listen_on(readers: &PgPool, tell: &mpsc::Sender<Told>, me: Uuid) -> sqlx::Result<()> {
    let mut listener = PgListener::connect_with(readers).await?;
    listener.listen(CHANNEL).await?;
    loop {
        // None where the connection was lost for a while, and something may have been missed.
        let heard = listener.try_recv().await?;
        let what = heard.map_or(Some(Told::Anything), |heard| Told::heard(heard.payload(), me));
        if let Some(what) = what
            && tell.send(what).await.is_err()
        {
            return Ok(());
        }
    }
}
