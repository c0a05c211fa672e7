//! What moves the date most: the same trials again, with one assumption kinder.

use std::sync::atomic::AtomicBool;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::answer::{Forecast, forecast};
use super::assumptions::{Assumptions, RepeatPrior, Weekday};
use super::remaining::Remaining;
use super::spread::{Spread, ThreePoint};
use super::trials::CannotForecast;
use crate::nouns::Phase;

/// What one kinder assumption would bring.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Driver {
    /// What would be otherwise.
    pub what: String,
    /// Days of the calendar by which half of the first flights come earlier; null where no first flight remains, or a date is
    /// not reached.
    pub first_flight_days: Option<i64>,
    /// The same of the end.
    pub end_days: Option<i64>,
}

/// So many points of those that are critical most often are looked at.
const POINTS: usize = 5;

/// What moves the date most, the greatest gain at the end first.
///
/// Each driver is the same forecast from the same seed, so with the same luck, with one assumption changed: so it tells what
/// the change brings, not chance. Gains do not add up: with one bottleneck gone the next one shows. A serial plan may even
/// lose a day by a kinder assumption, because another point gets the aircraft first; then the gain is negative.
///
/// # Errors
///
/// As [`forecast`].
pub fn drivers(
    remaining: &Remaining,
    assumptions: &Assumptions,
    trials: u32,
    seed: u64,
    stop: &AtomicBool,
) -> Result<Vec<Driver>, CannotForecast> {
    let now = forecast(remaining, assumptions, trials, seed, stop)?;
    let mut found = Vec::new();
    for (what, kinder) in kinder(remaining, assumptions, &now) {
        let then = forecast(remaining, &kinder, trials, seed, stop)?;
        let flight = |told: &Forecast| told.first_flight.as_ref().and_then(|date| date.by[1]);
        found.push(Driver {
            what,
            first_flight_days: earlier(flight(&now), flight(&then)),
            end_days: earlier(now.end.by[1], then.end.by[1]),
        });
    }
    found.sort_by_key(|driver| std::cmp::Reverse(driver.end_days));
    Ok(found)
}

fn earlier(now: Option<NaiveDate>, then: Option<NaiveDate>) -> Option<i64> {
    Some((now? - then?).num_days())
}

fn kinder(
    remaining: &Remaining,
    given: &Assumptions,
    now: &Forecast,
) -> Vec<(String, Assumptions)> {
    let mut found = Vec::new();
    let mut with = |what: String, change: &dyn Fn(&mut Assumptions)| {
        let mut changed = given.clone();
        change(&mut changed);
        found.push((what, changed));
    };
    with("the weather does on every day".to_owned(), &|changed| {
        changed.weather.ground = vec![1.0; 12];
        changed.weather.flight = vec![1.0; 12];
    });
    for phase in Phase::ALL {
        if remaining.steps.iter().any(|step| step.phase == phase) {
            with(format!("no repeats in phase {phase}"), &|changed| {
                changed.repeats.insert(phase, RepeatPrior { repeated: 0.5, shown: 10_000.0 });
            });
        }
    }
    if given.runs_a_day < 50 {
        with("one more run a day".to_owned(), &|changed| changed.runs_a_day += 1);
    }
    if given.energy_a_day_kwh.is_some() {
        with("energy for any number of runs".to_owned(), &|changed| {
            changed.energy_a_day_kwh = None
        });
    }
    if given.works_on.len() < 7 {
        with("the team works on every day of the week".to_owned(), &|changed| {
            changed.works_on.extend(Weekday::ALL);
        });
    }
    for (index, delivery) in given.deliveries.iter().enumerate() {
        with(format!("{} comes on the first day", delivery.what), &|changed| {
            let starts = changed.starts;
            let delivery = &mut changed.deliveries[index];
            (delivery.best, delivery.likely, delivery.worst) = (starts, starts, starts);
        });
    }
    for outlook in now.points.iter().take(POINTS).filter(|outlook| outlook.critical > 0.0) {
        with(format!("point {} takes no time after its run", outlook.code), &|changed| {
            let none = ThreePoint { best: 0.0, likely: 0.0, worst: 0.0 };
            changed.days_of.insert(outlook.code.clone(), Spread::ThreePoint(none));
        });
    }
    found
}
