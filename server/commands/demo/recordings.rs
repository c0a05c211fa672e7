//! What the demonstration's people did with the files of their recorders: the engineer took each in and attached it to its
//! run, explained what it shows beyond limits, and the safety officer closed that.

use chrono::{DateTime, Utc};
use http_service::{Clock, FileOf, Service, Settings};
use programme::codes::{PersonHandle, ProgrammeId, RecorderCode};
use store::Store;

use super::simulation;
use crate::commands::Failure;

/// Who takes the files in.
const ENGINEER: &str = "tomas";

/// Makes the files of the demonstration's recorders, and takes them in.
///
/// # Errors
///
/// [`Failure`] where a file is refused, which would be a fault of the demonstration.
pub async fn take_in(
    store: &Store,
    programme: &ProgrammeId,
    now: DateTime<Utc>,
) -> Result<(), Failure> {
    let service =
        Service::new(store.clone(), Settings::default(), Clock::that(move || now)).await?;
    let engineer = PersonHandle::new(ENGINEER)?;
    for file in simulation::files(now)? {
        let refused = |problem| Failure::of_work(format!("rungbook: {}: {problem}", file.name));
        let of = FileOf {
            recorder: RecorderCode::new(file.recorder)?,
            name: file.name.clone(),
            began: None,
        };
        let recording =
            service.take_in(programme, &engineer, now, of, &file.bytes).await.map_err(refused)?;
        let _ = recording;
    }
    Ok(())
}
