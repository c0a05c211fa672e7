//! The one place from which the service knows what time it is.

use std::fmt;
use std::sync::Arc;

use chrono::{DateTime, Utc};

/// Tells the time; tests and the demonstration can tell another one.
#[derive(Clone)]
pub struct Clock(Arc<dyn Fn() -> DateTime<Utc> + Send + Sync>);

impl Clock {
    /// The machine's clock.
    pub fn of_the_machine() -> Self {
        Self(Arc::new(Utc::now))
    }

    /// A clock that tells what `tells` gives.
    pub fn that(tells: impl Fn() -> DateTime<Utc> + Send + Sync + 'static) -> Self {
        Self(Arc::new(tells))
    }

    /// What time it is.
    pub fn now(&self) -> DateTime<Utc> {
        (self.0)()
    }
}

impl fmt::Debug for Clock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Clock")
    }
}
