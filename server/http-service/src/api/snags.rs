//! Defects and anomalies that were found, the work on them, and their closing.

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use programme::codes::{ItemCode, PersonHandle, RunNumber, SnagNumber};
use programme::commands::{
    CloseSnag, OpenSnag, SnagClosing, SnagTerms, WorkSnag, WorkTerms, digests,
};
use programme::nouns::{Phase, Severity};
use programme::record::Digest;
use programme::state::{Amendable, Snag, State};
use serde::{Deserialize, Serialize};

use crate::access::{CloseSnags, OpenSnags, Permitted, Read, WorkSnags};
use crate::description::SignedBody;
use crate::desk::{Answer, Outcome, Shown, View, Written};
use crate::given::{At, Given, Number, Query, Signed};
use crate::office::Office;
use crate::page::{OfMoment, Page, after};
use crate::problem::Problem;

/// A snag.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Snag)]
pub struct SnagView<'a> {
    /// Its number.
    pub snag: SnagNumber,
    /// What was found.
    #[schema(example = "Chafed cable at the rear battery box")]
    pub title: &'a str,
    /// Whether it grounds the aircraft while it is open.
    pub grounding: bool,
    /// How bad it could be.
    pub severity: Severity,
    /// On which item.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub item: Option<&'a ItemCode>,
    /// In which run.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub run: Option<RunNumber>,
    /// Phases that it grounds; none: all.
    pub phases: &'a [Phase],
    /// Who found it.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// What was found out and done, oldest first; the closing is the last.
    pub work: Vec<SnagWorkView<'a>>,
    /// Who closed it; absent: it is open.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub closed: Option<ClosedSnag<'a>>,
    /// Of the snag with the work on it, to be sent with its closing; absent when it is closed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub digest: Option<Digest>,
}

/// Work on a snag.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct SnagWorkView<'a> {
    /// By whom.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// What was found to be the cause.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cause: Option<&'a str>,
    /// What was done.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub action: Option<&'a str>,
}

/// Who closed a snag.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct ClosedSnag<'a> {
    /// Which engineer.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Of what was signed.
    pub digest: &'a Digest,
}

/// Which page of the snags.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct SnagPage {
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
}

pub(crate) fn snag_view(snag: &Snag) -> Result<SnagView<'_>, Problem> {
    let digest = match snag.closed {
        None => Some(digests::snag(snag).map_err(Problem::unsignable)?),
        Some(_) => None,
    };
    let work = snag.work.iter().map(|work| SnagWorkView {
        by: &work.by,
        at: work.at,
        cause: work.cause.as_deref(),
        action: work.action.as_deref(),
    });
    Ok(SnagView {
        snag: snag.number,
        title: &snag.title,
        grounding: snag.grounding,
        severity: snag.severity,
        item: snag.item.as_ref(),
        run: snag.run,
        phases: &snag.phases,
        by: &snag.by,
        at: snag.at,
        work: work.collect(),
        closed: snag.closed.as_ref().map(|(by, at, digest)| ClosedSnag { by, at: *at, digest }),
        digest,
    })
}

fn shown(state: &State, number: SnagNumber) -> Result<Shown, Problem> {
    let snag = state.snag(number).ok_or_else(|| Problem::unknown("snag", number))?;
    Shown::at_revision(state.revision(&Amendable::Snag(number)), &snag_view(snag)?)
}

/// Snags, newest first.
#[utoipa::path(
    get, path = "",
    params(SnagPage),
    responses((status = 200, description = "A page of snags.", body = Page<SnagView>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<SnagPage>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<u32> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let rows = view.state.snags.iter().rev();
            let rows = rows
                .filter(|snag| after.is_none_or(|after| snag.number.0 < after))
                .filter(|snag| page.open.is_none_or(|open| open == snag.closed.is_none()))
                .map(|snag| (snag.number, snag));
            let page = Page::of(rows, page.limit, &request)?;
            Shown::tagged(&page.each(snag_view)?)
        })
        .await
}

/// One snag with all the work on it.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The snag.", body = SnagView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    snag: At<Number<SnagNumber>>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office.show(&person, past.as_of.as_deref(), &request, |view| shown(view.state, snag.0.0)).await
}

/// Open a snag: a defect or anomaly that somebody found. One that grounds holds every point of its phases at once.
#[utoipa::path(
    post, path = "",
    request_body(
        content = SnagTerms,
        example = json!({
            "title": "Chafed cable at the rear battery box",
            "grounding": true,
            "severity": "critical",
            "item": "battery",
        }),
    ),
    responses((status = 201, description = "Opened.", body = Written<SnagView>)),
)]
pub(crate) async fn open(
    person: Permitted<OpenSnags>,
    given: Given<SnagTerms>,
    office: Office,
) -> Answer {
    let places = format!("/api/v1/programmes/{}/snags", person.programme);
    office
        .act(&person, given.map(|terms| OpenSnag { terms }), move |view, _| {
            let number = SnagNumber(u32::try_from(view.state.snags.len()).unwrap_or(u32::MAX));
            Ok(Outcome::created(format!("{places}/{number}"), shown(view.state, number)?))
        })
        .await
}

/// Record what was found out about a snag, or done about it.
///
/// It can be made to ground the aircraft from now on, and never the other way round.
#[utoipa::path(
    post, path = "",
    request_body(
        content = WorkTerms,
        example = json!({
            "cause": "The clip that keeps the cable off the edge was missing.",
            "action": "Cable sleeved, clip fitted, the other clips looked at.",
        }),
    ),
    responses((status = 200, description = "Recorded.", body = Written<SnagView>)),
)]
pub(crate) async fn work(
    person: Permitted<WorkSnags>,
    snag: At<Number<SnagNumber>>,
    given: Given<WorkTerms>,
    office: Office,
) -> Answer {
    let snag = snag.0.0;
    office.act(&person, given.map(|terms| WorkSnag { snag, terms }), changed(snag)).await
}

/// Close a snag, with its cause and what was done, and with the password or PIN again.
///
/// One that grounds is closed by an engineer who did not do the last work on it. `digest` is that of the snag as it was
/// read; work that was recorded since is read first.
#[utoipa::path(
    post, path = "",
    request_body(
        content = SignedBody<SnagClosing>,
        example = json!({
            "cause": "The clip that keeps the cable off the edge was missing.",
            "action": "Clip fitted; pulled by hand, holds.",
            "digest": "5f70bf18a086007016e948b04aed3b82103a36bea41755b6cddfaf10ace3c6ef",
            "secret": "271845",
        }),
    ),
    responses((status = 200, description = "Closed.", body = Written<SnagView>)),
)]
pub(crate) async fn close(
    person: Permitted<CloseSnags>,
    snag: At<Number<SnagNumber>>,
    signed: Signed<SnagClosing>,
    office: Office,
) -> Answer {
    let snag = snag.0.0;
    office.sign(&person, signed.map(|terms| CloseSnag { snag, terms }), changed(snag)).await
}

fn changed(
    snag: SnagNumber,
) -> impl FnOnce(View<'_>, &[programme::entry::Entry]) -> Result<Outcome, Problem> + Send + 'static
{
    move |view, _| Ok(Outcome::changed(shown(view.state, snag)?))
}
