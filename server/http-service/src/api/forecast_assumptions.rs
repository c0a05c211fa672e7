//! What forecasts rest on, as the test lead assumes it.

use std::collections::BTreeMap;

use actix_web::HttpRequest;
use chrono::{DateTime, Utc};
use programme::codes::PersonHandle;
use programme::commands::AssumeForecast;
use programme::entry::Entry;
use programme::forecast::{Assumptions, remaining};
use programme::nouns::Phase;
use programme::progress::{Repeats, repeats_by_phase};
use programme::state::State;
use serde::Serialize;

use crate::access::{Forecast as MayForecast, Permitted, Read};
use crate::desk::{Answer, Outcome, Shown, View, Written};
use crate::given::{Given, Query};
use crate::office::Office;
use crate::page::OfMoment;
use crate::problem::{NOT_FOUND, Problem};

/// What forecasts rest on, with what the programme itself adds.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = ForecastAssumptions)]
pub struct AssumptionsView<'a> {
    /// The record.
    pub seq: u64,
    /// Who assumed it.
    pub by: &'a PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// All of it.
    pub assumptions: &'a Assumptions,
    /// The programme's own results by phase: they are added to what was assumed of repeats.
    pub results: BTreeMap<Phase, Repeats>,
    /// How many points have still to be shown.
    pub points_left: usize,
}

fn shown(state: &State) -> Result<Shown, Problem> {
    let assumed = state.planning.assumed.as_ref().ok_or_else(|| {
        Problem::new(
            NOT_FOUND,
            "Nobody has said yet what a forecast rests on. The test lead gives the assumptions.",
        )
    })?;
    Shown::tagged(&AssumptionsView {
        seq: assumed.seq,
        by: &assumed.by,
        at: assumed.at,
        assumptions: &assumed.assumptions,
        results: repeats_by_phase(state),
        points_left: remaining(state).steps.len(),
    })
}

/// What forecasts rest on: the assumptions that were given last, and the programme's own results by phase.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The assumptions.", body = AssumptionsView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office.show(&person, past.as_of.as_deref(), &request, |view| shown(view.state)).await
}

/// Assume what the forecasts that come rest on. Every phase with points that remain needs its days and its repeats.
///
/// Nothing of it is looked at by any hold: being late never softens one.
#[utoipa::path(
    post, path = "",
    request_body(
        content = Assumptions,
        example = json!({
            "starts": "2026-06-01",
            "days": {
                "ground-run": { "three-point": { "best": 1, "likely": 2, "worst": 6 } },
                "taxi": { "three-point": { "best": 1, "likely": 2, "worst": 5 } },
                "first-flight": { "three-point": { "best": 2, "likely": 4, "worst": 10 } },
                "envelope": { "three-point": { "best": 1, "likely": 3, "worst": 8 } },
                "static": { "three-point": { "best": 1, "likely": 2, "worst": 5 } },
            },
            "repeats": {
                "static": { "repeated": 1, "shown": 6 },
                "ground-run": { "repeated": 1, "shown": 4 },
                "taxi": { "repeated": 1, "shown": 4 },
                "first-flight": { "repeated": 1, "shown": 3 },
                "envelope": { "repeated": 1, "shown": 4 },
            },
            "works_on": ["friday", "saturday", "sunday"],
            "weather": {
                "ground": [0.6, 0.6, 0.7, 0.8, 0.8, 0.9, 0.9, 0.9, 0.8, 0.7, 0.6, 0.6],
                "flight": [0.2, 0.3, 0.4, 0.5, 0.5, 0.6, 0.6, 0.6, 0.5, 0.4, 0.3, 0.2],
            },
            "runs_a_day": 4,
            "energy_a_day_kwh": 120,
            "deliveries": [{
                "what": "Permit for flights", "best": "2026-07-01", "likely": "2026-07-20", "worst": "2026-10-01",
                "phases": ["first-flight", "envelope"],
            }],
        }),
    ),
    responses((status = 200, description = "Assumed.", body = Written<AssumptionsView>)),
)]
pub(crate) async fn assume(
    person: Permitted<MayForecast>,
    given: Given<Assumptions>,
    office: Office,
) -> Answer {
    let given = given.map(|assumptions| AssumeForecast { assumptions });
    office
        .act(&person, given, |view: View<'_>, _: &[Entry]| Ok(Outcome::changed(shown(view.state)?)))
        .await
}
