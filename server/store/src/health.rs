//! Whether the store writes.

use std::sync::Arc;

use crate::fault::{StopCause, WriteError};

/// Whether the store writes; it reads in any case.
#[derive(Debug, Clone, Default)]
pub enum Health {
    /// It writes.
    #[default]
    Writing,
    /// The last write found the disk full. The next one is tried all the same.
    DiskFull,
    /// The database cannot be reached. Connecting is tried again by itself.
    Unreachable(Arc<sqlx::Error>),
    /// It stopped, and writes no more until the program is started again.
    Stopped(Arc<StopCause>),
}

impl Health {
    /// Whether a write can be expected to succeed.
    pub const fn writes(&self) -> bool {
        matches!(self, Health::Writing)
    }

    pub(crate) fn refuses_to_write(&self) -> Result<(), WriteError> {
        match self {
            Health::Writing | Health::DiskFull => Ok(()),
            Health::Unreachable(error) => Err(WriteError::Unreachable(Arc::clone(error))),
            Health::Stopped(cause) => Err(WriteError::Stopped(Arc::clone(cause))),
        }
    }
}
