//! What can go wrong with the database, told apart by what it means for whoever asked.

use std::sync::Arc;

/// A change that was not written.
#[derive(Debug, Clone, thiserror::Error)]
pub enum WriteError {
    /// The disk is full. Nothing was written; reading goes on, and so does writing once there is space.
    #[error("the disk is full: nothing was written; free some space and ask again")]
    DiskFull(#[source] Arc<sqlx::Error>),
    /// The store stopped writing after a failure that leaves unknown what is on disk.
    #[error("writing has stopped until the program is started again")]
    Stopped(#[source] Arc<StopCause>),
    /// The database did not take it. Nothing was written.
    #[error("the database did not take the change: nothing was written")]
    Database(#[source] Arc<sqlx::Error>),
    /// The database cannot be reached. Nothing was written; reading what is in memory goes on.
    #[error("the database cannot be reached: nothing was written; ask again")]
    Unreachable(#[source] Arc<sqlx::Error>),
    /// The connection was lost while it was being written, and the database did not come back in time to be asked.
    #[error(
        "the connection to the database was lost while the change was written: whether it stands is not known; look before asking again, or ask with the same key"
    )]
    Uncertain(#[source] Arc<sqlx::Error>),
}

/// Why the store stopped writing.
#[derive(Debug, thiserror::Error)]
pub enum StopCause {
    /// The disk failed, or the database is damaged.
    #[error("the disk or the database failed")]
    Disk(#[source] Arc<sqlx::Error>),
    /// After a write that failed, the database could not be opened or looked at again.
    #[error("the database could not be opened again after a write that failed")]
    Reopen(#[source] sqlx::Error),
    /// The ledger on disk is not the one that this process wrote.
    #[error("something else changed the ledger on disk")]
    LedgerDiffers,
    /// The program is ending.
    #[error("the store was closed")]
    Closed,
}

/// Something that could not be read from the database.
#[derive(Debug, Clone, thiserror::Error)]
#[error("the database could not be read")]
pub struct ReadError(#[from] Arc<sqlx::Error>);

impl ReadError {
    /// Whether it is that the database cannot be reached, and may be again in a moment.
    pub fn is_of_reach(&self) -> bool {
        connection_is_lost(&self.0)
    }
}

impl From<sqlx::Error> for ReadError {
    fn from(source: sqlx::Error) -> Self {
        Self(Arc::new(source))
    }
}

/// What a failed statement means for the statements after it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Severity {
    /// This change only.
    Passing,
    /// The disk is full.
    Full,
    /// Nothing written from now on can be relied on: after a failed fsync the kernel may have dropped the pages.
    Lasting,
}

/// Whether nothing more can be expected of a connection after this error on PostgreSQL.
///
/// # Source
///
/// PostgreSQL's manual, appendix A, from memory: class 08 is about connections, class 57P about a server that ends, starts or
/// ends a session; 25P03 ends a session that was idle in a transaction; 53300 is that there are too many.
pub(crate) fn connection_is_lost(error: &sqlx::Error) -> bool {
    match error {
        sqlx::Error::Database(source) => source.code().is_some_and(|code| {
            code.starts_with("08") || code.starts_with("57P") || code == "25P03" || code == "53300"
        }),
        sqlx::Error::Io(_)
        | sqlx::Error::Tls(_)
        | sqlx::Error::Protocol(_)
        | sqlx::Error::PoolTimedOut
        | sqlx::Error::PoolClosed
        | sqlx::Error::WorkerCrashed => true,
        _ => false,
    }
}

// Primary result codes, the low byte of each extended one: https://www.sqlite.org/rescode.html
const IOERR: u32 = 10;
const CORRUPT: u32 = 11;
const FULL: u32 = 13;
const NOTADB: u32 = 26;

pub(crate) fn severity(error: &sqlx::Error) -> Severity {
    match error {
        sqlx::Error::Database(source) => {
            source.code().and_then(|code| code.parse().ok()).map_or(Severity::Passing, of_code)
        }
        sqlx::Error::WorkerCrashed | sqlx::Error::Io(_) => Severity::Lasting,
        _ => Severity::Passing,
    }
}

fn of_code(code: u32) -> Severity {
    match code & 0xff {
        FULL => Severity::Full,
        IOERR | CORRUPT | NOTADB => Severity::Lasting,
        _ => Severity::Passing,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failed_fsync_lasts_and_a_full_disk_or_a_lock_passes() {
        // SQLITE_IOERR_FSYNC, SQLITE_IOERR_WRITE, SQLITE_CORRUPT, SQLITE_FULL, SQLITE_BUSY, SQLITE_CONSTRAINT_TRIGGER.
        assert_eq!(of_code(1034), Severity::Lasting);
        assert_eq!(of_code(778), Severity::Lasting);
        assert_eq!(of_code(11), Severity::Lasting);
        assert_eq!(of_code(13), Severity::Full);
        assert_eq!(of_code(5), Severity::Passing);
        assert_eq!(of_code(1811), Severity::Passing);
    }
}
