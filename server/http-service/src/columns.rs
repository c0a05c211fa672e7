//! The columns of recordings, opened for whoever asks.

use std::fs::File;
use std::sync::Arc;

use programme::record::Digest;
use recordings::columns::Columns;

use crate::office::Office;
use crate::problem::{BUSY, Problem};

/// The columns of one recording. Each reading opens its own, since two must not read through one file handle.
pub(crate) type Opened = Columns<File>;

impl Office {
    /// Opens columns by their digest, and does something with them where it may take its time.
    pub async fn with_columns<T: Send + 'static>(
        &self,
        columns: &Digest,
        work: impl FnOnce(Opened) -> Result<T, Problem> + Send + 'static,
    ) -> Result<T, Problem> {
        let file = self.store.objects().open_file(columns).await?;
        self.aside(move || work(Columns::open(file)?)).await
    }

    /// Does something that takes its time, so that nobody else waits for it. Only a few do so at once.
    pub async fn aside<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> Result<T, Problem> + Send + 'static,
    ) -> Result<T, Problem> {
        let turn = Arc::clone(&self.heavy).acquire_owned().await.map_err(|error| {
            Problem::new(BUSY, "The server is ending. Ask again later.").because(error)
        })?;
        let done = tokio::task::spawn_blocking(move || {
            let done = work();
            drop(turn);
            done
        });
        done.await.map_err(|error| {
            Problem::new(
                crate::problem::FAULT,
                "The program failed while working on the recording. Tell whoever runs it the request id.",
            )
            .because(error)
        })?
    }
}
