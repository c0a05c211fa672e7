//! The server's clock, by which everything runs out: where it stands before the ledger, and that it is right again.

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use programme::commands::{self, ComparedClock};
use serde::Serialize;

use crate::access::{CompareClock, Permitted, Read};
use crate::description::SignedBody;
use crate::desk::{Answer, Outcome, Shown, View, Written};
use crate::given::Signed;
use crate::office::Office;

/// The server's clock beside the ledger. Where it stands more than a minute before a record, one of the two times is wrong, nobody
/// knows what has run out, and no point goes ahead.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = ServerClock)]
pub struct ClockView {
    /// What the server's clock shows.
    pub looked_at: DateTime<Utc>,
    /// Whether it stands before the ledger.
    pub behind: bool,
    /// When the record was made that was made at the latest time, of those since the clock was compared last.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub furthest_at: Option<DateTime<Utc>>,
    /// That record.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub furthest_record: Option<u64>,
}

/// How it stands with the clock.
pub(crate) fn clock_view(view: View<'_>) -> ClockView {
    let keeping = &view.state.keeping;
    ClockView {
        looked_at: view.now,
        behind: keeping.ahead_of(view.now).is_some(),
        furthest_at: keeping.furthest.map(|it| it.at),
        furthest_record: keeping.furthest.map(|it| it.seq),
    }
}

/// The server's clock, and whether it stands before the ledger.
#[utoipa::path(get, path = "", responses((status = 200, description = "The clock.", body = ClockView)))]
pub(crate) async fn read(person: Permitted<Read>, request: HttpRequest, office: Office) -> Answer {
    office.show(&person, None, &request, |view| Shown::new(&clock_view(view))).await
}

/// Say that the server's clock is right, and was wrong when something was recorded at a later time, with what another clock shows.
///
/// Only the safety officer may, with password or PIN, and only where the other clock shows the same to two minutes: every
/// release and every check rests on it.
#[utoipa::path(
    post, path = "",
    request_body(
        content = SignedBody<ComparedClock>,
        example = json!({
            "shown": "2026-05-02T08:14:00Z",
            "other": "The time signal on the hangar radio",
            "secret": "271845",
        }),
    ),
    responses((status = 201, description = "Recorded.", body = Written<ClockView>)),
)]
pub(crate) async fn compare(
    person: Permitted<CompareClock>,
    signed: Signed<ComparedClock>,
    office: Office,
) -> Answer {
    let place = format!("/api/v1/programmes/{}/ledger/clock", person.programme);
    office
        .sign(&person, signed.map(|terms| commands::CompareClock { terms }), |view, _| {
            Ok(Outcome::created(place, Shown::new(&clock_view(view))?))
        })
        .await
}
