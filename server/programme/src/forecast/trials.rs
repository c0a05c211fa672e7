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

/// So many trials are taken by a thread at once.
const CHUNK: u32 = 32;

/// Random numbers of one trial and purpose: the same whatever thread draws them.
pub(super) fn stream(seed: u64, trial: u32, purpose: u64) -> ChaCha8Rng {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    random.set_stream(u64::from(trial) * 4 + purpose);
    random
}

/// Runs all trials on the threads of the present pool, and gives what each chunk of them came to in order. `run` takes the
/// first trial of a chunk and how many they are.
pub(super) fn in_chunks<T: Send>(
    trials: u32,
    stop: &AtomicBool,
    run: impl Fn(std::ops::Range<u32>) -> T + Sync,
) -> Result<Vec<T>, CannotForecast> {
    (0..trials.div_ceil(CHUNK))
        .into_par_iter()
        .map(|chunk| {
            if stop.load(Ordering::Relaxed) {
                return Err(CannotForecast::Stopped);
            }
            Ok(run(chunk * CHUNK..((chunk + 1) * CHUNK).min(trials)))
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
    let chunks = in_chunks(trials, stop, |chunk| {
        let mut finish = vec![0.0_f64; network.len()];
        let mut critical = vec![0_u32; network.len()];
        let mut whole_days = Vec::with_capacity(chunk.len());
        for trial in chunk {
            let mut random = stream(seed, trial, 0);
            let (mut whole, mut last) = (0.0, None);
            for place in 0..network.len() {
                let begin = latest(network.before(place), &finish);
                let end = begin + draws.days(place, random.next_u32());
                finish[place] = end;
                if last.is_none() || end > whole {
                    (whole, last) = (end, Some(place));
                }
            }
            whole_days.push(whole);
            way_back(network, &finish, last, |place| critical[place] += 1);
        }
        (whole_days, critical)
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

pub(super) fn fault_of_trials(trials: u32) -> Option<Fault> {
    (!(1..=MOST_TRIALS).contains(&trials))
        .then(|| Fault::at("trials", format!("is {trials}; it must be from 1 to {MOST_TRIALS}")))
}

/// When the last of these is finished; 0 if there are none.
#[inline]
pub(super) fn latest(before: &[u32], finish: &[f64]) -> f64 {
    before.iter().map(|before| finish[*before as usize]).fold(0.0, f64::max)
}

/// Goes from the last step back along those that were waited for.
pub(super) fn way_back(
    network: &Network,
    finish: &[f64],
    last: Option<usize>,
    mut on_the_way: impl FnMut(usize),
) {
    let mut here = last;
    while let Some(place) = here {
        on_the_way(place);
        let before = network.before(place);
        let begin = latest(before, finish);
        here = before.iter().map(|before| *before as usize).find(|before| finish[*before] >= begin);
    }
}
