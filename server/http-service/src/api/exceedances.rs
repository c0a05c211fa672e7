//! Values beyond their limits: noted, explained by an engineer, closed by the safety officer.

use actix_web::HttpRequest;
use chrono::{DateTime, TimeDelta, Utc};
use programme::codes::{
    ChannelCode, ExceedanceNumber, LimitCode, PersonHandle, PointCode, RunNumber,
};
use programme::commands::{
    CloseExceedance, ExceedanceClosing, ExceedanceTerms, ExplainExceedance, ExplanationTerms,
    NoteExceedance, digests,
};
use programme::entry::Entry;
use programme::measure::Unit;
use programme::nouns::Statistic;
use programme::record::{Digest, Record};
use programme::state::{Amendable, Exceedance, FoundInRecording, State};
use serde::{Deserialize, Serialize};

use crate::access::{CloseExceedances, ExplainExceedances, NoteExceedances, Permitted, Read};
use crate::description::SignedBody;
use crate::desk::{Answer, Outcome, Shown, Written};
use crate::entity_tag::{Amends, Precondition};
use crate::given::{At, Given, Number, Query, Signed};
use crate::office::Office;
use crate::page::{OfMoment, Page, after};
use crate::problem::{FAULT, Problem};

/// An exceedance.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Exceedance)]
pub struct ExceedanceView<'a> {
    /// Its number.
    pub exceedance: ExceedanceNumber,
    /// The record that last changed it; the ETag begins with it.
    pub revision: u64,
    /// Who noted it.
    pub by: &'a PersonHandle,
    /// When it was seen.
    pub at: DateTime<Utc>,
    /// In which run.
    pub run: RunNumber,
    /// Of which limit.
    pub limit: &'a LimitCode,
    /// For which point, where a result showed it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub point: Option<&'a PointCode>,
    /// Which statistic went beyond.
    pub statistic: Statistic,
    /// Its peak, in `unit`; of `time-above` in seconds, of `rate` in the unit a second.
    pub peak: f64,
    /// The limit's unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    /// How long, in seconds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub duration_s: Option<f64>,
    /// What a recording tells of it; absent where a person noted it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub found: Option<FoundView<'a>>,
    /// Why it came about, as an engineer sees it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub explained: Option<ExplanationView<'a>>,
    /// Who closed it; absent: it is open.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub closed: Option<ClosedExceedance<'a>>,
    /// Of the exceedance with its explanation, to be sent with its closing; absent until it is explained, and once it is
    /// closed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub digest: Option<Digest>,
}

/// What a recording tells of an exceedance.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = FoundInRecording)]
pub struct FoundView<'a> {
    /// In which recording.
    pub recording: &'a Digest,
    /// The record that set the limit as the recording was held against it.
    pub limit_revision: u64,
    /// When it began, by the recorder's own clock.
    pub started_at: DateTime<Utc>,
    /// When it began, by the clock of the run: less the offset of the recorder's clock, where somebody confirmed one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub started_in_run: Option<DateTime<Utc>>,
    /// When it was at its peak, by the recorder's own clock.
    pub peak_at: DateTime<Utc>,
    /// When it was at its peak, by the clock of the run.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub peak_in_run: Option<DateTime<Utc>>,
    /// How long a value could be beyond the limit before it counted, in seconds.
    pub dwell_s: f64,
    /// The sensor that disagrees with the rest of its group.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub odd_one_out: Option<&'a ChannelCode>,
}

impl<'a> FoundView<'a> {
    fn of(state: &State, found: &'a FoundInRecording) -> Self {
        let ahead_s =
            state.recordings.get(&found.recording).map_or(0.0, |known| known.clock_offset_s());
        // A confirmed offset is below a year, so that it has its whole number of microseconds.
        #[expect(clippy::cast_possible_truncation, reason = "rounded, and bounded when confirmed")]
        let ahead = TimeDelta::microseconds((ahead_s * 1e6).round() as i64);
        Self {
            recording: &found.recording,
            limit_revision: found.limit_revision,
            started_at: found.started_at,
            started_in_run: found.started_at.checked_sub_signed(ahead),
            peak_at: found.peak_at,
            peak_in_run: found.peak_at.checked_sub_signed(ahead),
            dwell_s: found.dwell_s,
            odd_one_out: found.odd_one_out.as_ref(),
        }
    }
}

/// The explanation of an exceedance.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Explanation)]
pub struct ExplanationView<'a> {
    /// By whom.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Why it came about.
    pub explanation: &'a str,
    /// What is done about it.
    pub action: &'a str,
}

/// Who closed an exceedance.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct ClosedExceedance<'a> {
    /// Which safety officer.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Of what was signed.
    pub digest: &'a Digest,
}

/// Which page of the exceedances.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ExceedancePage {
    /// The number of the last row of the page before; absent: the first page.
    #[param(max_length = 64)]
    pub after: Option<String>,
    /// Rows at most.
    #[param(minimum = 1, maximum = 500, default = 100)]
    pub limit: Option<u16>,
    /// As it stood after the record of this number, or at this time (RFC 3339).
    #[param(example = "2026-05-02T08:00:00Z")]
    pub as_of: Option<String>,
    /// Only those that are open, or only those that are closed; absent: all.
    pub open: Option<bool>,
    /// Those of this run only.
    #[param(minimum = 1)]
    pub run: Option<u32>,
}

