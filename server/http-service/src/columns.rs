//! The columns of recordings, opened for whoever asks.

use std::fs::File;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use programme::record::Digest;
use recordings::columns::Columns;

use crate::office::Office;
use crate::problem::{BUSY, Problem};

/// The columns of one recording. Each reading opens its own, since two must not read through one file handle.
pub(crate) type Opened = Columns<File>;

/// Says stop when it is dropped, as when whoever asked has gone.
struct StopsWhenDropped(Arc<AtomicBool>);

impl Drop for StopsWhenDropped {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

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

    /// As [`Office::aside`], and tells the work to stop once nobody waits for it any more.
    pub async fn aside_while_awaited<T: Send + 'static>(
        &self,
        work: impl FnOnce(&AtomicBool) -> Result<T, Problem> + Send + 'static,
    ) -> Result<T, Problem> {
        let stop = Arc::new(AtomicBool::new(false));
        let _stops = StopsWhenDropped(Arc::clone(&stop));
        self.aside(move || work(&stop)).await
    }

    /// Does something that takes its time, so that nobody else waits for it. Only a few do so at once.
    pub async fn aside<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> Result<T, Problem> + Send + 'static,
    ) -> Result<T, Problem> {
        let turn = self.heavy.turn().await.map_err(|error| {
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
                "The program failed while working on it. Tell whoever runs it the request id.",
            )
            .because(error)
        })?
    }
}
