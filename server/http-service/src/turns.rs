//! Turns at what only a few may do at a time, such as hashing passwords: bounded for all houses of a process together, and fair
//! among them.

use std::sync::Arc;

use tokio::sync::{AcquireError, OwnedSemaphorePermit, Semaphore};

/// Turns as one house takes them.
///
/// Those of one house queue among themselves, and no more of them stand in the common queue than can have a turn at once. So
/// whoever is of another house comes soon, however many of one house wait, and no turn is left unused.
#[derive(Debug, Clone)]
pub(crate) struct Turns {
    at_once: usize,
    of_house: Arc<Semaphore>,
    of_all: Arc<Semaphore>,
}

/// A turn; somebody else has it once it is dropped.
#[derive(Debug)]
pub(crate) struct Turn {
    _of_all: OwnedSemaphorePermit,
    _of_house: OwnedSemaphorePermit,
}

impl Turns {
    /// So many at once, and at least one.
    pub fn new(at_once: usize) -> Self {
        let at_once = at_once.max(1);
        let semaphore = || Arc::new(Semaphore::new(at_once));
        Self { at_once, of_house: semaphore(), of_all: semaphore() }
    }

    /// The same turns, as another house takes them.
    pub fn of_another_house(&self) -> Self {
        Self { of_all: Arc::clone(&self.of_all), ..Self::new(self.at_once) }
    }

    /// Waits for a turn. They are never closed, so that an error does not come.
    pub async fn turn(&self) -> Result<Turn, AcquireError> {
        let of_house = Arc::clone(&self.of_house).acquire_owned().await?;
        let of_all = Arc::clone(&self.of_all).acquire_owned().await?;
        Ok(Turn { _of_all: of_all, _of_house: of_house })
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use futures_util::FutureExt as _;

    use super::*;

    #[actix_web::test]
    async fn however_many_of_one_house_wait_whoever_is_of_another_comes_next() {
        let north = Turns::new(2);
        let south = north.of_another_house();
        let first = north.turn().await.unwrap();
        let second = north.turn().await.unwrap();
        let mut crowd: Vec<_> = (0..10).map(|_| Box::pin(north.turn())).collect();
        assert!(crowd.iter_mut().all(|one| one.as_mut().now_or_never().is_none()));
        let mut guest = Box::pin(south.turn());
        assert!(guest.as_mut().now_or_never().is_none(), "all turns are taken, for both together");

        drop(first);
        let of_guest = guest.await.unwrap();
        assert!(crowd.iter_mut().all(|one| one.as_mut().now_or_never().is_none()));

        // Nothing is left unused where nobody else waits.
        drop(of_guest);
        drop(second);
        let mut came = Vec::new();
        for mut one in crowd {
            if let Some(turn) = one.as_mut().now_or_never() {
                came.push(turn.unwrap());
            }
        }
        assert_eq!(came.len(), 2);
    }
}
