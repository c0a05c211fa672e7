//! What predictions would have been worth: a programme's past is replayed, and whatever was predicted for a run as it was
//! opened is held against what it showed.

use std::collections::BTreeMap;

use super::outcome::compared;
use super::{Verdict, predictions};
use crate::codes::RunNumber;
use crate::entry::Entry;
use crate::nouns::PredictionRules;
use crate::record::{KeptPrediction, Predicted, Record};
use crate::state::State;

/// One prediction of the past.
#[derive(Debug, Clone, PartialEq)]
pub struct Tried {
    /// For which run.
    pub run: RunNumber,
    /// The prediction.
    pub predicted: KeptPrediction,
    /// What was measured, in its unit; absent: nothing.
    pub measured: Option<f64>,
    /// What that says.
    pub verdict: Verdict,
}

/// How predictions of one thing did.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Tally {
    /// Predictions that were made.
    pub made: usize,
    /// Of these: something was measured.
    pub measured: usize,
    /// Of these: flown so that it says something of the model.
    pub comparable: usize,
    /// Of these: inside the interval.
    pub inside: usize,
    /// The mean of measured less estimate over those that are comparable, in the prediction's unit; absent without any.
    pub bias: Option<f64>,
    /// The root of the mean square of the same.
    pub rms: Option<f64>,
}

impl Tally {
    /// The share inside the interval, where any is comparable.
    pub fn coverage(&self) -> Option<f64> {
        (self.comparable > 0).then(|| self.inside as f64 / self.comparable as f64)
    }
}

/// What came of all predictions.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Backtest {
    /// Each, in the order of the runs.
    pub tried: Vec<Tried>,
    /// By what they are of.
    pub tallies: BTreeMap<Predicted, Tally>,
}

/// Replays a past. Predictions are those that the state gave when each run was opened; reductions that were made later are
/// used where `hindsight` is set, but for those of the run itself and of runs after it. Teams reduce recordings of long ago
/// in one evening, and would see nothing otherwise.
///
/// `rules` are those of the policy of the time, unless others are given.
pub fn backtest(entries: &[Entry], rules: Option<&PredictionRules>, hindsight: bool) -> Backtest {
    let mut last = State::default();
    for entry in entries {
        last.apply(entry);
    }
    let mut state = State::default();
    let mut kept: Vec<(RunNumber, KeptPrediction)> = Vec::new();
    for entry in entries {
        if let Record::RunOpened(body) = &entry.record {
            let seen =
                if hindsight { with_hindsight(&state, &last, body.run) } else { state.clone() };
            let seen = with_rules(seen, rules);
            for code in &body.points {
                let Some(rung) = seen.rung(code) else { continue };
                let made = predictions(&seen, &rung.point, entry.at).made;
                kept.extend(made.into_iter().map(|it| (body.run, it.kept(&rung.point))));
            }
        }
        state.apply(entry);
    }
    let last = with_rules(last, rules);
    let tried: Vec<Tried> = kept
        .into_iter()
        .map(|(run, predicted)| {
            let (measured, verdict) = {
                let compared = compared(&last, run, &predicted);
                (compared.measured.map(|it| it.figure), compared.verdict)
            };
            Tried { run, predicted, measured, verdict }
        })
        .collect();
    let tallies = tallies(&tried);
    Backtest { tried, tallies }
}

fn with_rules(mut state: State, rules: Option<&PredictionRules>) -> State {
    if let (Some(policy), Some(rules)) = (state.policy.as_mut(), rules) {
        policy.predictions = Some(rules.clone());
    }
    state
}

/// A state of the past that knows what was worked out later of runs that came before a run.
fn with_hindsight(then: &State, last: &State, run: RunNumber) -> State {
    let mut seen = then.clone();
    seen.recordings = last.recordings.clone();
    for made in &mut seen.recordings.reductions {
        if made.run >= run {
            made.figures = None;
        }
    }
    seen
}

fn tallies(tried: &[Tried]) -> BTreeMap<Predicted, Tally> {
    let mut tallies: BTreeMap<Predicted, Tally> = BTreeMap::new();
    let mut errors: BTreeMap<&Predicted, Vec<f64>> = BTreeMap::new();
    for one in tried {
        let tally = tallies.entry(one.predicted.what.clone()).or_default();
        tally.made += 1;
        tally.measured += usize::from(one.measured.is_some());
        let comparable = match one.verdict {
            Verdict::Waiting | Verdict::NotComparable => false,
            Verdict::Inside | Verdict::Below | Verdict::Above => true,
        };
        if let Some(measured) = one.measured.filter(|_| comparable) {
            tally.comparable += 1;
            tally.inside += usize::from(one.verdict == Verdict::Inside);
            let error = measured - one.predicted.estimate;
            errors.entry(&one.predicted.what).or_default().push(error);
        }
    }
    for (what, errors) in errors {
        let count = errors.len() as f64;
        if let Some(tally) = tallies.get_mut(what) {
            tally.bias = Some(errors.iter().sum::<f64>() / count);
            let squares: f64 = errors.iter().map(|error| error * error).sum();
            tally.rms = Some((squares / count).sqrt());
        }
    }
    tallies
}
