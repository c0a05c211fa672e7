//! The forecast itself: dates as distributions, and how often each point lies on the critical path.

use std::collections::{BTreeMap, HashMap};
use std::sync::atomic::AtomicBool;

use chrono::{Datelike, Days, NaiveDate};
use serde::{Deserialize, Serialize};

use super::assumptions::Assumptions;
use super::calendar::{WorkDay, place_of, working_days};
use super::course::{Course, Demand, Outcome, Plan, Taken};
use super::network::Network;
use super::remaining::Remaining;
use super::spread::{Draws, Spread, ThreePoint, beta_quantiles};
use super::trials::{CannotForecast, fault_of_trials, in_chunks};
use crate::codes::PointCode;
use crate::nouns::Phase;
use crate::refusal::Fault;

/// The shares of trials of which a date is told.
pub const SHARES: [f64; 4] = [0.10, 0.50, 0.80, 0.95];

/// A date as a distribution.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DateSpread {
    /// By these dates it had happened in 10, 50, 80 and 95 % of the trials; null where it had not within ten years.
    pub by: [Option<NaiveDate>; 4],
    /// The share of trials in which it did not happen within ten years.
    pub not_reached: f64,
    /// In how many trials it fell into each week, by the week's Monday.
    pub weeks: BTreeMap<NaiveDate, u32>,
}

/// What the forecast says of one point.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PointOutlook {
    /// The point.
    pub code: PointCode,
    /// In which share of the trials it lay on the longest way to the end.
    pub critical: f64,
    /// The date by which it was finished in half of the trials; null where it was not within ten years.
    pub half_by: Option<NaiveDate>,
}

/// Working days of the longest way to the end, by what took them; means over the trials that reached it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DaysTaken {
    /// First attempts, from the run to acceptance.
    pub work: f64,
    /// Repeats.
    pub repeats: f64,
    /// Waiting for weather.
    pub weather: f64,
    /// Waiting because the day's runs or its energy were used up.
    pub aircraft: f64,
    /// Waiting for deliveries.
    pub deliveries: f64,
}

/// A forecast.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Forecast {
    /// How many trials.
    pub trials: u32,
    /// From which seed.
    pub seed: u64,
    /// The first flight; null where none remains to be flown.
    pub first_flight: Option<DateSpread>,
    /// The end of all points.
    pub end: DateSpread,
    /// By point, the most critical first.
    pub points: Vec<PointOutlook>,
    /// What takes the time.
    pub taken: DaysTaken,
}

/// Draws a forecast.
///
/// A step waits for the points and deliveries before it, then for a working day with usable weather on which the aircraft is
/// free, is run, and is accepted some working days later; where it has to be repeated, it takes another run after those days.
/// The aircraft goes to the point with the longest way before it. The chance of a repeat is drawn anew in each trial, by phase,
/// from a beta distribution of what was assumed and what the programme's results showed. Weather is drawn day by day, each by
/// itself: that bad weather lasts is not in it, so that short forecasts are a little too sure. Seeds and threads: the same
/// seed gives the same answer on any number of threads.
///
/// # Errors
///
/// [`CannotForecast::Faulty`] with every fault; [`CannotForecast::Stopped`] once `stop` is true.
pub fn forecast(
    remaining: &Remaining,
    assumptions: &Assumptions,
    trials: u32,
    seed: u64,
    stop: &AtomicBool,
) -> Result<Forecast, CannotForecast> {
    let mut faults = assumptions.faults(remaining);
    faults.extend(fault_of_trials(trials));
    let after = before_each(remaining);
    let network = Network::new(&after);
    if let Err(cycle) = &network {
        let codes: Vec<&str> =
            cycle.steps.iter().map(|step| remaining.steps[*step].code.as_str()).collect();
        faults.push(Fault::at(
            "points",
            format!("{} wait for each other in a circle", codes.join(", ")),
        ));
    }
    let (Ok(network), true) = (network, faults.is_empty()) else {
        return Err(CannotForecast::Faulty { faults });
    };
    let plan = plan(remaining, assumptions, network, &after);
    if plan.days.is_empty() {
        let fault = Fault::at("days_off", "leave no working day within ten years");
        return Err(CannotForecast::Faulty { faults: vec![fault] });
    }
    let chunks = in_chunks(
        trials,
        CHUNK,
        stop,
        || Course::new(&plan),
        |course, chunk| play(course, seed, chunk),
    )?;
    Ok(told(remaining, &plan, trials, seed, chunks))
}

