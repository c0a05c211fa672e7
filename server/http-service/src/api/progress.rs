//! How the programme gets on: points by phase over time, repeats, what is still to go, and where the days went.

use actix_web::HttpRequest;
use chrono::{DateTime, NaiveDate, Utc};
use programme::codes::PersonHandle;
use programme::commands::{self, LostDayTerms};
use programme::nouns::LostTo;
use programme::progress::{self, Progress};
use serde::Serialize;

use crate::access::{NoteLostDays, Permitted, Read};
use crate::desk::{Answer, Outcome, Shown, Written};
use crate::given::{Given, Query};
use crate::office::Office;
use crate::page::OfMoment;
use crate::picture::{ProgressPicture, draw_progress};
use crate::problem::{FAULT, Problem};

/// What was noted last of a day that may have been lost.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct NotedDay {
    /// Which day.
    pub date: NaiveDate,
    /// To what it was lost; absent: it was not, because no work was meant.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cause: Option<LostTo>,
    /// What there is to say about it.
    pub account: String,
    /// The record.
    pub seq: u64,
    /// Who noted it.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
}

/// How the programme gets on: points by phase and where they stand, day by day; how often runs are repeated; what is still to
/// go; where the days since the first run went; and how long results waited for their acceptance.
///
/// Nothing of it holds or opens anything. Days are in UTC.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "How it gets on.", body = Progress)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let past = past.as_of.as_deref();
    office
        .show(&person, past, &request, |view| Shown::tagged(&progress::of(view.state, view.now)))
        .await
}

/// How the programme gets on, as a picture (SVG): points by where they stand, day by day, for each phase.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((
        status = 200,
        description = "The picture.",
        body = String,
        content_type = "image/svg+xml",
        example = "<svg xmlns=\"http://www.w3.org/2000/svg\"></svg>",
    )),
)]
pub(crate) async fn picture(
    person: Permitted<Read>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office
        .show(&person, past.as_of.as_deref(), &request, |view| {
            let picture = ProgressPicture::of(view.state, view.now);
            Ok(Shown::picture(draw_progress(&picture)))
        })
        .await
}

/// Note what a day was lost to, or that it was not lost. What is noted last of a day holds.
#[utoipa::path(
    post, path = "",
    request_body(
        content = LostDayTerms,
        example = json!({
            "date": "2026-05-02", "cause": "weather", "account": "Cross-wind of 18 kt from eight in the morning on.",
        }),
    ),
    responses((status = 201, description = "Noted.", body = Written<NotedDay>)),
)]
pub(crate) async fn note_lost_day(
    person: Permitted<NoteLostDays>,
    given: Given<LostDayTerms>,
    office: Office,
) -> Answer {
    let place = format!("/api/v1/programmes/{}/progress", person.programme);
    let date = given.body.date;
    office
        .act(&person, given.map(|terms| commands::NoteLostDay { terms }), move |view, _| {
            let noted = view.state.planning.lost.get(&date).ok_or_else(|| {
                Problem::new(FAULT, "The note is not there. Tell whoever runs the server.")
            })?;
            let noted = NotedDay {
                date,
                cause: noted.cause,
                account: noted.account.clone(),
                seq: noted.seq,
                by: noted.by.clone(),
                at: noted.at,
            };
            Ok(Outcome::created(place, Shown::tagged(&noted)?))
        })
        .await
}
