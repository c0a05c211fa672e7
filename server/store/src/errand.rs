//! A change outside the ledger, such as to an account: written by the same writer, in a transaction of its own.

use std::future::Future;
use std::pin::Pin;

use tokio::sync::oneshot;

use crate::fault::WriteError;
use crate::sql::Link;
use crate::store::{Shared, Store};
use crate::writer::Job;

/// A change that the writer carries out. It goes on if the caller stops waiting.
pub(crate) trait Errand: Send {
    /// Runs the statements, inside a transaction.
    fn run<'a>(
        &'a mut self,
        link: &'a mut Link<'_>,
    ) -> Pin<Box<dyn Future<Output = sqlx::Result<()>> + 'a>>;

    /// Called once the change is on disk, or was not written: brings memory in step and answers.
    fn finish(self: Box<Self>, shared: &Shared, written: Result<(), WriteError>);
}

struct Written<T, Run, Then> {
    run: Option<Run>,
    then: Then,
    result: Option<T>,
    answer: oneshot::Sender<Result<T, WriteError>>,
}

impl<T, Run, Then> Errand for Written<T, Run, Then>
where
    T: Send,
    Run: AsyncFnOnce(&mut Link<'_>) -> sqlx::Result<T> + Send,
    Then: FnOnce(&Shared, &T) + Send,
{
    fn run<'a>(
        &'a mut self,
        link: &'a mut Link<'_>,
    ) -> Pin<Box<dyn Future<Output = sqlx::Result<()>> + 'a>> {
        Box::pin(async move {
            if let Some(run) = self.run.take() {
                self.result = Some(run(link).await?);
            }
            Ok(())
        })
    }

    fn finish(self: Box<Self>, shared: &Shared, written: Result<(), WriteError>) {
        let outcome = match (written, self.result) {
            (Ok(()), Some(result)) => {
                (self.then)(shared, &result);
                Ok(result)
            }
            (Ok(()), None) => Err(WriteError::closed()),
            (Err(error), _) => Err(error),
        };
        // Whoever asked may have stopped waiting.
        let _ = self.answer.send(outcome);
    }
}

impl Store {
    /// Has the writer run `run` in a transaction, and `then` once that is on disk.
    pub(crate) async fn write<T, Run, Then>(&self, run: Run, then: Then) -> Result<T, WriteError>
    where
        T: Send + 'static,
        Run: AsyncFnOnce(&mut Link<'_>) -> sqlx::Result<T> + Send + 'static,
        Then: FnOnce(&Shared, &T) + Send + 'static,
    {
        self.shared().health().refuses_to_write()?;
        let (answer, answered) = oneshot::channel();
        let errand = Written { run: Some(run), then, result: None, answer };
        self.send(Job::Errand(Box::new(errand))).await?;
        answered.await.unwrap_or_else(|_| Err(WriteError::closed()))
    }
}
