//! The store that a command works on.

use std::path::Path;

use store::Store;

use super::Failure;
use crate::settings::{Flags, Settings};

/// Runs a piece of work to its end.
pub fn run<T>(work: impl Future<Output = Result<T, Failure>>) -> Result<T, Failure> {
    actix_web::rt::System::new().block_on(work)
}

/// Opens the store of the folder that the settings name; the folder must hold one.
///
/// # Errors
///
/// [`Failure`] where no folder is named, it holds no store, or another process has it.
pub async fn open(flags: &Flags) -> Result<Store, Failure> {
    let settings = Settings::gather(flags, None)?;
    open_at(settings.data()?).await
}

/// Opens the store of a folder; the folder must hold one.
///
/// # Errors
///
/// [`Failure`] where it holds no store, or another process has it.
pub async fn open_at(data: &Path) -> Result<Store, Failure> {
    must_hold_a_ledger(data)?;
    Ok(Store::open(data).await?)
}

/// Refuses a folder that holds no store.
///
/// # Errors
///
/// [`Failure`] with what makes one.
pub fn must_hold_a_ledger(data: &Path) -> Result<(), Failure> {
    if store::holds_data(data) {
        return Ok(());
    }
    Err(Failure::of_input(format!(
        "rungbook: there is no ledger in {}; make one with: rungbook init --data {0} --administrator HANDLE",
        data.display()
    )))
}
