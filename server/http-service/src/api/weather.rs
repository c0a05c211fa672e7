//! The weather as people at the field saw or read it.

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use programme::codes::PersonHandle;
use programme::commands::{self, WeatherTerms};
use programme::nouns::WeatherObservation;
use programme::state::{Observed, State};
use serde::Serialize;

use crate::access::{ObserveWeather, Permitted, Read};
use crate::desk::{Answer, Outcome, Shown, Written};
use crate::given::{Given, Query};
use crate::office::Office;
use crate::page::{OfMoment, Page, Paging, after};
use crate::problem::{FAULT, NOT_FOUND, Problem};

/// The weather as it was once observed.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct ObservedWeather<'a> {
    /// The record.
    pub seq: u64,
    /// Who observed it.
    pub by: &'a PersonHandle,
    /// When it was so.
    pub at: DateTime<Utc>,
    /// Up to and including when it is new enough, by the programme's policy; absent: no policy is set, and nothing is
    /// new enough.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub good_until: Option<DateTime<Utc>>,
    /// What was observed. What was not is absent, and never meets a minimum.
    pub weather: &'a WeatherObservation,
}

pub(crate) fn observed_view<'a>(state: &State, observed: &'a Observed) -> ObservedWeather<'a> {
    ObservedWeather {
        seq: observed.seq,
        by: &observed.by,
        at: observed.at,
        good_until: state.policy.as_ref().map(|policy| policy.weather_good_until(observed.at)),
        weather: &observed.weather,
    }
}

/// Observations in the order in which they were recorded, newest first.
#[utoipa::path(
    get, path = "",
    params(Paging),
    responses((status = 200, description = "A page of observations.", body = Page<ObservedWeather>)),
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
            let weather = &view.state.weather;
            let older = match after {
                None => weather.len(),
                Some(after) => weather.partition_point(|observed| observed.seq < after),
            };
            let rows = weather[..older]
                .iter()
                .rev()
                .map(|observed| (observed.seq, observed_view(view.state, observed)));
            Shown::tagged(&Page::of(rows, page.limit, &request)?)
        })
        .await
}

/// The weather that was observed last. One that is reported late does not replace a newer one.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The observation.", body = ObservedWeather)),
)]
pub(crate) async fn latest(
    person: Permitted<Read>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office
        .show(&person, past.as_of.as_deref(), &request, |view| {
            let latest = view.state.latest_weather().ok_or_else(|| {
                Problem::new(
                    NOT_FOUND,
                    "Nobody has observed the weather yet. Whoever is at the field does.",
                )
            })?;
            Shown::tagged(&observed_view(view.state, latest))
        })
        .await
}

/// Record the weather as observed. Every figure has its unit.
#[utoipa::path(
    post, path = "",
    request_body(
        content = WeatherTerms,
        example = json!({
            "weather": {
                "wind": { "value": 8, "unit": "kt" },
                "wind_from_deg": 250,
                "gust": { "value": 12, "unit": "kt" },
                "crosswind": { "value": 3, "unit": "kt" },
                "visibility": { "value": 10, "unit": "km" },
                "cloud_base": { "value": 3500, "unit": "ft" },
                "temperature": { "value": 14, "unit": "degC" },
                "qnh": { "value": 1018, "unit": "hPa" },
                "precipitation": false,
            },
            "observed_at": "2026-05-02T07:50:00Z",
        }),
    ),
    responses((status = 201, description = "Recorded.", body = Written<ObservedWeather>)),
)]
pub(crate) async fn observe(
    person: Permitted<ObserveWeather>,
    given: Given<WeatherTerms>,
    office: Office,
) -> Answer {
    let place = format!("/api/v1/programmes/{}/weather/latest", person.programme);
    office
        .act(&person, given.map(|terms| commands::ObserveWeather { terms }), |view, _| {
            let observed = view.state.weather.last().ok_or_else(|| {
                Problem::new(FAULT, "The observation is not there. Tell whoever runs the server.")
            })?;
            Ok(Outcome::created(place, Shown::tagged(&observed_view(view.state, observed))?))
        })
        .await
}
