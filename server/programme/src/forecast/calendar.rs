//! The days on which the team works, with how often the weather does on each.

use chrono::{Datelike, Days, NaiveDate};

use super::assumptions::{Assumptions, Weekday};

/// How far a forecast looks: ten years. A trial that gets no further is told as not reached.
const HORIZON_DAYS: u64 = 3_653;

/// One working day.
#[derive(Debug, Clone, Copy)]
pub(super) struct WorkDay {
    pub date: NaiveDate,
    /// A random number below it: the weather does for the ground.
    pub ground_below: u64,
    /// The same for a flight.
    pub flight_below: u64,
}

/// Whether the team works on a day.
pub fn works_on(assumptions: &Assumptions, date: NaiveDate) -> bool {
    let weekday = Weekday::ALL[date.weekday().num_days_from_monday() as usize];
    assumptions.works_on.contains(&weekday) && !assumptions.days_off.contains(&date)
}

/// Working days in order, from the first of the forecast on.
pub(super) fn working_days(assumptions: &Assumptions) -> Vec<WorkDay> {
    let share = |months: &[f64], month0: u32| {
        let share = months.get(month0 as usize).copied().unwrap_or(0.0);
        (share * (u64::from(u32::MAX) + 1) as f64) as u64
    };
    (0..HORIZON_DAYS)
        .filter_map(|day| assumptions.starts.checked_add_days(Days::new(day)))
        .filter(|date| works_on(assumptions, *date))
        .map(|date| {
            let flight_below = share(&assumptions.weather.flight, date.month0());
            let ground_below = share(&assumptions.weather.ground, date.month0()).max(flight_below);
            WorkDay { date, ground_below, flight_below }
        })
        .collect()
}

/// The first working day that is not before the date, by its place.
pub(super) fn place_of(days: &[WorkDay], date: NaiveDate) -> usize {
    days.partition_point(|day| day.date < date)
}