/// For each step the places of those before it.
fn before_each(remaining: &Remaining) -> Vec<Vec<usize>> {
    let places: HashMap<&PointCode, usize> =
        remaining.steps.iter().enumerate().map(|(place, step)| (&step.code, place)).collect();
    remaining
        .steps
        .iter()
        .map(|step| step.after.iter().filter_map(|code| places.get(code).copied()).collect())
        .collect()
}

fn plan(
    remaining: &Remaining,
    assumptions: &Assumptions,
    network: Network,
    after: &[Vec<usize>],
) -> Plan {
    // Faults were looked for before, so each step has its spread.
    let none = Spread::History(vec![0.0]);
    let spreads: Vec<&Spread> = remaining
        .steps
        .iter()
        .map(|step| assumptions.days_of(&step.code, step.phase).unwrap_or(&none))
        .collect();
    let means: Vec<f64> = spreads.iter().map(|spread| spread.mean()).collect();
    let network = network.urgent_first(after, &means);
    let demands = (0..network.len())
        .map(|place| {
            let step = &remaining.steps[network.step(place)];
            let waits = assumptions.deliveries.iter().enumerate().filter(|(_, delivery)| {
                delivery.phases.contains(&step.phase) || delivery.points.contains(&step.code)
            });
            Demand {
                phase: step.phase as usize,
                is_flight: step.phase.is_flight(),
                is_first_flight: step.phase == Phase::FirstFlight,
                energy_kwh: step.energy_kwh,
                deliveries: waits.map(|(index, _)| index as u32).collect(),
            }
        })
        .collect();
    let repeats = Phase::ALL
        .iter()
        .map(|phase| {
            let (shown, repeated) = remaining.runs.get(phase).copied().unwrap_or((0, 0));
            let (more, fewer) = assumptions
                .repeats
                .get(phase)
                .map_or((0.5, 0.5), |prior| (prior.repeated, prior.shown));
            beta_quantiles(more + f64::from(repeated), fewer + f64::from(shown))
        })
        .collect();
    let days_from_start = |date: NaiveDate| (date - assumptions.starts).num_days().max(0) as f64;
    let deliveries: Vec<Spread> = assumptions
        .deliveries
        .iter()
        .map(|delivery| {
            Spread::ThreePoint(ThreePoint {
                best: days_from_start(delivery.best),
                likely: days_from_start(delivery.likely),
                worst: days_from_start(delivery.worst),
            })
        })
        .collect();
    let days = working_days(assumptions);
    let span = days.last().map_or(0, |day| days_from_start(day.date) as u64);
    let work_from = (0..=span)
        .filter_map(|day| assumptions.starts.checked_add_days(Days::new(day)))
        .map(|date| place_of(&days, date) as u32)
        .collect();
    Plan {
        draws: Draws::of((0..network.len()).map(|place| spreads[network.step(place)])),
        network,
        demands,
        repeats,
        delivery_count: deliveries.len(),
        deliveries: Draws::of(&deliveries),
        work_from,
        days,
        runs_a_day: assumptions.runs_a_day,
        energy_a_day_kwh: assumptions.energy_a_day_kwh.unwrap_or(f64::INFINITY),
    }
}

/// What a chunk of trials came to.
struct Played {
    outcomes: Vec<Outcome>,
    critical: Vec<u32>,
    taken: Taken,
    /// By trial, then by place: the working day on which the step was finished.
    finished: Vec<f32>,
}

fn play(course: &mut Course<'_>, seed: u64, trials: std::ops::Range<u32>) -> Played {
    let plan = course.plan();
    let mut played = Played {
        outcomes: Vec::with_capacity(trials.len()),
        critical: vec![0; plan.network.len()],
        taken: Taken::default(),
        finished: Vec::new(),
    };
    for trial in trials {
        let outcome = course.play(seed, trial);
        if trial < LOOKED_AT {
            played.finished.extend(course.finish().iter().map(|day| *day as f32));
        }
        if outcome.end.is_finite() {
            let finish = |place: usize| course.finish()[place];
            super::trials::way_back(&plan.network, finish, outcome.last, |place| {
                played.critical[place] += 1;
                let taken = course.taken(place);
                played.taken.work += taken.work;
                played.taken.repeats += taken.repeats;
                played.taken.weather += taken.weather;
                played.taken.aircraft += taken.aircraft;
                played.taken.deliveries += taken.deliveries;
            });
        }
        played.outcomes.push(outcome);
    }
    played
}

