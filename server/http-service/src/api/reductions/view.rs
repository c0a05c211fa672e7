//! Reductions as they are shown.

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use evaluation::reductions::{Difference, differences, is_outdated};
use programme::codes::{
    ChannelCode, IntervalNumber, PersonHandle, PointCode, ReductionNumber, RunNumber,
};
use programme::record::Digest;
use programme::state::{Reduction, State};
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown};
use crate::given::{At, Number, Query};
use crate::office::Office;
use crate::page::{OfMoment, Page, after};
use crate::problem::Problem;

/// A reduction in a list.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct ReductionRow<'a> {
    /// Its number.
    pub reduction: ReductionNumber,
    /// The record in the ledger.
    pub seq: u64,
    /// Who made it.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// By which method.
    pub method: &'a str,
    /// The version of the method with that of its topic.
    pub version: &'a str,
    /// Whether the method has another version by now: make it again to see whether it comes out the same.
    pub outdated: bool,
    /// Whether it counts: no recording that it was made of was set aside since.
    pub counts: bool,
    /// Of which recording.
    pub recording: &'a Digest,
    /// Other recordings of the run that had some of the channels.
    pub others: &'a [Digest],
    /// Of which run.
    pub run: RunNumber,
    /// For which point.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub point: Option<&'a PointCode>,
    /// Of which interval.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub interval: Option<IntervalNumber>,
    /// The channels that were read.
    pub channels: &'a [ChannelCode],
    /// SHA-256 of the exact input of the topic, which is kept.
    pub input_digest: &'a Digest,
    /// The earlier one that it takes the place of.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub replaces: Option<ReductionNumber>,
    /// The later one that took its place.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub replaced_by: Option<ReductionNumber>,
}

impl<'a> ReductionRow<'a> {
    fn of(state: &State, made: &'a Reduction) -> Self {
        Self {
            reduction: made.number,
            seq: made.seq,
            by: &made.by,
            at: made.at,
            method: &made.topic,
            version: &made.version,
            outdated: is_outdated(made),
            counts: state.recordings.reduction_counts(made),
            recording: &made.recording,
            others: &made.others,
            run: made.run,
            point: made.point.as_ref(),
            interval: made.interval,
            channels: &made.channels,
            input_digest: &made.given,
            replaces: made.replaces,
            replaced_by: made.replaced_by,
        }
    }
}

/// A reduction with its answer.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Reduction)]
pub struct ReductionView<'a> {
    /// What it is.
    pub made: ReductionRow<'a>,
    /// The answer (`output`); figures of it that lie beyond what was recorded (`extrapolated`); what it rests on
    /// (`rests_on`, `readings`, `recordings`); and the parameters that it fills (`fills`).
    #[schema(value_type = Object)]
    pub result: Value,
    /// The earlier one whose place it took, with what differs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub before: Option<EarlierReduction<'a>>,
}

/// An earlier reduction beside the one that took its place.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct EarlierReduction<'a> {
    /// What it was.
    pub made: ReductionRow<'a>,
    /// Its answer.
    #[schema(value_type = Object)]
    pub result: Value,
    /// The figures of the answers that differ, at most 200: place, before, after, and the change of numbers.
    pub differences: Vec<Difference>,
}

/// Which page of the reductions.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ReductionPage {
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
    /// Those by this method only.
    #[param(max_length = 64)]
    pub method: Option<String>,
}

/// Reductions, in the order in which they were made.
#[utoipa::path(
    get, path = "",
    params(ReductionPage),
    responses((status = 200, description = "A page of reductions.", body = Page<ReductionRow>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<ReductionPage>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<u32> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let point = page.point.as_deref();
            let rows = view.state.recordings.reductions.iter();
            let rows = rows
                .filter(|it| after.is_none_or(|after| it.number.0 > after))
                .filter(|it| page.run.is_none_or(|run| it.run.0 == run))
                .filter(|it| {
                    point.is_none_or(|asked| {
                        it.point.as_ref().is_some_and(|of| of.as_str() == asked)
                    })
                })
                .filter(|it| page.method.as_deref().is_none_or(|method| it.topic == method))
                .map(|it| (it.number, ReductionRow::of(view.state, it)));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// One reduction: its answer, what it rests on, and the earlier one beside it where it took the place of one.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The reduction.", body = ReductionView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    reduction: At<Number<ReductionNumber>>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let past = past.as_of.as_deref();
    office.show(&person, past, &request, |view| shown(view.state, reduction.0.0)).await
}

pub(super) fn known(state: &State, number: ReductionNumber) -> Result<&Reduction, Problem> {
    state.recordings.reduction(number).ok_or_else(|| Problem::unknown("reduction", number))
}

pub(super) fn shown(state: &State, number: ReductionNumber) -> Result<Shown, Problem> {
    let made = known(state, number)?;
    let result = result_of(made);
    let before = made.replaces.and_then(|earlier| state.recordings.reduction(earlier));
    let before = before.map(|earlier| {
        let old = result_of(earlier);
        let output = |result: &Value| result.get("output").cloned().unwrap_or_default();
        EarlierReduction {
            made: ReductionRow::of(state, earlier),
            differences: differences(&output(&old), &output(&result)),
            result: old,
        }
    });
    Shown::tagged(&ReductionView { made: ReductionRow::of(state, made), result, before })
}

fn result_of(made: &Reduction) -> Value {
    serde_json::from_str(&made.result).unwrap_or_default()
}
