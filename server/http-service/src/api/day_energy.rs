//! How many runs the energy of a planned day allows, and from which source.

use actix_web::HttpRequest;
use programme::codes::DayPlanNumber;
use programme::day_plan::{EnergyOfDay, LikeRuns, energy_of_day};
use programme::refusal::Refusal;
use programme::state::State;
use serde::Deserialize;

use super::day_plans::known;
use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown};
use crate::given::{At, Number, Query};
use crate::office::Office;
use crate::picture::{EnergyPicture, draw_energy};
use crate::problem::Problem;

/// A run that is made again and again.
#[derive(Debug, Clone, Copy, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct LikeRun {
    /// What it takes out of the pack, kWh.
    #[param(example = 5)]
    pub energy_kwh: f64,
    /// How long it is, min.
    #[param(example = 15)]
    pub run_min: f64,
    /// Minutes of set-up before it.
    #[param(example = 20)]
    pub set_up_min: f64,
}

pub(crate) fn of_day(
    state: &State,
    number: DayPlanNumber,
    run: LikeRun,
) -> Result<EnergyOfDay, Problem> {
    let proposed = known(state, number)?;
    let LikeRun { energy_kwh, run_min, set_up_min } = run;
    let run = LikeRuns { energy_kwh, run_min, set_up_min };
    Ok(energy_of_day(state, &proposed.terms, run).map_err(Refusal::from)?)
}

/// How many runs of a kind the energy of a planned day allows: with the pack as it is in the morning, and with panels, the
/// battery on the ground and the mains one after the other.
///
/// Energy, cooling and daylight are looked at, and neither weather nor crews nor releases.
#[utoipa::path(
    get, path = "",
    params(LikeRun),
    responses((status = 200, description = "What it allows.", body = EnergyOfDay)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    plan: At<Number<DayPlanNumber>>,
    run: Query<LikeRun>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office
        .show(&person, None, &request, |view| Shown::tagged(&of_day(view.state, plan.0.0, *run)?))
        .await
}

/// What the energy of a planned day allows, as a picture (SVG): energy in the pack and what went into it by source.
#[utoipa::path(
    get, path = "",
    params(LikeRun),
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
    plan: At<Number<DayPlanNumber>>,
    run: Query<LikeRun>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    office
        .show(&person, None, &request, |view| {
            let energy = of_day(view.state, plan.0.0, *run)?;
            Ok(Shown::picture(draw_energy(&EnergyPicture {
                programme: &view.state.title,
                energy: &energy,
            })))
        })
        .await
}
