//! What is told while it happens.

use std::time::Duration;

use actix_web::http::Method;
use actix_web::{HttpRequest, HttpResponse};
use serde::Deserialize;

use crate::access::{Permitted, Read, pass};
use crate::desk::Answer;
use crate::given::Query;
use crate::live::{EVENTS, LASTS_AT_MOST, USUALLY_LASTS};
use crate::office::Office;
use crate::problem::{BAD_QUERY, Problem};

/// For how long somebody listens.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Listening {
    /// For how many seconds at most.
    #[param(minimum = 1, maximum = 3600, default = 600)]
    pub lasts_s: Option<u64>,
}

/// Server-sent events while the ledger grows. Each has the type `ledger` and as its data `{"seq": N}`, the number of the last
/// record; the first tells it as it is now, so nothing is missed by asking again. Events that come close together come as
/// one, at most five a second. A comment every 15 s is a sign of life. The stream ends after the time asked for, when the
/// access token expires, at the end of the session, and when the server ends.
#[utoipa::path(
    get, path = "",
    params(Listening),
    responses((
        status = 200,
        description = "The stream.",
        body = String,
        content_type = "text/event-stream",
        example = "retry: 1000\nevent: ledger\nid: 412\ndata: {\"seq\":412}\n\n",
    )),
)]
pub(crate) async fn listen(
    person: Permitted<Read>,
    listening: Query<Listening>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let lasts = listening.lasts_s.map_or(USUALLY_LASTS, Duration::from_secs);
    if lasts.is_zero() || lasts > LASTS_AT_MOST {
        return Err(Problem::of_field(
            BAD_QUERY,
            "lasts_s",
            format!("lasts_s is from 1 to {} seconds.", LASTS_AT_MOST.as_secs()),
        ));
    }
    if request.method() == Method::HEAD {
        return Ok(HttpResponse::Ok().content_type(EVENTS).finish());
    }
    let pass = pass(&request, &office)?;
    office.listen(person.programme, pass, lasts)
}
