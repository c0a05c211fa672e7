//! Parts that runs heat, as fits of the programme's own recordings have them.

use actix_web::HttpRequest;
use programme::codes::{LimitCode, ReductionNumber, RunNumber};
use programme::day_plan::HeatingPart;
use programme::prediction::{KnownHeating, known_heating};
use programme::state::State;
use serde::Serialize;

use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown};
use crate::given::Query;
use crate::office::Office;
use crate::page::OfMoment;

/// A part that runs heat, with what that is known from.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct HeatingKnown {
    /// The limit that it must not reach.
    pub limit: LimitCode,
    /// As plans of days take it, but for how warm it is at the beginning, which is for whoever plans to say: here as warm as
    /// the air was observed last, or 15 °C where nobody has observed it.
    pub part: HeatingPart,
    /// The runs whose recordings show it.
    pub runs: Vec<RunNumber>,
}

/// Every such part.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct HeatingParts {
    /// In the order in which the policy names what is predicted.
    pub parts: Vec<HeatingKnown>,
}

/// Of the standard atmosphere at sea level, in degrees Celsius (ISO 2533).
const STANDARD_AIR_C: f64 = 15.0;

/// Figures as people read them.
fn rounded(figure: f64, steps: f64) -> f64 {
    (figure * steps).round() / steps
}

impl HeatingKnown {
    fn of(state: &State, known: KnownHeating) -> Self {
        let observed = state.latest_weather().and_then(|it| it.weather.temperature);
        let observed = observed.and_then(|it| it.in_unit(programme::measure::Unit::Celsius));
        let rests_on: Vec<ReductionNumber> = known.basis.reductions;
        Self {
            part: HeatingPart {
                name: programme::in_words::channel_name(state, &known.channel),
                time_constant_min: rounded(known.time_constant_s / 60.0, 100.0),
                rise_c_per_kw: rounded(known.rise_c_per_kw, 1000.0),
                begins_c: observed.unwrap_or(STANDARD_AIR_C),
                most_c: rounded(known.most_c, 10.0),
                rests_on,
            },
            limit: known.limit,
            runs: known.basis.runs,
        }
    }

    /// All that a programme knows.
    pub fn all(state: &State) -> Vec<Self> {
        known_heating(state).into_iter().map(|known| Self::of(state, known)).collect()
    }
}

/// Parts that runs heat, as fits of the programme's own recordings have them: the mean of the runs with what is fitted now, and
/// the limit less the margin of predictions. Ready to be taken into a plan of a day, with the reductions that they rest on.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The parts.", body = HeatingParts)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let past = past.as_of.as_deref();
    office
        .show(&person, past, &request, |view| {
            Shown::tagged(&HeatingParts { parts: HeatingKnown::all(view.state) })
        })
        .await
}
