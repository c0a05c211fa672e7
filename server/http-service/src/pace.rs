//! How often something may be tried before people wait.

use std::hash::Hash;
use std::num::NonZeroU32;
use std::sync::atomic::{AtomicU32, Ordering};

use governor::clock::{Clock as _, DefaultClock};
use governor::{DefaultKeyedRateLimiter, Quota, RateLimiter};

use crate::problem::{Problem, TOO_MANY_ATTEMPTS};
use crate::settings::Pace;

/// After so many questions the keys that are at rest are forgotten, so that memory does not grow with strangers.
const SWEEP_EVERY: u32 = 4096;

/// Counts attempts by key.
#[derive(Debug)]
pub(crate) struct Attempts<K: Clone + Hash + Eq> {
    limiter: DefaultKeyedRateLimiter<K>,
    clock: DefaultClock,
    asked: AtomicU32,
}

impl<K: Clone + Hash + Eq> Attempts<K> {
    pub fn new(pace: Pace) -> Self {
        let burst = NonZeroU32::new(pace.burst).unwrap_or(NonZeroU32::MIN);
        // A pace without time between attempts is no limit; a nanosecond comes to the same.
        let quota = Quota::with_period(pace.one_every)
            .unwrap_or_else(|| Quota::per_second(NonZeroU32::MAX))
            .allow_burst(burst);
        Self {
            limiter: RateLimiter::keyed(quota),
            clock: DefaultClock::default(),
            asked: AtomicU32::new(0),
        }
    }

    /// Counts one attempt.
    ///
    /// # Errors
    ///
    /// A problem that says when to try again.
    pub fn count(&self, key: &K) -> Result<(), Problem> {
        if self.asked.fetch_add(1, Ordering::Relaxed) % SWEEP_EVERY == SWEEP_EVERY - 1 {
            self.limiter.retain_recent();
        }
        self.limiter.check_key(key).map_err(|not_until| {
            let seconds = not_until.wait_time_from(self.clock.now()).as_secs() + 1;
            Problem::new(
                TOO_MANY_ATTEMPTS,
                format!("There were too many attempts. Wait {seconds} s and try again."),
            )
            .retry_after(seconds)
        })
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use std::time::Duration;

    use super::*;

    #[test]
    fn after_the_burst_one_waits_and_others_do_not() {
        let attempts = Attempts::new(Pace::new(3, Duration::from_secs(3600)));
        for _ in 0..3 {
            attempts.count(&"ada").unwrap();
        }
        let problem = attempts.count(&"ada").unwrap_err();
        assert_eq!(problem.code(), "too-many-attempts");
        attempts.count(&"bo").unwrap();
    }
}
