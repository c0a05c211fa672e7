//! Parts that runs heat, as fits of the programme's own recordings have them.

use actix_web::HttpRequest;
use programme::codes::{ChannelCode, LimitCode, ReductionNumber, RunNumber};
use programme::in_words::channel_name;
use programme::prediction::{KnownHeating, known_heating};
use programme::state::State;
use serde::Serialize;

use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown};
use crate::given::Query;
use crate::office::Office;
use crate::page::OfMoment;

/// A part that runs heat, with what that is known from. How warm it is at the beginning of a day is for whoever plans it to
/// say: nobody knows it from a recording.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct HeatingKnown {
    /// What it is: the name of its channel.
    pub name: String,
    /// The channel of its temperature.
    pub channel: ChannelCode,
    /// The limit that it must not reach.
    pub limit: LimitCode,
    /// Time in which a difference falls to 1/e, in minutes: the mean of the runs.
    pub time_constant_min: f64,
    /// Rise over the air for each kilowatt out of the pack, in the long run, in kelvins: the mean of the runs.
    pub rise_c_per_kw: f64,
    /// How warm it may become in a run, in degrees Celsius: its limit less the margin of predictions.
    pub most_c: f64,
    /// The reductions that it rests on, as a plan of a day names them.
    pub rests_on: Vec<ReductionNumber>,
    /// The runs whose recordings show it.
    pub runs: Vec<RunNumber>,
}

/// Every such part.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct HeatingParts {
    /// In the order in which the policy names what is predicted.
    pub parts: Vec<HeatingKnown>,
}

impl HeatingKnown {
    fn of(state: &State, known: KnownHeating) -> Self {
        Self {
            name: channel_name(state, &known.channel),
            channel: known.channel,
            limit: known.limit,
            time_constant_min: known.time_constant_s / 60.0,
            rise_c_per_kw: known.rise_c_per_kw,
            most_c: known.most_c,
            rests_on: known.basis.reductions,
            runs: known.basis.runs,
        }
    }

    /// All that a programme knows.
    pub fn all(state: &State) -> Vec<Self> {
        known_heating(state).into_iter().map(|known| Self::of(state, known)).collect()
    }
}

/// Parts that runs heat, as fits of the programme's own recordings have them: the mean of the runs with what is fitted now, and
/// the limit less the margin of predictions. A plan of a day takes the figures with the reductions that they rest on.
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