/// So many trials are taken by a thread at once.
const CHUNK: u32 = 32;

/// Of so many trials each point's finish is kept.
const LOOKED_AT: u32 = 1_000;

fn told(
    remaining: &Remaining,
    plan: &Plan,
    trials: u32,
    seed: u64,
    chunks: Vec<Played>,
) -> Forecast {
    let count = plan.network.len();
    let mut critical = vec![0_u32; count];
    let mut finished: Vec<Vec<f64>> = vec![Vec::new(); count];
    let mut taken = DaysTaken::default();
    let mut outcomes = Vec::with_capacity(trials as usize);
    for chunk in chunks {
        outcomes.extend(chunk.outcomes);
        for (place, times) in chunk.critical.iter().enumerate() {
            critical[place] += times;
        }
        for trial in chunk.finished.chunks(count.max(1)) {
            for (place, day) in trial.iter().enumerate() {
                finished[place].push(f64::from(*day));
            }
        }
        taken.work += chunk.taken.work;
        taken.repeats += chunk.taken.repeats;
        taken.weather += chunk.taken.weather;
        taken.aircraft += chunk.taken.aircraft;
        taken.deliveries += chunk.taken.deliveries;
    }
    let reached = outcomes.iter().filter(|outcome| outcome.end.is_finite()).count().max(1) as f64;
    for days in [
        &mut taken.work,
        &mut taken.repeats,
        &mut taken.weather,
        &mut taken.aircraft,
        &mut taken.deliveries,
    ] {
        *days /= reached;
    }
    let mut points: Vec<PointOutlook> = finished
        .into_iter()
        .enumerate()
        .map(|(place, mut days)| {
            days.sort_by(f64::total_cmp);
            PointOutlook {
                code: remaining.steps[plan.network.step(place)].code.clone(),
                critical: f64::from(critical[place]) / reached,
                half_by: at_share(&days, 0.5).and_then(|day| date_of(&plan.days, day)),
            }
        })
        .collect();
    points.sort_by(|left, right| {
        right.critical.total_cmp(&left.critical).then_with(|| left.code.cmp(&right.code))
    });
    let flies = plan.demands.iter().any(|demand| demand.is_first_flight);
    let spread = |day: fn(&Outcome) -> f64| date_spread(plan, outcomes.iter().map(day).collect());
    Forecast {
        trials,
        seed,
        first_flight: flies.then(|| spread(|outcome| outcome.first_flight)),
        end: spread(|outcome| outcome.end),
        points,
        taken,
    }
}

fn date_of(days: &[WorkDay], day: f64) -> Option<NaiveDate> {
    if !day.is_finite() {
        return None;
    }
    days.get(day as usize).map(|day| day.date)
}

/// The least value that at least this share of the sorted values does not exceed.
fn at_share(sorted: &[f64], share: f64) -> Option<f64> {
    let place = (sorted.len() as f64 * share).ceil() as usize;
    sorted.get(place.clamp(1, sorted.len().max(1)) - 1).copied()
}

fn date_spread(plan: &Plan, mut days: Vec<f64>) -> DateSpread {
    days.sort_by(f64::total_cmp);
    let mut weeks = BTreeMap::new();
    let mut reached = 0_usize;
    for date in days.iter().filter_map(|day| date_of(&plan.days, *day)) {
        reached += 1;
        let since_monday = u64::from(date.weekday().num_days_from_monday());
        let monday = date.checked_sub_days(Days::new(since_monday)).unwrap_or(date);
        *weeks.entry(monday).or_insert(0) += 1;
    }
    DateSpread {
        by: SHARES.map(|share| at_share(&days, share).and_then(|day| date_of(&plan.days, day))),
        not_reached: 1.0 - reached as f64 / days.len().max(1) as f64,
        weeks,
    }
}