/// What is shown of an exceedance.
pub(crate) fn exceedance_view<'a>(
    state: &'a State,
    exceedance: &'a Exceedance,
) -> Result<ExceedanceView<'a>, Problem> {
    let to_close = exceedance.explained.is_some() && exceedance.closed.is_none();
    let digest = to_close.then(|| digests::exceedance(exceedance)).transpose();
    let limit = state.limits.by_code.get(&exceedance.limit);
    Ok(ExceedanceView {
        exceedance: exceedance.number,
        revision: state.revision(&Amendable::Exceedance(exceedance.number)),
        by: &exceedance.by,
        at: exceedance.at,
        run: exceedance.run,
        limit: &exceedance.limit,
        point: exceedance.point.as_ref(),
        statistic: exceedance.statistic,
        peak: exceedance.peak,
        unit: limit.map(|known| known.limit.unit),
        duration_s: exceedance.duration_s,
        found: exceedance.found.as_ref().map(|found| FoundView::of(state, found)),
        explained: exceedance.explained.as_ref().map(|explained| ExplanationView {
            by: &explained.by,
            at: explained.at,
            explanation: &explained.explanation,
            action: &explained.action,
        }),
        closed: exceedance.closed.as_ref().map(|(by, at, digest)| ClosedExceedance {
            by,
            at: *at,
            digest,
        }),
        digest: digest.map_err(Problem::unsignable)?,
    })
}

fn shown(state: &State, number: ExceedanceNumber) -> Result<Shown, Problem> {
    let exceedance =
        state.exceedance(number).ok_or_else(|| Problem::unknown("exceedance", number))?;
    let revision = state.revision(&Amendable::Exceedance(number));
    Shown::at_revision(revision, &exceedance_view(state, exceedance)?)
}

/// Exceedances, newest first.
#[utoipa::path(
    get, path = "",
    params(ExceedancePage),
    responses((status = 200, description = "A page of exceedances.", body = Page<ExceedanceView>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<ExceedancePage>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<u32> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let rows = view.state.exceedances.iter().rev();
            let rows = rows
                .filter(|it| after.is_none_or(|after| it.number.0 < after))
                .filter(|it| page.open.is_none_or(|open| open == it.closed.is_none()))
                .filter(|it| page.run.is_none_or(|run| it.run.0 == run))
                .map(|it| (it.number, it));
            let page = Page::of(rows, page.limit, &request)?;
            Shown::tagged(&page.each(|it| exceedance_view(view.state, it))?)
        })
        .await
}

/// One exceedance, with its explanation and the digest to close it with.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The exceedance.", body = ExceedanceView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    exceedance: At<Number<ExceedanceNumber>>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let past = past.as_of.as_deref();
    office.show(&person, past, &request, |view| shown(view.state, exceedance.0.0)).await
}

/// Note an exceedance that somebody saw, besides those that results show by themselves.
///
/// The peak is in the limit's unit, of `time-above` in seconds, of `rate` in the unit a second; it has to lie beyond the
/// limit.
#[utoipa::path(
    post, path = "",
    request_body(content = ExceedanceTerms, example = json!({
        "run": 3, "limit": "L-WINDING", "statistic": "max", "peak": 124.5, "duration_s": 12.0,
    })),
    responses((status = 201, description = "Noted.", body = Written<ExceedanceView>)),
)]
pub(crate) async fn note(
    person: Permitted<NoteExceedances>,
    given: Given<ExceedanceTerms>,
    office: Office,
) -> Answer {
    let place = format!("/api/v1/programmes/{}/exceedances", person.programme);
    let command = given.map(|terms| NoteExceedance { terms });
    office
        .act(&person, command, move |view, entries| {
            let number = noted(entries)?;
            Ok(Outcome::created(format!("{place}/{number}"), shown(view.state, number)?))
        })
        .await
}

fn noted(entries: &[Entry]) -> Result<ExceedanceNumber, Problem> {
    let found = entries.iter().find_map(|entry| match &entry.record {
        Record::ExceedanceNoted(body) => Some(body.exceedance),
        _ => None,
    });
    found.ok_or_else(|| Problem::new(FAULT, "The exceedance was noted and cannot be shown."))
}

/// Explain an exceedance, or explain it anew until it is closed. Whoever explains it does not close it.
#[utoipa::path(
    put, path = "",
    request_body(content = ExplanationTerms, example = json!({
        "explanation": "The cowling flap was shut; ambient air was 31 °C.",
        "action": "Flap checked open before power on; line added to the card.",
    })),
    params(Amends),
    responses((status = 200, description = "Explained.", body = Written<ExceedanceView>)),
)]
pub(crate) async fn explain(
    person: Permitted<ExplainExceedances>,
    exceedance: At<Number<ExceedanceNumber>>,
    precondition: Precondition,
    given: Given<ExplanationTerms>,
    office: Office,
) -> Answer {
    let exceedance = exceedance.0.0;
    let command = given.map(|terms| ExplainExceedance { exceedance, terms, expected: None });
    let thing = Amendable::Exceedance(exceedance);
    office
        .amend(&person, (precondition, thing), command, move |view, _, _| {
            Ok(Outcome::changed(shown(view.state, exceedance)?))
        })
        .await
}

/// Close an explained exceedance, on the digest of what you read, with your password or PIN.
#[utoipa::path(
    post, path = "",
    request_body(content = SignedBody<ExceedanceClosing>, example = json!({
        "digest": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
        "secret": "271845",
    })),
    responses((status = 200, description = "Closed.", body = Written<ExceedanceView>)),
)]
pub(crate) async fn close(
    person: Permitted<CloseExceedances>,
    exceedance: At<Number<ExceedanceNumber>>,
    signed: Signed<ExceedanceClosing>,
    office: Office,
) -> Answer {
    let exceedance = exceedance.0.0;
    let command = signed.map(|terms| CloseExceedance { exceedance, terms });
    office
        .sign(&person, command, move |view, _| Ok(Outcome::changed(shown(view.state, exceedance)?)))
        .await
}
