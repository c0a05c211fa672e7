//! Runs as they stand.

use actix_web::HttpRequest;
use programme::codes::RunNumber;
use serde::Deserialize;

use super::view::{RunRow, RunView, shown};
use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown};
use crate::given::{At, Number, Query};
use crate::office::Office;
use crate::page::{OfMoment, Page, after};

/// Which page of the runs.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct RunPage {
    /// The number of the last row of the page before; absent: the first page.
    #[param(max_length = 64)]
    pub after: Option<String>,
    /// Rows at most.
    #[param(minimum = 1, maximum = 500, default = 100)]
    pub limit: Option<u16>,
    /// As it stood after the record of this number, or at this time (RFC 3339).
    #[param(example = "2026-05-02T08:00:00Z")]
    pub as_of: Option<String>,
    /// Only the one that is open, or only those that are closed; absent: all.
    pub open: Option<bool>,
}

/// Runs, newest first.
#[utoipa::path(
    get, path = "",
    params(RunPage),
    responses((status = 200, description = "A page of runs.", body = Page<RunRow>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<RunPage>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<u32> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let rows = view.state.runs.iter().rev();
            let rows = rows
                .filter(|run| after.is_none_or(|after| run.number.0 < after))
                .filter(|run| page.open.is_none_or(|open| open == run.closed.is_none()))
                .map(|run| (run.number, RunRow::from(run)));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// One run: crew, times, minutes, energy, corrections and results. Its ETag is what a correction of its times is sent
/// with.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The run.", body = RunView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    run: At<Number<RunNumber>>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let past = past.as_of.as_deref();
    office.show(&person, past, &request, |view| shown(view.state, run.0.0)).await
}
