//! The store that a command works on.

use store::{Store, Whereabouts};

use super::Failure;
use crate::settings::{Flags, Settings};

/// Runs a piece of work to its end.
pub fn run<T>(work: impl Future<Output = Result<T, Failure>>) -> Result<T, Failure> {
    actix_web::rt::System::new().block_on(work)
}

/// Opens the store that the settings name; there must be one.
///
/// # Errors
///
/// [`Failure`] where no folder is named, there is no store, or another process has the folder.
pub async fn open(flags: &Flags) -> Result<Store, Failure> {
    let settings = Settings::gather(flags, None)?;
    open_at(&settings.whereabouts()?).await
}

/// Opens a store; there must be one.
///
/// # Errors
///
/// [`Failure`] where there is none, or another process has the folder.
pub async fn open_at(whereabouts: &Whereabouts) -> Result<Store, Failure> {
    must_hold_a_ledger(whereabouts).await?;
    Ok(Store::open_at(whereabouts).await?)
}

/// Refuses where there is no store.
///
/// # Errors
///
/// [`Failure`] with what makes one.
pub async fn must_hold_a_ledger(whereabouts: &Whereabouts) -> Result<(), Failure> {
    if store::holds_ledger(whereabouts).await? {
        return Ok(());
    }
    Err(Failure::of_input(format!(
        "rungbook: there is no ledger in {whereabouts}; make one with: rungbook init --data {} --administrator HANDLE",
        whereabouts.data.display()
    )))
}
