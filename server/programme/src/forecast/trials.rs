//! Trials: many invented courses of the programme.

use std::sync::atomic::{AtomicBool, Ordering};

use rand::rngs::ChaCha8Rng;
use rand::{Rng, SeedableRng};
use rayon::prelude::*;

use super::network::Network;
use super::spread::{Draws, Spread};
use crate::refusal::Fault;

/// Why there is no forecast.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CannotForecast {
    /// The assumptions are incomplete or can't be.
    #[error("the assumptions have {} faults", .faults.len())]
    Faulty {
        /// All of them.
        faults: Vec<Fault>,
    },
    /// It was called off.
    #[error("the forecast was stopped before it was finished")]
    Stopped,
}

/// The most trials of one forecast.
pub const MOST_TRIALS: u32 = 100_000;

/// So many trials of a bare network go through its steps side by side, so that each step's quantiles are read once for all.
const ABREAST: usize = 64;

/// Numbers of 32 bits in a line of a processor's cache.
const LINE: usize = 16;

/// Random numbers of one trial and purpose: the same whatever thread draws them.
pub(super) fn stream(seed: u64, trial: u32, purpose: u64) -> ChaCha8Rng {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    random.set_stream(u64::from(trial) * 4 + purpose);
    random
}

/// Runs all trials on the threads of the present pool, a chunk by a thread at once, and gives what each chunk came to in order.
/// `begin` makes what a thread works with, which it keeps from chunk to chunk.
pub(super) fn in_chunks<W, T: Send>(
    trials: u32,
    chunk_of: u32,
    stop: &AtomicBool,
    begin: impl Fn() -> W + Sync + Send,
    run: impl Fn(&mut W, std::ops::Range<u32>) -> T + Sync,
) -> Result<Vec<T>, CannotForecast> {
    (0..trials.div_ceil(chunk_of))
        .into_par_iter()
        .map_init(begin, |work, chunk| {
            if stop.load(Ordering::Relaxed) {
                return Err(CannotForecast::Stopped);
            }
            Ok(run(work, chunk * chunk_of..((chunk + 1) * chunk_of).min(trials)))
        })
        .collect()
}

/// When a network of steps is finished, by trial.
#[derive(Debug, Clone, PartialEq)]
pub struct Finishes {
    /// When all is finished, in days from the start; by trial.
    pub whole_days: Vec<f64>,
    /// In how many trials each step lay on the longest way; by the step's place in the input.
    pub critical: Vec<u32>,
}

/// Trials of steps that wait for nothing but each other: no calendar, no weather, no repeats.
///
/// Each trial draws each step's days. Where two ways are equally long, one of them counts as the longest.
///
/// # Errors
///
/// [`CannotForecast::Stopped`] once `stop` is true; [`CannotForecast::Faulty`] for spreads that can't be, or that are not one
/// for each step.
pub fn finishes(
    network: &Network,
    days: &[Spread],
    trials: u32,
    seed: u64,
    stop: &AtomicBool,
) -> Result<Finishes, CannotForecast> {
    let mut faults: Vec<Fault> = days
        .iter()
        .enumerate()
        .filter_map(|(step, days)| Some(Fault::at(format!("days[{step}]"), days.fault()?)))
        .collect();
    if days.len() != network.len() {
        let why = format!("has {} spreads for {} steps", days.len(), network.len());
        faults.push(Fault::at("days", why));
    }
    faults.extend(fault_of_trials(trials));
    if !faults.is_empty() {
        return Err(CannotForecast::Faulty { faults });
    }
    let draws = Draws::of((0..network.len()).map(|place| &days[network.step(place)]));
    let begin = || Abreast::of(network.len());
    let chunks = in_chunks(trials, ABREAST as u32, stop, begin, |abreast, chunk| {
        abreast.play(network, &draws, seed, chunk);
        let mut critical = vec![0_u32; network.len()];
        for lane in 0..abreast.trials {
            let last = (!network.is_empty()).then(|| abreast.last[lane] as usize);
            let finish = |place: usize| abreast.finish[place][lane];
            way_back(network, finish, last, |place| critical[place] += 1);
        }
        (abreast.whole[..abreast.trials].to_vec(), critical)
    })?;
    let mut whole_days = Vec::with_capacity(trials as usize);
    let mut critical = vec![0; network.len()];
    for (wholes, counts) in chunks {
        whole_days.extend(wholes);
        for (place, count) in counts.into_iter().enumerate() {
            critical[network.step(place)] += count;
        }
    }
    Ok(Finishes { whole_days, critical })
}

