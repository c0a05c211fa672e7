//! A thread on which the object store is spoken with, so that whoever waits for it may be on any thread.

use std::io;
use std::sync::Arc;
use std::sync::mpsc;

use tokio::runtime::{Builder, Handle};
use tokio::sync::oneshot;

/// The most that is asked of the object store at once; more wait for their turn.
const AT_ONCE: usize = 64;

/// The thread. Clones lead to the same; it ends with the last of them.
#[derive(Debug, Clone)]
pub(super) struct Engine {
    handle: Handle,
    _ends: Arc<oneshot::Sender<()>>,
}

/// Something that is being done there.
pub(super) struct Underway<T>(mpsc::Receiver<T>);

/// The program is ending, so that it was not done to its end.
#[derive(Debug, Clone, Copy, thiserror::Error)]
#[error("the program is ending")]
pub(super) struct Ended;

impl Engine {
    /// Begins the thread.
    ///
    /// # Errors
    ///
    /// Where the system gives none.
    pub fn begin() -> io::Result<Self> {
        let runtime =
            Builder::new_current_thread().enable_time().max_blocking_threads(AT_ONCE).build()?;
        let handle = runtime.handle().clone();
        let (ends, ended) = oneshot::channel::<()>();
        std::thread::Builder::new().name("object-store".to_owned()).spawn(move || {
            let _ = runtime.block_on(ended);
            runtime.shutdown_background();
        })?;
        Ok(Self { handle, _ends: Arc::new(ends) })
    }

    /// Begins something there.
    pub fn start<T: Send + 'static>(
        &self,
        work: impl Future<Output = T> + Send + 'static,
    ) -> Underway<T> {
        let (done, waits) = mpsc::sync_channel(1);
        self.handle.spawn(async move {
            // Who asked may have gone.
            let _ = done.send(work.await);
        });
        Underway(waits)
    }

    /// Does something there and waits for it: only where a thread may wait.
    pub fn run<T: Send + 'static>(
        &self,
        work: impl Future<Output = T> + Send + 'static,
    ) -> Result<T, Ended> {
        self.start(work).wait()
    }
}

impl<T> Underway<T> {
    /// Waits until it is done.
    pub fn wait(self) -> Result<T, Ended> {
        self.0.recv().map_err(|_| Ended)
    }
}
