//! A way to a database of either engine.

use sqlx::pool::PoolConnection;
use sqlx::{PgConnection, PgPool, Postgres, Sqlite, SqliteConnection, SqlitePool};

/// A connection, or a transaction on one, for as long as statements run on it.
#[derive(Debug)]
pub(crate) enum Link<'a> {
    /// To SQLite.
    Sqlite(&'a mut SqliteConnection),
    /// To PostgreSQL.
    Postgres(&'a mut PgConnection),
}

impl Link<'_> {
    /// Whether other servers may be at the same database.
    pub fn is_shared(&self) -> bool {
        matches!(self, Link::Postgres(_))
    }
}

/// Connections that read.
#[derive(Debug)]
pub(crate) enum Readers {
    /// Of SQLite.
    Sqlite(SqlitePool),
    /// Of PostgreSQL, opened on the thread that stays for as long as the store is open: a connection is of the thread on which
    /// it was opened, and whoever asks first may be of a thread that ends soon or is busy for long.
    Postgres(PgPool, tokio::runtime::Handle),
}

impl Readers {
    /// Whether other servers may be at the same database.
    pub fn is_shared(&self) -> bool {
        matches!(self, Readers::Postgres(..))
    }

    pub async fn acquire(&self) -> sqlx::Result<Reader> {
        match self {
            Readers::Sqlite(pool) => Ok(Reader::Sqlite(pool.acquire().await?)),
            Readers::Postgres(pool, thread) => {
                let pool = pool.clone();
                let acquired = thread.spawn(async move { pool.acquire().await }).await;
                Ok(Reader::Postgres(acquired.map_err(|_| sqlx::Error::PoolClosed)??))
            }
        }
    }

    pub async fn close(&self) {
        match self {
            Readers::Sqlite(pool) => pool.close().await,
            Readers::Postgres(pool, _) => pool.close().await,
        }
    }
}

/// A connection that reads, until it is given back.
#[derive(Debug)]
pub(crate) enum Reader {
    /// To SQLite.
    Sqlite(PoolConnection<Sqlite>),
    /// To PostgreSQL.
    Postgres(PoolConnection<Postgres>),
}

impl Reader {
    pub fn link(&mut self) -> Link<'_> {
        match self {
            Reader::Sqlite(connection) => Link::Sqlite(connection),
            Reader::Postgres(connection) => Link::Postgres(connection),
        }
    }
}
