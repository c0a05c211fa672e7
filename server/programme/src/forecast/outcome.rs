//! What came true of earlier forecasts, and whether the date slips.

use chrono::NaiveDate;

use super::answer::DateSpread;
use super::score::{Score, score, slip_days};
use crate::record::RunKind;
use crate::state::{MadeForecast, State};

/// What became of one date of a forecast.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct DateOutcome {
    /// By how many days half of the trials have it later than in the forecast before; negative: earlier.
    pub slip_days: Option<i64>,
    /// The true date, once it has come.
    pub came: Option<NaiveDate>,
    /// The forecast held against that.
    pub score: Option<Score>,
}

/// The day of the first take-off, once there was one.
pub fn first_flight_came(state: &State) -> Option<NaiveDate> {
    let flights = state.runs.iter().filter(|run| run.what == RunKind::Flight);
    let took_off = flights.flat_map(|run| run.times.take_offs.iter().min()).min()?;
    Some(took_off.date_naive())
}

/// The day on which the last point was accepted, once all are.
pub fn end_came(state: &State) -> Option<NaiveDate> {
    let standing = state.ladder.rungs().iter().filter(|rung| rung.dropped.is_none());
    let mut last = None;
    for rung in standing {
        let result = state.results.get(state.accepted_result_of(rung)?.0)?;
        let signed = [&result.engineering, &result.safety].into_iter().flatten();
        last = last.max(signed.map(|signature| signature.at.date_naive()).max());
    }
    last
}

/// What became of a forecast's first flight and end.
pub fn outcomes(state: &State, made: &MadeForecast) -> [DateOutcome; 2] {
    let before = state.planning.forecasts.iter().rev().find(|it| it.number < made.number);
    let outcome = |of: Option<&DateSpread>, earlier: Option<&DateSpread>, came| DateOutcome {
        slip_days: earlier.zip(of).and_then(|(earlier, of)| slip_days(earlier, of)),
        came,
        score: came.zip(of).and_then(|(came, of)| score(of, came)),
    };
    // A flight that was before the forecast is not what it is about.
    let since = |came: Option<NaiveDate>| came.filter(|came| made.at.date_naive() <= *came);
    [
        outcome(
            made.told.first_flight.as_ref(),
            before.and_then(|it| it.told.first_flight.as_ref()),
            since(first_flight_came(state)).filter(|_| made.told.first_flight.is_some()),
        ),
        outcome(Some(&made.told.end), before.map(|it| &it.told.end), since(end_came(state))),
    ]
}
