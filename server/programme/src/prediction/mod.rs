//! Predictions: what earlier runs of this aircraft let expect of a point as it is planned, with what that rests on.
//!
//! Every prediction has an estimate, a 95 % interval, the reductions, runs and recordings that it rests on, and how far it
//! goes beyond what they covered. The interval holds the scatter of readings, the uncertainty of each fit, and how much
//! runs differ from each other, see [`pooled()`]. What was recorded with another version of an item that matters says nothing.
//!
//! A prediction holds a point or does not hold it; it opens nothing. What cannot be predicted is told with the reason.

mod backtest;
mod damping;
mod energy;
mod figures;
mod heating;
mod order;
mod outcome;
mod pooled;
mod take_off;
mod temperature;
#[cfg(test)]
mod tests;

use chrono::{DateTime, Utc};

pub use backtest::{Backtest, Tally, Tried, backtest};
pub use damping::{CAUTION, is_damping_step, judged_over};
pub use figures::{DampingFigures, Figures, Recorded, ThermalFigures};
pub use heating::{KnownHeating, known_heating};
pub use order::{Margin, margin_order};
pub use outcome::{Compared, Miss, Outcome, Verdict, compared, missed, outcomes};
pub use pooled::{Pooled, Prior, pooled};
pub use take_off::{MinimumCharge, NoMinimumCharge, minimum_charge};
pub(crate) use temperature::observed_lately;
pub use temperature::{Ambient, AmbientBasis, HotDayTemperature, TemperatureDetail, TimeToLimit};

use crate::card::Fitted;
use crate::codes::{ItemCode, ReductionNumber, RunNumber};
use crate::holds::edge::{is_at_least, is_at_most};
use crate::measure::{Measure, Unit};
use crate::nouns::{Point, PredictionRules};
use crate::record::{Digest, KeptPrediction, Predicted, RunKind};
use crate::state::State;

/// Confidence of every interval.
pub const CONFIDENCE: f64 = 0.95;

/// An estimate with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// The estimate.
    pub estimate: f64,
    /// The lower end.
    pub low: f64,
    /// The upper end.
    pub high: f64,
}

impl Interval {
    const fn about(estimate: f64, half_width: f64) -> Self {
        Self { estimate, low: estimate - half_width, high: estimate + half_width }
    }

    /// Whether a figure lies in it; exactly at an end is inside.
    pub fn holds(self, figure: f64) -> bool {
        is_at_least(figure, self.low) && is_at_most(figure, self.high)
    }
}

/// What a prediction rests on.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Basis {
    /// Reductions, in the order made.
    pub reductions: Vec<ReductionNumber>,
    /// Runs, in order.
    pub runs: Vec<RunNumber>,
    /// Recordings, in the order first named.
    pub recordings: Vec<Digest>,
}

impl Basis {
    fn add_run(&mut self, run: RunNumber) {
        if let Err(place) = self.runs.binary_search(&run) {
            self.runs.insert(place, run);
        }
    }

    fn add(&mut self, state: &State, number: ReductionNumber) {
        let Some(made) = state.recordings.reduction(number) else { return };
        self.reductions.push(number);
        self.add_run(made.run);
        for recording in std::iter::once(&made.recording).chain(&made.others) {
            if !self.recordings.contains(recording) {
                self.recordings.push(recording.clone());
            }
        }
    }
}

/// Which end of an interval must not pass a bound.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WorstEnd {
    /// The upper one.
    High,
    /// The lower one.
    Low,
}

/// What a prediction is held against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bound {
    /// The figure, in the prediction's unit.
    pub figure: f64,
    /// Which end must not pass it. Exactly there it has not.
    pub end: WorstEnd,
}

/// A prediction for a point.
#[derive(Debug, Clone, PartialEq)]
pub struct Prediction {
    /// Of what.
    pub what: Predicted,
    /// The estimate with its interval, in `unit`.
    pub value: Interval,
    /// The unit.
    pub unit: Unit,
    /// What it is held against; absent where nothing is.
    pub bound: Option<Bound>,
    /// What it rests on.
    pub basis: Basis,
    /// How far it extrapolates, in per cent of the range seen; absent: not known.
    pub extrapolated_percent: Option<f64>,
    /// What else is told of a temperature.
    pub temperature: Option<TemperatureDetail>,
}

impl Prediction {
    /// Whether its pessimistic end passes its bound. A NaN does.
    pub fn passes_bound(&self) -> bool {
        self.bound.is_some_and(|bound| match bound.end {
            WorstEnd::High => !is_at_most(self.value.high, bound.figure),
            WorstEnd::Low => !is_at_least(self.value.low, bound.figure),
        })
    }

    /// The pessimistic end.
    pub fn worst(&self) -> Measure {
        let low = self.bound.is_some_and(|bound| bound.end == WorstEnd::Low);
        Measure::new(if low { self.value.low } else { self.value.high }, self.unit)
    }

