//! Completed hours.

use actix_web::HttpRequest;
use programme::hours::{self, CompletedHours};

use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown};
use crate::given::Query;
use crate::office::Office;
use crate::page::OfMoment;

/// Completed hours: what the closed runs add up to, by phase, configuration and person, and what is still to go.
///
/// Whole minutes, counts and watt-hours; every total is exactly the sum of its rows. A closed run with a missing moment
/// is listed and not counted. The JSON Schema of this reply is `openapi/hours.schema.json`; `rungbook export hours` gives
/// the same.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The hours.", body = CompletedHours)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let past = past.as_of.as_deref();
    office.show(&person, past, &request, |view| Shown::tagged(&hours::completed(view.state))).await
}
