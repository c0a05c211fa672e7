//! The statements, one file per noun, for SQLite and for PostgreSQL. Everything above this knows nothing of SQL.
//!
//! Most texts serve both engines, since `$1` is a place in either: they stand once, and run on the [`Link`] that they are
//! given. Where the engines differ, both texts stand beside one another in the same function. What only one engine has is in
//! the file of that name: how to connect, and whether the tables are as the program makes them.

pub(crate) mod account;
pub(crate) mod calendar_link;
pub(crate) mod idempotency;
pub(crate) mod ledger;
mod link;
pub(crate) mod moving;
pub(crate) mod others;
pub(crate) mod postgres;
pub(crate) mod secret;
pub(crate) mod session;
pub(crate) mod sqlite;
pub(crate) mod steps;

use chrono::{DateTime, Utc};
use sqlx::Connection;
use sqlx::migrate::MigrateError;

pub(crate) use link::{Link, Reader, Readers};

/// Runs a statement that gives rows, on whichever engine the link leads to.
macro_rules! on {
    ($link:expr, $connection:ident => $statement:expr) => {
        match $link {
            $crate::sql::Link::Sqlite(connection) => {
                let $connection = &mut **connection;
                $statement.await
            }
            $crate::sql::Link::Postgres(connection) => {
                let $connection = &mut **connection;
                $statement.await
            }
        }
    };
}

/// Runs a statement that changes rows, on whichever engine the link leads to: how many it changed.
macro_rules! run {
    ($link:expr, $connection:ident => $statement:expr) => {
        match $link {
            $crate::sql::Link::Sqlite(connection) => {
                let $connection = &mut **connection;
                $statement.await.map(|done| done.rows_affected())
            }
            $crate::sql::Link::Postgres(connection) => {
                let $connection = &mut **connection;
                $statement.await.map(|done| done.rows_affected())
            }
        }
    };
}

pub(crate) use {on, run};

/// Closes a connection, where there is one.
pub(crate) async fn close(connection: Option<impl Connection>) -> sqlx::Result<()> {
    match connection {
        Some(connection) => connection.close().await,
        None => Ok(()),
    }
}

/// Brings the tables up to date. One server at a time does: on PostgreSQL the library takes an advisory lock of the whole
/// database for it, on SQLite the data folder has one.
pub(crate) async fn migrate(link: &mut Link<'_>) -> Result<(), MigrateError> {
    match link {
        Link::Sqlite(connection) => sqlite::MIGRATIONS.run(&mut **connection).await,
        Link::Postgres(connection) => postgres::MIGRATIONS.run(&mut **connection).await,
    }
}

/// A moment as stored.
pub(crate) fn micros(moment: DateTime<Utc>) -> i64 {
    moment.timestamp_micros()
}

/// A moment as read. A column that holds no moment is an error of the database, not of a person.
pub(crate) fn moment(micros: i64) -> sqlx::Result<DateTime<Utc>> {
    DateTime::from_timestamp_micros(micros).ok_or_else(|| not_a("moment", micros))
}

/// A number as stored: both engines have signed ones alone.
pub(crate) fn number(number: u64) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

pub(crate) fn not_a(what: &'static str, found: impl std::fmt::Display) -> sqlx::Error {
    sqlx::Error::Decode(format!("\"{found}\" is not a {what}").into())
}

pub(crate) fn hash(bytes: &[u8]) -> sqlx::Result<[u8; 32]> {
    bytes.try_into().map_err(|_| not_a("hash of 32 bytes", bytes.len()))
}

pub(crate) fn hex(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 16] = b"0123456789abcdef";
    let mut text = String::with_capacity(bytes.len() * 2);
    for byte in bytes {
        text.push(char::from(DIGITS[usize::from(byte >> 4)]));
        text.push(char::from(DIGITS[usize::from(byte & 15)]));
    }
    text
}

/// Rows as one JSON parameter, so that a statement of SQLite takes any number of them at the price of one.
pub(crate) fn rows<T: serde::Serialize>(rows: impl Iterator<Item = T>) -> sqlx::Result<String> {
    let rows: Vec<T> = rows.collect();
    serde_json::to_string(&rows).map_err(|error| sqlx::Error::Encode(error.into()))
}
