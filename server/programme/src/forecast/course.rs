//! One invented course of the programme on its calendar: weather, repeats, deliveries and one aircraft.

use rand::Rng;

use super::calendar::WorkDay;
use super::network::Network;
use super::spread::{Draws, Quantiles, drawn};
use super::trials::{latest, stream};

/// What the runs of one step ask for.
#[derive(Debug, Clone)]
pub(super) struct Demand {
    pub phase: usize,
    pub is_flight: bool,
    pub is_first_flight: bool,
    pub energy_kwh: f64,
    /// Places of the deliveries that it waits for.
    pub deliveries: Vec<u32>,
}

/// All that is the same in each trial.
pub(super) struct Plan {
    pub network: Network,
    /// By place of the network.
    pub demands: Vec<Demand>,
    pub draws: Draws,
    /// By phase: the chance of a repeat.
    pub repeats: Vec<Quantiles>,
    /// Days of the calendar from its start.
    pub deliveries: Draws,
    pub delivery_count: usize,
    /// The working day, by its place, for each day of the calendar.
    pub work_from: Vec<u32>,
    pub days: Vec<WorkDay>,
    pub runs_a_day: u32,
    pub energy_a_day_kwh: f64,
}

/// Working days of a way through the steps, by what took them.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Taken {
    pub work: f64,
    pub repeats: f64,
    pub weather: f64,
    pub aircraft: f64,
    pub deliveries: f64,
}

/// What is kept between trials, so that nothing is asked for anew.
pub(super) struct Course<'a> {
    plan: &'a Plan,
    finish: Vec<f64>,
    taken: Vec<Taken>,
    weather: Vec<u32>,
    runs: Vec<u32>,
    energy_kwh: Vec<f64>,
    arrivals: Vec<f64>,
    steps: Vec<(u32, u32)>,
}

/// How a trial came out; by working days, endless where the calendar was too short.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Outcome {
    pub first_flight: f64,
    pub end: f64,
    pub last: Option<usize>,
}

/// More repeats of one step than this are not drawn.
const MOST_REPEATS: u32 = 30;

impl<'a> Course<'a> {
    pub(super) fn new(plan: &'a Plan) -> Self {
        let (steps, days) = (plan.network.len(), plan.days.len());
        Self {
            plan,
            finish: vec![0.0; steps],
            taken: vec![Taken::default(); steps],
            weather: vec![0; days],
            runs: vec![0; days],
            energy_kwh: vec![0.0; days],
            arrivals: vec![0.0; plan.delivery_count],
            steps: vec![(0, 0); steps],
        }
    }

    pub(super) fn plan(&self) -> &'a Plan {
        self.plan
    }

    pub(super) fn finish(&self) -> &[f64] {
        &self.finish
    }

    pub(super) fn taken(&self, place: usize) -> Taken {
        self.taken[place]
    }

    /// Plays one trial through.
    pub(super) fn play(&mut self, seed: u64, trial: u32) -> Outcome {
        let plan = self.plan;
        let mut random = stream(seed, trial, 0);
        // By the step's place in the input, so that another order of the same steps meets the same luck.
        for step in &mut self.steps {
            *step = (random.next_u32(), random.next_u32());
        }
        let mut random = stream(seed, trial, 1);
        let chances: Vec<f64> =
            plan.repeats.iter().map(|chance| drawn(chance, random.next_u32())).collect();
        for delivery in 0..plan.delivery_count {
            let day = plan.deliveries.days(delivery, random.next_u32()).ceil();
            self.arrivals[delivery] =
                plan.work_from.get(day as usize).map_or(f64::INFINITY, |place| f64::from(*place));
        }
        let mut random = stream(seed, trial, 2);
        self.weather.iter_mut().for_each(|day| *day = random.next_u32());
        self.runs.fill(0);
        self.energy_kwh.fill(0.0);

        let mut outcome = Outcome { first_flight: f64::INFINITY, end: 0.0, last: None };
        for place in 0..plan.network.len() {
            let chance = chances[plan.demands[place].phase];
            let (end, first_run) = self.step(place, chance);
            self.finish[place] = end;
            if plan.demands[place].is_first_flight {
                outcome.first_flight = outcome.first_flight.min(first_run);
            }
            if outcome.last.is_none() || end > outcome.end {
                (outcome.end, outcome.last) = (end, Some(place));
            }
        }
        outcome
    }

    /// When a step is finished, and when it was first run.
    fn step(&mut self, place: usize, chance: f64) -> (f64, f64) {
        let plan = self.plan;
        let demand = &plan.demands[place];
        let (for_days, for_repeats) = self.steps[plan.network.step(place)];
        let after = latest(plan.network.before(place), &self.finish);
        let arrived = demand
            .deliveries
            .iter()
            .map(|delivery| self.arrivals[*delivery as usize])
            .fold(0.0, f64::max);
        let mut now = after.max(arrived);
        let mut taken = Taken { deliveries: now - after, ..Taken::default() };
        let mut first_run = f64::INFINITY;
        for attempt in 0..=repeats(chance, for_repeats) {
            let Some((day, weather, aircraft)) = self.slot(now, demand) else {
                return (f64::INFINITY, first_run);
            };
            let days = plan.draws.days(place, again(for_days, attempt));
            let ran = now.max(day as f64);
            // A part of a day that is lost by waiting for the next goes to what was waited for first.
            let waited = ran - now;
            let counted = f64::from(weather + aircraft);
            if counted > 0.0 {
                taken.weather += waited * f64::from(weather) / counted;
                taken.aircraft += waited * f64::from(aircraft) / counted;
            }
            if attempt == 0 {
                taken.work += days
            } else {
                taken.repeats += days
            }
            if attempt == 0 {
                first_run = ran;
            }
            now = ran + days;
        }
        self.taken[place] = taken;
        (now, first_run)
    }

    /// Takes a run on the first day that does; with the days that were lost to weather and to other runs.
    fn slot(&mut self, from: f64, demand: &Demand) -> Option<(usize, u32, u32)> {
        if !from.is_finite() {
            return None;
        }
        let (mut weather, mut aircraft) = (0, 0);
        for day in from as usize..self.plan.days.len() {
            let calendar = self.plan.days[day];
            let below =
                if demand.is_flight { calendar.flight_below } else { calendar.ground_below };
            if u64::from(self.weather[day]) >= below {
                weather += 1;
                continue;
            }
            let energy_kwh = self.energy_kwh[day] + demand.energy_kwh;
            if self.runs[day] >= self.plan.runs_a_day || energy_kwh > self.plan.energy_a_day_kwh {
                aircraft += 1;
                continue;
            }
            self.runs[day] += 1;
            self.energy_kwh[day] = energy_kwh;
            return Some((day, weather, aircraft));
        }
        None
    }
}

/// How often a step has to be repeated at this chance: the random number is held against the chances of one, two, …
fn repeats(chance: f64, random: u32) -> u32 {
    let luck = f64::from(random) / 4_294_967_296.0;
    let (mut count, mut at_least) = (0, chance);
    while luck < at_least && count < MOST_REPEATS {
        count += 1;
        at_least *= chance;
    }
    count
}

/// The random number of a later attempt: that of the first, mixed.
///
/// # Source
///
/// The finisher of SplitMix64 (from memory).
fn again(random: u32, attempt: u32) -> u32 {
    if attempt == 0 {
        return random;
    }
    let mut mixed = u64::from(random) << 8 | u64::from(attempt);
    mixed = mixed.wrapping_mul(0x9e37_79b9_7f4a_7c15);
    mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((mixed ^ (mixed >> 31)) >> 32) as u32
}
