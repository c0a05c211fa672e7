//! The columns of recordings, opened for whoever asks.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use actix_web::web::Bytes;
use programme::record::Digest;
use recordings::columns::{Columns, Parts};
use store::{Opened as File, Trouble};

use crate::office::Office;
use crate::problem::{BUSY, Problem};

/// The columns of one recording. Each reading opens its own, since two must not read through one file handle.
pub(crate) type Opened = Columns<Source>;

/// The file of columns, on disk or in a bucket.
#[derive(Debug)]
pub(crate) struct Source(pub File);

impl Parts for Source {
    fn bytes(&self) -> io::Result<u64> {
        Ok(self.0.size())
    }

    fn part(&self, start: u64, length: usize) -> io::Result<Bytes> {
        self.0.part(start, length)
    }
}

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
        self.aside_on(vec![file.trouble()], move || work(Columns::open(Source(file))?)).await
    }

    /// As [`Office::aside`], on kept files. Where one of them stopped coming meanwhile that is told, and not what came of it.
    pub async fn aside_on<T: Send + 'static>(
        &self,
        files: Vec<Trouble>,
        work: impl FnOnce() -> Result<T, Problem> + Send + 'static,
    ) -> Result<T, Problem> {
        let done = self.aside(work).await;
        done.map_err(|problem| {
            files.into_iter().find_map(Trouble::befell).map_or(problem, Problem::from)
        })
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
