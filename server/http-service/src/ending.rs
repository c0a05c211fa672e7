//! How the service ends: those who only listen are let go at once, what is under way gets its reply, connections are not kept
//! open for more, and whatever is not answered by the last call is told so instead of being cut.

use std::future::Future;
use std::time::Duration;

use tokio::sync::watch;
use tokio::time::{Instant, sleep_until};

/// From being told to end until whatever is still under way is told that there is no more time.
pub(crate) const LAST_CALL: Duration = Duration::from_secs(8);

/// From being told to end until connections are cut, in whole seconds: [`LAST_CALL`] and time for what is said by then.
pub(crate) const CUT_AFTER_S: u64 = 10;

/// Whether the program was told to end, and when.
#[derive(Debug)]
pub(crate) struct Ending {
    since: watch::Sender<Option<Instant>>,
    last_call_after: Duration,
}

impl Default for Ending {
    fn default() -> Self {
        Self::with_last_call_after(LAST_CALL)
    }
}

impl Ending {
    fn with_last_call_after(last_call_after: Duration) -> Self {
        Self { since: watch::Sender::new(None), last_call_after }
    }

    /// The program is told to end. Only the first time counts.
    pub fn begin(&self) {
        self.since.send_if_modified(|since| {
            let first = since.is_none();
            since.get_or_insert_with(Instant::now);
            first
        });
    }

    /// Whether the program was told to end.
    pub fn has_begun(&self) -> bool {
        self.since.borrow().is_some()
    }

    /// Hears when the program is told to end.
    pub fn heard(&self) -> watch::Receiver<Option<Instant>> {
        self.since.subscribe()
    }

    /// Waits until whatever is under way is out of time: for ever, unless the program is told to end.
    pub fn last_call(&self) -> impl Future<Output = ()> + use<> {
        let mut heard = self.since.subscribe();
        let after = self.last_call_after;
        async move {
            let since = heard.wait_for(Option::is_some).await.ok().and_then(|since| *since);
            match since {
                Some(since) => sleep_until(since + after).await,
                None => std::future::pending().await,
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use tokio::time::timeout;

    use super::*;

    #[actix_web::test]
    async fn the_last_call_comes_so_long_after_the_first_time_that_the_program_is_told_to_end() {
        let after = Duration::from_millis(200);
        let ending = Ending::with_last_call_after(after);
        let mut waiting = std::pin::pin!(ending.last_call());
        assert!(timeout(after * 2, &mut waiting).await.is_err(), "nobody was told to end");
        let told = Instant::now();
        ending.begin();
        assert!(timeout(after / 2, &mut waiting).await.is_err(), "there is time yet");
        ending.begin();
        waiting.await;
        assert!(told.elapsed() >= after);
        // Whoever comes later has no time of their own.
        ending.last_call().await;
        assert!(ending.has_begun());
    }
}