/// Trials that go through a network side by side: for each step one row with a lane for each trial.
struct Abreast {
    trials: usize,
    finish: Vec<[f64; ABREAST]>,
    /// By lane: when all is finished, and which step is the last.
    whole: [f64; ABREAST],
    last: [u32; ABREAST],
    /// By lane, [`Abreast::stride`] apart, then by step.
    random: Vec<u32>,
    stride: usize,
}

impl Abreast {
    fn of(steps: usize) -> Self {
        // An odd number of cache lines, so that the lanes of a step do not push one another out of the cache.
        let stride = (steps.div_ceil(LINE) | 1) * LINE;
        Self {
            trials: 0,
            finish: vec![[0.0; ABREAST]; steps],
            whole: [0.0; ABREAST],
            last: [0; ABREAST],
            random: vec![0; stride * ABREAST],
            stride,
        }
    }

    /// Lanes without a trial are played too, with what stands in them, and looked at by nobody.
    fn play(&mut self, network: &Network, draws: &Draws, seed: u64, trials: std::ops::Range<u32>) {
        self.trials = trials.len();
        self.whole = [f64::NEG_INFINITY; ABREAST];
        for (trial, numbers) in trials.zip(self.random.chunks_exact_mut(self.stride)) {
            let mut random = stream(seed, trial, 0);
            numbers[..network.len()].iter_mut().for_each(|number| *number = random.next_u32());
        }
        let mut days = [0.0_f64; ABREAST];
        for place in 0..network.len() {
            let drawn = draws.of_step(place);
            for (days, numbers) in days.iter_mut().zip(self.random.chunks_exact(self.stride)) {
                *days = drawn.days(numbers[place]);
            }
            let mut end = [0.0_f64; ABREAST];
            for before in network.before(place) {
                for (end, before) in end.iter_mut().zip(&self.finish[*before as usize]) {
                    *end = later(*end, *before);
                }
            }
            for (end, days) in end.iter_mut().zip(&days) {
                *end += days;
            }
            for ((whole, last), end) in self.whole.iter_mut().zip(&mut self.last).zip(&end) {
                let is_last = *end > *whole;
                *whole = if is_last { *end } else { *whole };
                *last = if is_last { place as u32 } else { *last };
            }
            self.finish[place] = end;
        }
    }
}

/// The later of two moments. Neither is NaN, so that this can be one instruction.
#[inline]
fn later(one: f64, other: f64) -> f64 {
    if other > one { other } else { one }
}

pub(super) fn fault_of_trials(trials: u32) -> Option<Fault> {
    (!(1..=MOST_TRIALS).contains(&trials))
        .then(|| Fault::at("trials", format!("is {trials}; it must be from 1 to {MOST_TRIALS}")))
}

/// When the last of these is finished; 0 if there are none.
#[inline]
pub(super) fn latest(before: &[u32], finish: &[f64]) -> f64 {
    before.iter().map(|before| finish[*before as usize]).fold(0.0, later)
}

/// Goes from the last step back along those that were waited for.
pub(super) fn way_back(
    network: &Network,
    finish: impl Fn(usize) -> f64,
    last: Option<usize>,
    mut on_the_way: impl FnMut(usize),
) {
    let mut here = last;
    while let Some(place) = here {
        on_the_way(place);
        let before = || network.before(place).iter().map(|before| *before as usize);
        let begin = before().map(&finish).fold(0.0, later);
        here = before().find(|before| finish(*before) >= begin);
    }
}