    /// What it rests on and how far it extrapolates, in a sentence.
    pub fn rests_on(&self) -> String {
        let runs: Vec<String> = self.basis.runs.iter().map(ToString::to_string).collect();
        let runs = match runs.as_slice() {
            [one] => format!("run {one}"),
            many => format!("{} runs ({})", many.len(), many.join(", ")),
        };
        let beyond = match self.extrapolated_percent {
            Some(percent) if percent > 0.0 => {
                format!(
                    "goes {percent:.0} % beyond what they covered: past that it is the model alone"
                )
            }
            Some(_) => "stays within what they covered".to_owned(),
            None => "goes beyond what they covered, and how far cannot be told".to_owned(),
        };
        format!("It rests on {runs} and {beyond}.")
    }

    /// As it is kept of a run.
    pub fn kept(self, point: &Point) -> KeptPrediction {
        KeptPrediction {
            point: point.code.clone(),
            what: self.what,
            estimate: self.value.estimate,
            low: self.value.low,
            high: self.value.high,
            unit: self.unit,
            reductions: self.basis.reductions,
            runs: self.basis.runs,
            recordings: self.basis.recordings,
            extrapolated_percent: self.extrapolated_percent,
            ambient_c: self.temperature.map(|it| it.ambient.celsius),
        }
    }
}

/// Why something cannot be predicted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WhyNot {
    /// No earlier run says anything of it with what is fitted now.
    NoData,
    /// The point does not say what it would have to: power, speed, energy.
    NotPlanned {
        /// What is missing.
        lacks: &'static str,
    },
    /// The policy does not say what it would have to.
    NotDecided {
        /// What is missing.
        lacks: &'static str,
    },
    /// Runs say too little: a trend needs several speeds.
    TooLittle {
        /// How many different ones there are.
        have: usize,
        /// How many are needed.
        need: usize,
    },
    /// It rests on a prediction that cannot be made.
    RestsOn {
        /// Which.
        what: Box<Predicted>,
    },
}

impl WhyNot {
    /// The reason, to follow "because".
    pub fn in_words(&self) -> String {
        match self {
            WhyNot::NoData => {
                "no recording or reading of an earlier run with what is fitted now says anything of it".to_owned()
            }
            WhyNot::NotPlanned { lacks } => format!("the plan states no {lacks}"),
            WhyNot::NotDecided { lacks } => format!("the programme's policy states no {lacks}"),
            WhyNot::TooLittle { have, need } => {
                format!("earlier runs show it at {have} speeds, and a trend needs {need}")
            }
            WhyNot::RestsOn { what } => format!("the {what} cannot be predicted"),
        }
    }
}

/// Something that cannot be predicted for a point.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unpredicted {
    /// What.
    pub what: Predicted,
    /// Why not.
    pub why: WhyNot,
}

/// All that is predicted for a point.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Predictions {
    /// What can be predicted.
    pub made: Vec<Prediction>,
    /// What cannot.
    pub unavailable: Vec<Unpredicted>,
}

impl Predictions {
    fn take(&mut self, what: Predicted, outcome: Result<Prediction, WhyNot>) {
        match outcome {
            Ok(prediction) => self.made.push(prediction),
            Err(why) => self.unavailable.push(Unpredicted { what, why }),
        }
    }

    /// A prediction by what it is of.
    pub fn of(&self, what: &Predicted) -> Option<&Prediction> {
        self.made.iter().find(|prediction| prediction.what == *what)
    }
}

/// What is predicted for a point at a moment; nothing where the policy says nothing of predictions.
pub fn predictions(state: &State, point: &Point, now: DateTime<Utc>) -> Predictions {
    let mut found = Predictions::default();
    let Some(rules) = rules(state) else { return found };
    temperature::predict(state, rules, point, now, &mut found);
    energy::predict(state, rules, point, &mut found);
    damping::predict(state, rules, point, &mut found);
    found
}

/// What the policy says of predictions.
pub fn rules(state: &State) -> Option<&PredictionRules> {
    state.policy.as_ref().and_then(|policy| policy.predictions.as_ref())
}

/// Whether what was fitted in a run is what is fitted now, of the items that matter. An item that was not fitted then, or is
/// not now, says nothing.
fn is_as_now<'a>(
    state: &State,
    fitted: &Fitted,
    mut items: impl Iterator<Item = &'a ItemCode>,
) -> bool {
    items.all(|item| {
        let was = fitted.get(item).map(String::as_str);
        was.is_some() && was == state.configuration.version(item)
    })
}

/// Whether a point is flown.
fn is_flown(point: &Point) -> bool {
    RunKind::of_phase(point.phase) == RunKind::Flight
}
