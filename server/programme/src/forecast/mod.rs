//! When the aircraft may fly first and when the programme may end: a forecast as a distribution, never one date.
//!
//! The lead types in assumptions: how long a step takes, which days the team works, how often the weather will do, when parts
//! and documents come. Many invented courses of the programme are then drawn from them. A forecast is an answer to "when, if
//! these assumptions hold"; it opens no rung. It shares no input with the holds, and the holds know nothing of it: being late
//! never softens a hold.
//!
//! Each trial has its own stream of random numbers, by seed and number of the trial, so that the same seed gives the same
//! answer on any number of threads.

mod answer;
mod assumptions;
mod calendar;
mod course;
mod drivers;
mod network;
mod outcome;
mod remaining;
mod score;
mod spread;
mod trials;

#[cfg(test)]
mod tests;

pub use answer::{DateSpread, DaysTaken, Forecast, PointOutlook, SHARES, forecast};
pub use assumptions::{Assumptions, Delivery, RepeatPrior, UsableWeather, Weekday};
pub use calendar::works_on;
pub use drivers::{Driver, drivers};
pub use network::{Cycle, Network, Schedule, critical_path};
pub use outcome::{DateOutcome, end_came, first_flight_came, outcomes};
pub use remaining::{Remaining, Step, remaining};
pub use score::{Score, score, slip_days};
pub use spread::{Spread, ThreePoint};
pub use trials::{CannotForecast, Finishes, MOST_TRIALS, finishes};
