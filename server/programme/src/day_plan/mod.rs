//! A plan for a test day: which points in which order, with charge and temperatures along it.
//!
//! A plan is a proposal. It opens no rung and releases nothing: the safety officer's releases, the checks and the pilot's
//! acknowledgement are as they are without it, and it tells which of them it needs. It advises; it clears nobody to fly.

mod again;
mod answer;
mod candidates;
mod energy;
mod physics;
mod plain;
mod plan;
mod search;
mod seating;
mod terms;
mod weather_csv;

#[cfg(test)]
mod tests;

pub use again::{AgainTerms, rest_of_day};
pub use answer::{
    ChargeOfDay, DayPlan, Instead, MomentOfDay, NotReached, PartInRun, PlannedRun, PlannedSeat,
};
pub use candidates::{LeftOut, Need};
pub use energy::{EnergyMoment, EnergyOfDay, LikeRuns, RunsFromSources, energy_of_day};
pub use plain::{PlainDay, PlainOrder, PlainRun, order_of_runs};
pub use plan::{CannotPlan, DayProblem, plan_day};
pub use search::{EXACT_UP_TO, MOST_CANDIDATES};
pub use terms::{
    ChargingOfDay, CrewOfDay, DayTerms, Field, GroundBatteryOfDay, HeatingPart, HourOfWeather,
    PackOfDay, PanelsOfDay,
};
pub use weather_csv::weather_of_csv;
