//! What was measured beside what was predicted, and which models have missed.

use super::CONFIDENCE;
use crate::codes::{PointCode, RunNumber};
use crate::holds::edge::is_at_most;
use crate::measure::Unit;
use crate::nouns::{Axis, Statistic};
use crate::prediction::Figures;
use crate::record::{KeptPrediction, Predicted};
use crate::state::State;

/// So many misses ask for a review.
const MISSES: usize = 2;

/// Whether a measured figure lies in the interval.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Nothing was measured yet.
    Waiting,
    /// In the interval.
    Inside,
    /// Below the interval.
    Below,
    /// Above the interval.
    Above,
    /// Outside on the harmless side, and flown otherwise than planned: it says nothing of the model.
    NotComparable,
}

/// A figure that was measured, with the record that told it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outcome {
    /// The figure, in the prediction's unit.
    pub figure: f64,
    /// The record.
    pub seq: u64,
}

/// A prediction with what came of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared<'a> {
    /// Of which run.
    pub run: RunNumber,
    /// The prediction as it was kept.
    pub predicted: &'a KeptPrediction,
    /// What was measured; absent: nothing yet.
    pub measured: Option<Outcome>,
    /// What that says.
    pub verdict: Verdict,
}

/// A model that has missed too often since it was reviewed last.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Miss {
    /// Of what.
    pub what: Predicted,
    /// The runs and points in which it missed, oldest first.
    pub at: Vec<(RunNumber, PointCode)>,
}

/// The figure that a run gave for what was predicted.
fn measured(state: &State, run: RunNumber, kept: &KeptPrediction) -> Option<Outcome> {
    let result = state.result(run, &kept.point).map(|(_, result)| result);
    match &kept.what {
        Predicted::Temperature { limit } => {
            let result = result?;
            let channel = &state.limits.by_code.get(limit)?.limit.channel;
            let mut of_it = result.values.iter();
            let value = of_it
                .find(|it| it.parameter == *channel && it.statistic == Statistic::Max)
                .filter(|it| it.unit == Unit::Celsius)?;
            Some(Outcome { figure: value.value?, seq: result.seq })
        }
        Predicted::Energy {} | Predicted::LandingEnergy {} => {
            let run = state.run(run)?;
            // Counters are read once for a run, so that they tell of one point only where it is alone in it.
            if run.points.len() != 1 || run.closed.is_none() {
                return None;
            }
            let used = run.energy_kwh()?;
            let figure = match kept.what {
                Predicted::LandingEnergy {} => {
                    let rules = super::rules(state)?;
                    let usable = rules.usable_energy?.in_unit(Unit::KilowattHour)?;
                    usable * run.before.as_ref()?.charge_percent / 100.0 - used
                }
                _ => used,
            };
            Some(Outcome { figure, seq: result.map_or(run.seq, |result| result.seq) })
        }
        Predicted::Damping { channel } => {
            let made = state.recordings.reductions.iter().rev().find_map(|made| {
                let Some(Figures::Damping(figures)) = &made.figures else { return None };
                let of_it = made.run == run && made.point.as_ref() == Some(&kept.point);
                let counts = made.replaced_by.is_none() && state.recordings.reduction_counts(made);
                (of_it && counts && figures.channel == *channel).then_some((made, figures))
            });
            let (made, figures) = made?;
            Some(Outcome { figure: 100.0 * figures.damping_ratio, seq: made.seq })
        }
    }
}

/// Whether a run did what was planned for a point, as far as its conditions go.
fn flown_as_planned(state: &State, run: RunNumber, point: &PointCode) -> bool {
    let Some((_, result)) = state.result(run, point) else { return true };
    let broken_off = state.run(run).is_some_and(|run| run.knocked_off.is_some());
    let matters = |axis: Axis| {
        matches!(axis, Axis::Power | Axis::TimeAtPower | Axis::Speed | Axis::PressureAltitude)
    };
    let mut conditions = result.planned.conditions.iter().filter(|(axis, _)| matters(**axis));
    !broken_off
        && conditions.all(|(axis, condition)| {
            let reached = result.reached.get(axis).and_then(|it| it.in_unit(condition.unit));
            reached.is_some_and(|reached| {
                is_at_most((reached - condition.target).abs(), condition.tolerance)
            })
        })
}

/// Whether more than predicted is what harms.
const fn harms_above(what: &Predicted) -> bool {
    match what {
        Predicted::Temperature { .. } | Predicted::Energy {} => true,
        Predicted::LandingEnergy {} | Predicted::Damping { .. } => false,
    }
}

/// What came of a prediction.
///
/// Outside on the harmful side always counts; on the harmless side only where the run did what was planned.
pub fn compared<'a>(state: &State, run: RunNumber, kept: &'a KeptPrediction) -> Compared<'a> {
    let measured = measured(state, run, kept);
    let verdict = match measured {
        None => Verdict::Waiting,
        Some(Outcome { figure, .. }) => {
            let inside = is_at_most(kept.low, figure) && is_at_most(figure, kept.high);
            let above = figure > kept.high;
            if inside {
                Verdict::Inside
            } else if above != harms_above(&kept.what) && !flown_as_planned(state, run, &kept.point)
            {
                Verdict::NotComparable
            } else if above {
                Verdict::Above
            } else {
                Verdict::Below
            }
        }
    };
    Compared { run, predicted: kept, measured, verdict }
}

/// Every prediction that was kept, with what came of it, oldest first.
pub fn outcomes(state: &State) -> impl Iterator<Item = Compared<'_>> {
    state.predictions.made.iter().flat_map(move |made| {
        made.predictions.iter().map(move |kept| compared(state, made.run, kept))
    })
}

/// Models that missed twice or more since their last review, by what they predict.
///
/// Of a right model each prediction misses by chance once in twenty, so that a long programme will ask for a review now and
/// then that finds nothing. That is meant so.
pub fn missed(state: &State) -> Vec<Miss> {
    let mut found: Vec<Miss> = Vec::new();
    for compared in outcomes(state) {
        let missed = matches!(compared.verdict, Verdict::Below | Verdict::Above);
        let what = &compared.predicted.what;
        let told_at = compared.measured.map_or(0, |measured| measured.seq);
        if !missed || told_at <= state.predictions.reviewed_at(what) {
            continue;
        }
        let at = (compared.run, compared.predicted.point.clone());
        match found.iter_mut().find(|miss| miss.what == *what) {
            Some(miss) => miss.at.push(at),
            None => found.push(Miss { what: what.clone(), at: vec![at] }),
        }
    }
    found.retain(|miss| miss.at.len() >= MISSES);
    found
}

impl Verdict {
    /// The verdict in words.
    pub fn in_words(self) -> String {
        let percent = 100.0 * CONFIDENCE;
        match self {
            Verdict::Waiting => "nothing was measured yet".to_owned(),
            Verdict::Inside => format!("inside the {percent} % interval"),
            Verdict::Below => format!("below the {percent} % interval"),
            Verdict::Above => format!("above the {percent} % interval"),
            Verdict::NotComparable => {
                "outside on the harmless side, in a run that was not flown as planned".to_owned()
            }
        }
    }
}
