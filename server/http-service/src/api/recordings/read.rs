//! Reading what recordings there are, and how good they are.

use actix_web::HttpRequest;
use programme::codes::RecorderCode;
use programme::record::Digest;
use recordings::Report;
use recordings::check::Quality;
use serde::{Deserialize, Serialize};

use super::view::{RecordingRow, RecordingView, known, row, shown};
use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown};
use crate::given::{At, Query, Sha256};
use crate::office::Office;
use crate::page::{OfMoment, Page, after};
use crate::problem::{FILE_LOST, Problem};

/// Which page of the recordings.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct RecordingPage {
    /// The number of the last row of the page before; absent: the first page.
    #[param(max_length = 64)]
    pub after: Option<String>,
    /// Rows at most.
    #[param(minimum = 1, maximum = 500, default = 100)]
    pub limit: Option<u16>,
    /// As it stood after the record of this number, or at this time (RFC 3339).
    #[param(example = "2026-05-02T08:00:00Z")]
    pub as_of: Option<String>,
    /// Those of this run only.
    #[param(minimum = 1)]
    pub run: Option<u32>,
    /// Those of this recorder only.
    #[param(value_type = Option<String>)]
    pub recorder: Option<RecorderCode>,
    /// Only those that were set aside, or only those that count; absent: all.
    pub set_aside: Option<bool>,
}

/// Recordings, newest first.
#[utoipa::path(
    get, path = "",
    params(RecordingPage),
    responses((status = 200, description = "A page of recordings.", body = Page<RecordingRow>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<RecordingPage>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<usize> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let recordings = &view.state.recordings;
            let rows = recordings.order.iter().enumerate().rev();
            let rows = rows
                .map(|(place, digest)| (place + 1, digest))
                .filter(|(number, _)| after.is_none_or(|after| *number < after))
                .filter_map(|(number, digest)| Some((number, recordings.get(digest)?)))
                .filter_map(|(number, known)| Some((number, row(known)?)))
                .filter(|(_, row)| page.run.is_none_or(|run| row.runs.iter().any(|it| it.0 == run)))
                .filter(|(_, row)| page.recorder.as_ref().is_none_or(|it| it == row.recorder))
                .filter(|(_, row)| page.set_aside.is_none_or(|it| it == row.set_aside));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// One recording: what the file held of each channel, to which runs it belongs, and whether it counts.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The recording.", body = RecordingView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    recording: At<Sha256>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let past = past.as_of.as_deref();
    office.show(&person, past, &request, |view| shown(view.state, &recording.0.0)).await
}

/// How good a recording is. Moments are microseconds since 1970-01-01 00:00 UTC, by the recorder's clock.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct QualityView {
    /// Refused cells and rows with line, column, what stood there and the rule; gaps; values that stood still; and how
    /// much of each channel there is.
    #[schema(value_type = Object)]
    pub quality: Quality,
    /// What was passed over because it carries no channel: each kind with how often it came.
    #[schema(value_type = std::collections::BTreeMap<String, u64>)]
    pub passed_over: recordings::format::PassedOver,
}

/// What was refused and missing in a recording: the first hundred of each kind one by one, and all counted.
#[utoipa::path(
    get, path = "",
    responses((status = 200, description = "What was found.", body = QualityView)),
)]
pub(crate) async fn quality(
    person: Permitted<Read>,
    recording: At<Sha256>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let Report { quality, passed_over } = report_of(&office, &person, &recording.0.0).await?;
    Ok(Shown::tagged(&QualityView { quality, passed_over })?.reply(request.headers()))
}

/// What was found in a recording as it was taken in.
pub(crate) async fn report_of<P>(
    office: &Office,
    person: &Permitted<P>,
    recording: &Digest,
) -> Result<Report, Problem> {
    let columns = office
        .look(person, None, |view| Ok(known(view.state, recording)?.1.columns.clone()))
        .await?;
    let report = office.with_columns(&columns, |columns| Ok(Report::of(&columns))).await?;
    report.ok_or_else(|| {
        Problem::new(
            FILE_LOST,
            "The columns of the recording have no report. Take the file in once more.",
        )
    })
}
