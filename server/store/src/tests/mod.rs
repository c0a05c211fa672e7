//! Stories about the store: each opens one in a directory of its own, and in a database of its own where there is a server.

#![allow(clippy::unwrap_used, clippy::panic)]

mod acts;
mod backups;
mod buckets;
mod database;
mod earlier;
mod failing;
mod files;
mod flips;
mod forgeries;
mod guards;
mod keys;
mod opening;
mod packs;
mod past;
mod relocating;
mod repeating;
mod servers;
mod sign_ins;
mod stepwise;
mod verifying;

use std::io::Write as _;
use std::path::{Path, PathBuf};

use chrono::{DateTime, TimeDelta, Utc};
use programme::codes::{PersonHandle, ProgrammeId, RecorderCode};
use programme::entry::{Draft, Entry};
use programme::nouns::WeatherObservation;
use programme::record::{Digest, RecordingTaken, StandDownCalled, WeatherObserved};
use programme::state::State;
use sqlx::{Connection, SqliteConnection};
use tempfile::TempDir;

use crate::*;

/// A store with one programme, founded by ada. It is kept on PostgreSQL where [`database::SERVER`] names one, and in a file of
/// SQLite otherwise.
struct Club {
    directory: TempDir,
    whereabouts: Whereabouts,
    store: Store,
    /// Gone after the store.
    database: Option<database::Database>,
}

impl Club {
    async fn with_a_programme() -> Self {
        Self::begun(database::Database::for_a_test().await).await
    }

    async fn with_records(records: u64) -> Self {
        Self::with_a_programme().await.grown_to(records).await
    }

    /// In a file of SQLite, for what is about such files.
    async fn in_a_file() -> Self {
        Self::begun(None).await
    }

    async fn in_a_file_with(records: u64) -> Self {
        Self::in_a_file().await.grown_to(records).await
    }

    async fn begun(database: Option<database::Database>) -> Self {
        let directory = TempDir::new().unwrap();
        let url = database.as_ref().map(database::Database::url);
        let whereabouts =
            Whereabouts { data: directory.path().join("data"), database: url, recordings: None };
        let store = Store::open_at(&whereabouts).await.unwrap();
        store.found("Glider tug".to_owned(), act(|_| Ok(vec![]))).await.unwrap();
        Self { directory, whereabouts, store, database }
    }

    async fn grown_to(self, records: u64) -> Self {
        for number in 2..=records {
            self.store.act(act(move |_| Ok(vec![remark(&number.to_string())]))).await.unwrap();
        }
        self
    }

    fn data(&self) -> PathBuf {
        self.whereabouts.data.clone()
    }

    fn length(&self) -> u64 {
        self.store.read(&tug(), |state, _| state.length()).unwrap()
    }

    async fn open_again(&self) -> Result<Store, OpenError> {
        Store::open_at(&self.whereabouts).await
    }

    async fn reopened(self) -> Self {
        self.store.close().await;
        let store = self.open_again().await.unwrap();
        Self { store, ..self }
    }

    /// Runs statements as somebody would with a database shell.
    async fn tamper(&self, statements: &'static str) -> Result<(), sqlx::Error> {
        match &self.database {
            Some(database) => database.runs(statements).await,
            None => tamper(&self.data(), statements).await,
        }
    }

    async fn verdict(&self) -> ProgrammeVerdict {
        verify_at(&self.whereabouts, &[]).await.unwrap().remove(0)
    }
}

/// Keeps the writer busy until told to go on, so that what is asked meanwhile waits for one transaction.
struct HeldWriter {
    go_on: std::sync::mpsc::Sender<()>,
    held: tokio::task::JoinHandle<()>,
}

impl HeldWriter {
    async fn of(club: &Club) -> Self {
        let (go_on, wait) = std::sync::mpsc::channel();
        let (started, has_started) = tokio::sync::oneshot::channel();
        let store = club.store.clone();
        let held = tokio::spawn(async move {
            let holding = act(move |_| {
                started.send(()).unwrap();
                wait.recv().unwrap();
                Ok(vec![])
            });
            store.act(holding).await.unwrap();
        });
        has_started.await.unwrap();
        Self { go_on, held }
    }

    /// Lets the writer go on once all of these wait for it.
    async fn until_waiting(self, acts: Vec<Act>, store: &Store) -> Vec<Result<Acted, ActError>> {
        let mut waiting = Vec::new();
        for act in acts {
            let store = store.clone();
            waiting.push(tokio::spawn(async move { store.act(act).await }));
        }
        while store.jobs_waiting() < waiting.len() {
            tokio::task::yield_now().await;
        }
        self.go_on.send(()).unwrap();
        self.held.await.unwrap();
        let mut outcomes = Vec::new();
        for one in waiting {
            outcomes.push(one.await.unwrap());
        }
        outcomes
    }
}

async fn tamper(data: &Path, statements: &'static str) -> Result<(), sqlx::Error> {
    let options = sqlx::sqlite::SqliteConnectOptions::new()
        .filename(data.join("rungbook.db"))
        .foreign_keys(false);
    let mut connection = SqliteConnection::connect_with(&options).await?;
    let outcome = sqlx::raw_sql(statements).execute(&mut connection).await;
    connection.close().await?;
    outcome.map(|_| ())
}

/// Keeps a file.
async fn kept(club: &Club, bytes: &[u8]) -> Kept {
    let mut incoming = club.store.objects().begin().unwrap();
    incoming.write_all(bytes).unwrap();
    club.store.objects().keep(incoming).await.unwrap()
}

/// Records that these files are a recording and its columns.
async fn recorded(club: &Club, recording: &Digest, columns: &Digest) {
    let taken = RecordingTaken {
        recording: recording.clone(),
        recorder: RecorderCode::new("logger").unwrap(),
        recorder_revision: 2,
        name: "a.csv".to_owned(),
        bytes: 8,
        started: noon(),
        ended: noon(),
        rows: 1,
        columns: columns.clone(),
        channels: Vec::new(),
        refused_rows: 0,
    };
    club.store.act(act(move |_| Ok(vec![taken.clone().into()]))).await.unwrap();
}

fn tug() -> ProgrammeId {
    ProgrammeId::new("tug").unwrap()
}

fn ada() -> PersonHandle {
    PersonHandle::new("ada").unwrap()
}

fn noon() -> DateTime<Utc> {
    "2026-05-09T12:00:00Z".parse().unwrap()
}

fn minutes_after_noon(minutes: i64) -> DateTime<Utc> {
    noon() + TimeDelta::minutes(minutes)
}

fn stand_down(reason: &str) -> Draft {
    StandDownCalled { reason: reason.to_owned() }.into()
}

fn remark(remarks: &str) -> Draft {
    let weather =
        WeatherObservation { remarks: Some(remarks.to_owned()), ..WeatherObservation::default() };
    WeatherObserved { weather }.into()
}

fn done(state: &State, entries: &[Entry]) -> Reply {
    let body = format!("{} records, {} of them new", state.length(), entries.len());
    Reply {
        status: 201,
        body: body.into_bytes(),
        headers: vec![("location".to_owned(), format!("/records/{}", state.length()))],
    }
}

/// An act by ada at noon.
fn act(
    decide: impl FnOnce(&State) -> Result<Vec<Draft>, programme::refusal::Refusal> + Send + 'static,
) -> Act {
    Act {
        programme: tug(),
        by: ada(),
        at: noon(),
        idempotency: None,
        decide: Box::new(decide),
        reply: Box::new(done),
    }
}

fn refusal() -> programme::refusal::Refusal {
    programme::refusal::Refusal::Unknown { what: "point", code: "GR-01".to_owned() }
}
