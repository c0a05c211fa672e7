//! Happenings that end the validity of checks, such as a hard landing.

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use programme::codes::{EventCode, PersonHandle};
use programme::commands::{EventReport, ReportEvent};
use programme::state::Happening;
use serde::Serialize;

use crate::access::{Permitted, Read, ReportEvents};
use crate::desk::{Answer, Outcome, Shown, Written};
use crate::given::{Given, Query};
use crate::office::Office;
use crate::page::{Page, Paging, after};
use crate::problem::{FAULT, Problem};

/// Something that happened to the aircraft.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Happening)]
pub struct HappeningView<'a> {
    /// The record.
    pub seq: u64,
    /// When it happened.
    pub at: DateTime<Utc>,
    /// Who reported it.
    pub by: &'a PersonHandle,
    /// What kind.
    pub event: &'a EventCode,
    /// What happened.
    pub account: &'a str,
}

fn happening_view(happening: &Happening) -> HappeningView<'_> {
    HappeningView {
        seq: happening.seq,
        at: happening.at,
        by: &happening.by,
        event: &happening.event,
        account: &happening.account,
    }
}

/// Happenings in the order in which they were reported, newest first.
#[utoipa::path(
    get, path = "",
    params(Paging),
    responses((status = 200, description = "A page of happenings.", body = Page<HappeningView>)),
)]
pub(crate) async fn list(
    person: Permitted<Read>,
    page: Query<Paging>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<u64> = after(page.after.as_deref())?;
    office
        .show(&person, page.as_of.as_deref(), &request, |view| {
            let rows = view.state.checks.happenings.iter().rev();
            let rows = rows
                .filter(|happening| after.is_none_or(|after| happening.seq < after))
                .map(|happening| (happening.seq, happening_view(happening)));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// Report a happening. It ends every check that names its kind, at once.
///
/// The kind has to be one that a check names; for anything else open a snag.
#[utoipa::path(
    post, path = "",
    request_body(
        content = EventReport,
        example = json!({
            "event": "hard-landing",
            "account": "Touched down flat from about a metre, main wheels first.",
        }),
    ),
    responses((status = 201, description = "Recorded.", body = Written<HappeningView>)),
)]
pub(crate) async fn report(
    person: Permitted<ReportEvents>,
    given: Given<EventReport>,
    office: Office,
) -> Answer {
    let place = format!("/api/v1/programmes/{}/happenings", person.programme);
    office
        .act(&person, given.map(|terms| ReportEvent { terms }), |view, _| {
            let happening = view.state.checks.happenings.last().ok_or_else(|| {
                Problem::new(FAULT, "The happening is not there. Tell whoever runs the server.")
            })?;
            Ok(Outcome::created(place, Shown::tagged(&happening_view(happening))?))
        })
        .await
}
