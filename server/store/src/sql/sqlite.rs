//! What only SQLite has: how to open a file, and whether its tables are as this program makes them.

use std::collections::BTreeMap;
use std::path::Path;
use std::time::Duration;

use sqlx::migrate::Migrator;
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous};
use sqlx::{Connection, SqliteConnection, SqlitePool};
use tokio::sync::OnceCell;

pub(crate) static MIGRATIONS: Migrator = sqlx::migrate!("../../migrations/sqlite");

/// How long to wait for another connection, such as that of a backup.
const BUSY_TIMEOUT: Duration = Duration::from_secs(10);

/// Connections that read at the same time. State is read from memory, so few are needed.
const READERS: u32 = 4;

/// The log of changes is cut down to this after each checkpoint.
const LARGEST_LOG: &str = "67108864";

fn options(database: &Path) -> SqliteConnectOptions {
    SqliteConnectOptions::new()
        .filename(database)
        .create_if_missing(false)
        .busy_timeout(BUSY_TIMEOUT)
        .row_buffer_size(1024)
}

/// The connection that writes.
///
/// `synchronous=FULL`: with less, a power cut can lose what was committed.
pub(crate) async fn connect_to_write(database: &Path) -> sqlx::Result<SqliteConnection> {
    let options = options(database)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .foreign_keys(true)
        .pragma("recursive_triggers", "ON")
        .pragma("journal_size_limit", LARGEST_LOG);
    SqliteConnection::connect_with(&options).await
}

/// Connections that read, opened as needed.
pub(crate) fn readers(database: &Path) -> SqlitePool {
    SqlitePoolOptions::new()
        .max_connections(READERS)
        .connect_lazy_with(options(database).pragma("query_only", "ON"))
}

/// A connection that reads a database which a server may be writing.
pub(crate) async fn connect_to_read(database: &Path) -> sqlx::Result<SqliteConnection> {
    SqliteConnection::connect_with(&options(database).pragma("query_only", "ON")).await
}

/// A connection to a file of a backup, which nobody writes any more.
pub(crate) async fn connect_to_look_into(file: &Path) -> sqlx::Result<SqliteConnection> {
    SqliteConnection::connect_with(&options(file).immutable(true).read_only(true)).await
}

/// A connection that copies a database which a server may be writing.
pub(crate) async fn connect_to_copy(database: &Path) -> sqlx::Result<SqliteConnection> {
    SqliteConnection::connect_with(&options(database)).await
}

/// A connection to a file that no other process has, kept in that one file.
pub(crate) async fn connect_alone(database: &Path) -> sqlx::Result<SqliteConnection> {
    let options = options(database)
        .journal_mode(SqliteJournalMode::Delete)
        .synchronous(SqliteSynchronous::Full);
    SqliteConnection::connect_with(&options).await
}

/// What SQLite says first about its own structure; `ok` if nothing is wrong.
pub(crate) async fn integrity(connection: &mut SqliteConnection) -> sqlx::Result<String> {
    sqlx::query_scalar("PRAGMA integrity_check(1)").fetch_one(connection).await
}

/// Tables and guards by name, as they are written down in the database.
type Objects = BTreeMap<String, Option<String>>;

/// What the tables and guards are after each of the migrations, by its version.
static EXPECTED: OnceCell<BTreeMap<i64, Objects>> = OnceCell::const_new();

/// The first table or guard that is not as this program makes it; none if all are.
pub(crate) async fn other_object(
    connection: &mut SqliteConnection,
) -> sqlx::Result<Option<String>> {
    let version: i64 =
        sqlx::query_scalar("SELECT coalesce(max(version), 0) FROM _sqlx_migrations WHERE success")
            .fetch_one(&mut *connection)
            .await?;
    let expected = EXPECTED.get_or_try_init(expected_objects).await?;
    let Some(expected) = expected.get(&version) else {
        return Ok(Some(format!("tables of version {version}")));
    };
    let mut found = objects(connection).await?;
    let mut other = expected
        .iter()
        .filter(|(name, sql)| found.remove(*name).as_ref() != Some(*sql))
        .map(|(name, _)| name.clone());
    if let Some(name) = other.next() {
        return Ok(Some(name));
    }
    drop(other);
    Ok(found.into_keys().next())
}

async fn expected_objects() -> sqlx::Result<BTreeMap<i64, Objects>> {
    let mut empty = SqliteConnection::connect("sqlite::memory:").await?;
    // The library's own table is no part of any migration.
    let mut by_version = BTreeMap::new();
    for migration in MIGRATIONS.iter() {
        sqlx::raw_sql(migration.sql.clone()).execute(&mut empty).await?;
        by_version.insert(migration.version, objects(&mut empty).await?);
    }
    empty.close().await?;
    Ok(by_version)
}

async fn objects(connection: &mut SqliteConnection) -> sqlx::Result<Objects> {
    let all: Vec<(String, Option<String>)> = sqlx::query_as(
        "SELECT type || ' ' || name, sql FROM sqlite_master WHERE tbl_name <> '_sqlx_migrations'",
    )
    .fetch_all(connection)
    .await?;
    Ok(all.into_iter().collect())
}

/// Writes a whole copy of the database, as of one moment, into an empty file.
pub(crate) async fn copy_into(connection: &mut SqliteConnection, file: &str) -> sqlx::Result<()> {
    sqlx::query("VACUUM INTO ?1").bind(file).execute(connection).await?;
    Ok(())
}
