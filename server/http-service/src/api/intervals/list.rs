//! Intervals as they are shown.

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use programme::codes::{IntervalNumber, PersonHandle, PointCode, RunNumber};
use programme::record::{Digest, IntervalBasis};
use programme::state::{Interval, State};
use serde::{Deserialize, Serialize};

use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown};
use crate::given::{At, Number, Query};
use crate::office::Office;
use crate::page::{OfMoment, Page, after};
use crate::problem::Problem;

/// An interval of a recording, taken for a point.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Interval)]
pub struct IntervalView<'a> {
    /// Its number.
    pub interval: IntervalNumber,
    /// The record in the ledger.
    pub seq: u64,
    /// Who took it.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Of which recording.
    pub recording: &'a Digest,
    /// Of which run.
    pub run: RunNumber,
    /// For which point.
    pub point: &'a PointCode,
    /// From then on, by the recorder's clock.
    pub from: DateTime<Utc>,
    /// Up to and including then.
    pub to: DateTime<Utc>,
    /// How long it is, in seconds.
    pub seconds: f64,
    /// How it was found.
    pub how: &'a IntervalBasis,
    /// Whether it counts: its recording was not set aside since.
    pub counts: bool,
}

impl<'a> IntervalView<'a> {
    fn of(state: &State, interval: &'a Interval) -> Self {
        let micros = (interval.to - interval.from).num_microseconds().unwrap_or(i64::MAX);
        Self {
            interval: interval.number,
            seq: interval.seq,
            by: &interval.by,
            at: interval.at,
            recording: &interval.recording,
            run: interval.run,
            point: &interval.point,
            from: interval.from,
            to: interval.to,
            seconds: micros as f64 / 1e6,
            how: &interval.how,
            counts: state.recordings.counts(&interval.recording, interval.seq),
        }
    }
}

/// Which page of the intervals.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct IntervalPage {
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
    /// Those for this point only.
    #[param(max_length = 64)]
    pub point: Option<String>,
    /// Those of the recording with this SHA-256 only.
    #[param(max_length = 64)]
    pub recording: Option<String>,
}

/// Intervals, in the order in which they were taken.
#[utoipa::path(
    get, path = "",
    params(IntervalPage),
    responses((status = 200, description = "A page of intervals.", body = Page<IntervalView>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<IntervalPage>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<u32> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let recording = page.recording.as_deref();
            let rows = view.state.recordings.intervals.iter();
            let rows = rows
                .filter(|it| after.is_none_or(|after| it.number.0 > after))
                .filter(|it| page.run.is_none_or(|run| it.run.0 == run))
                .filter(|it| page.point.as_deref().is_none_or(|point| it.point.as_str() == point))
                .filter(|it| recording.is_none_or(|asked| it.recording.to_string() == asked))
                .map(|it| (it.number, IntervalView::of(view.state, it)));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// One interval.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The interval.", body = IntervalView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    interval: At<Number<IntervalNumber>>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let past = past.as_of.as_deref();
    office.show(&person, past, &request, |view| shown(view.state, interval.0.0)).await
}

pub(super) fn shown(state: &State, number: IntervalNumber) -> Result<Shown, Problem> {
    let interval = state.recordings.interval(number);
    let interval = interval.ok_or_else(|| Problem::unknown("interval", number))?;
    Shown::tagged(&IntervalView::of(state, interval))
}
