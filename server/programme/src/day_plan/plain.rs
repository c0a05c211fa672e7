//! A day told in bare figures: nothing but time, order and energy. The same search plans it as plans a programme's day, so that
//! it can be held against other solvers.

use std::sync::atomic::AtomicBool;

use serde::{Deserialize, Serialize};

use super::physics::{Grounds, STEP_H};
use super::search::{Begun, Candidate, MOST_CANDIDATES, Problem, search};

/// A day of steps of five minutes.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct PlainDay {
    /// Steps of the window.
    pub steps: usize,
    /// Steps from the end of a run to where its result is accepted.
    pub acceptance: usize,
    /// The most runs of the day.
    pub most_runs: usize,
    /// In the pack at first and when it is full, above what stays in it.
    pub pack_kwh: f64,
    /// What a charger gives in every step without a run.
    pub charger_kw: f64,
    /// What could be run.
    pub runs: Vec<PlainRun>,
}

/// A run of one point.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct PlainRun {
    /// What it is worth; above 0.
    pub value: f64,
    /// Steps of set-up before the run.
    pub set_up: usize,
    /// Steps of the run.
    pub run: usize,
    /// Steps of turn-round after it.
    pub turn_round: usize,
    /// What it takes out of the pack.
    pub energy_kwh: f64,
    /// The first step in which its set-up may begin.
    pub earliest: usize,
    /// Runs that have to be accepted before, by their place.
    pub after: Vec<usize>,
}

/// What was found for a [`PlainDay`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlainOrder {
    /// Run and the step at which its set-up begins, in their order.
    pub runs: Vec<(usize, usize)>,
    /// What they are worth.
    pub value: f64,
    /// What no plan exceeds.
    pub at_most: f64,
}

/// Plans a day of bare figures. None where `stop` became true, a run waits for one that is not there, or there are more than
/// [`MOST_CANDIDATES`].
pub fn order_of_runs(day: &PlainDay, stop: &AtomicBool) -> Option<PlainOrder> {
    let places = 0..day.runs.len();
    let known = day.runs.iter().flat_map(|run| &run.after).all(|before| places.contains(before));
    if day.runs.len() > MOST_CANDIDATES || !known {
        return None;
    }
    let candidates = day.runs.iter().map(|run| Candidate {
        value: run.value,
        set_up: run.set_up,
        run: run.run,
        turn_round: run.turn_round,
        energy_kwh: run.energy_kwh,
        may_begin: (0..day.steps).map(|step| step >= run.earliest).collect(),
        after: run.after.clone(),
        on_board: Vec::new(),
        run_min: run.run as f64 * STEP_H * 60.0,
    });
    let problem = Problem {
        steps: day.steps,
        candidates: candidates.collect(),
        grounds: Grounds {
            usable_kwh: day.pack_kwh,
            begins_kwh: day.pack_kwh,
            least_kwh: 0.0,
            taper: None,
            charger_kw: day.charger_kw,
            efficiency: 1.0,
            mains_kw: day.charger_kw,
            panels_kw: Vec::new(),
            ground: None,
            parts: Vec::new(),
            air_c: vec![15.0],
        },
        acceptance: day.acceptance,
        flight_min: Vec::new(),
        most_runs: day.most_runs,
    };
    let found = search(&problem, &Begun::fresh(&problem), stop).ok()?;
    Some(PlainOrder { runs: found.runs, value: found.value, at_most: found.at_most })
}
