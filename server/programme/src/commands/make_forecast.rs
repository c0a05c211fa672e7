//! Makes a forecast: draws it from what was assumed and what is left, and keeps what it told.

use std::sync::atomic::AtomicBool;

use serde::Deserialize;

use super::given::{not_now, one};
use super::{Command, Stamp};
use crate::codes::ForecastNumber;
use crate::entry::Draft;
use crate::forecast::{
    Assumptions, CannotForecast, Driver, Forecast, Remaining, drivers, forecast, remaining,
};
use crate::people::Act;
use crate::record::ForecastMade;
use crate::refusal::Refusal;
use crate::state::State;

/// The most trials of a forecast that is kept: the drivers are as many forecasts again.
const MOST_KEPT_TRIALS: u32 = 20_000;

/// What a person gives to have a forecast made.
#[derive(Debug, Clone, Copy, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TrialTerms {
    /// How many courses of the programme are drawn.
    #[schema(minimum = 1, maximum = 20_000, example = 2000)]
    pub trials: u32,
    /// The seed of the random numbers: the same seed gives the same answer.
    #[schema(minimum = 0, maximum = 4_294_967_295_u32, example = 1)]
    pub seed: u32,
}

/// A forecast that was drawn, with all that it was drawn from.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnForecast {
    /// The record of what was assumed.
    pub assumed: u64,
    /// What was left.
    pub remaining: Remaining,
    /// What it tells.
    pub told: Forecast,
    /// What would move the dates most.
    pub drivers: Vec<Driver>,
}

/// What a forecast is drawn from, as the programme stands: the record of what was assumed, that, and what is left.
///
/// # Errors
///
/// [`Refusal::NotNow`] where nothing was assumed yet, or nothing is left.
pub fn grounds_of(state: &State) -> Result<(u64, Assumptions, Remaining), Refusal> {
    let assumed = state.planning.assumed.as_ref().ok_or_else(|| {
        not_now(
            "nothing-assumed",
            "nobody has said yet what a forecast rests on",
            "The test lead gives the assumptions first: durations, working days, weather, deliveries, repeats.",
        )
    })?;
    let left = remaining(state);
    if left.steps.is_empty() {
        return Err(not_now(
            "nothing-left",
            "every point is accepted, so that there is nothing to forecast",
            "Nothing needs to be done.",
        ));
    }
    Ok((assumed.seq, assumed.assumptions.clone(), left))
}

/// Draws a forecast with its drivers. It may take seconds.
///
/// # Errors
///
/// As [`grounds_of`], and [`Refusal::Invalid`] for too many trials and for assumptions that do not do for what is left.
pub fn draw_forecast(
    grounds: (u64, Assumptions, Remaining),
    terms: TrialTerms,
    stop: &AtomicBool,
) -> Result<DrawnForecast, Refusal> {
    let (assumed, assumptions, remaining) = grounds;
    let TrialTerms { trials, seed } = terms;
    if trials > MOST_KEPT_TRIALS {
        let why = format!("is {trials}; it must be from 1 to {MOST_KEPT_TRIALS}");
        return Err(Refusal::Invalid { faults: vec![crate::refusal::Fault::at("trials", why)] });
    }
    let seed = u64::from(seed);
    let refused = |error| match error {
        CannotForecast::Faulty { faults } => Refusal::Invalid { faults },
        CannotForecast::Stopped => not_now(
            "stopped",
            "the forecast was stopped before it was finished",
            "Ask again, with fewer trials if it took too long.",
        ),
    };
    let told = forecast(&remaining, &assumptions, trials, seed, stop).map_err(refused)?;
    let drivers = drivers(&remaining, &assumptions, trials, seed, stop).map_err(refused)?;
    Ok(DrawnForecast { assumed, remaining, told, drivers })
}

/// Asks for a forecast to be kept.
#[derive(Debug, Clone)]
pub struct MakeForecast {
    /// As it was drawn.
    pub drawn: DrawnForecast,
}

impl Command for MakeForecast {
    fn act(&self) -> Act {
        Act::Forecast
    }

    fn decide(&self, state: &State, _: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let DrawnForecast { assumed, remaining, told, drivers } = &self.drawn;
        let (now_assumed, _, now_left) = grounds_of(state)?;
        if (now_assumed, &now_left) != (*assumed, remaining) {
            return Err(not_now(
                "programme-changed",
                "the programme changed while the forecast was drawn",
                "Ask for the forecast again.",
            ));
        }
        let made = u32::try_from(state.planning.forecasts.len()).unwrap_or(u32::MAX);
        Ok(one(ForecastMade {
            forecast: ForecastNumber(made.saturating_add(1)),
            assumed: *assumed,
            told: told.clone(),
            drivers: drivers.clone(),
        }))
    }
}
