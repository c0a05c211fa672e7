//! A plan for a test day: which points in which order, with charge and temperatures along it.
//!
//! A plan is a proposal. It opens no rung and releases nothing: the safety officer's releases, the checks and the pilot's
//! acknowledgement are as they are without it, and it tells which of them it needs. It advises; it clears nobody to fly.

mod candidates;
mod physics;
mod plan;
mod search;
mod terms;
mod weather_csv;

#[cfg(test)]
mod tests;

pub use candidates::{LeftOut, Need};
pub use plan::{
    CannotPlan, ChargeOfDay, DayPlan, Instead, MomentOfDay, NotReached, PartInRun, PlannedRun,
    PlannedSeat, plan_day,
};
pub use search::{EXACT_UP_TO, MOST_CANDIDATES};
pub use terms::{
    ChargingOfDay, CrewOfDay, DayTerms, Field, GroundBatteryOfDay, HeatingPart, HourOfWeather,
    PackOfDay, PanelsOfDay,
};
pub use weather_csv::weather_of_csv;
