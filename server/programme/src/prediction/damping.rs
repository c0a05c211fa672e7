//! The trend of damping over speed, and which points are steps that a person judges first.

use std::collections::BTreeMap;

use flight_science::least_squares::{fit_line, percent_beyond};

use super::{
    Basis, Bound, CONFIDENCE, DampingFigures, Figures, Interval, Prediction, Predictions, WhyNot,
    WorstEnd, is_as_now, is_flown, rules,
};
use crate::codes::{ChannelCode, ReductionNumber};
use crate::holds::edge::is_at_most;
use crate::measure::Unit;
use crate::nouns::{Axis, Direction, Point, PredictionRules};
use crate::record::Predicted;
use crate::state::{Reduction, State};

/// A line through two speeds leaves nothing to judge it by.
const FEWEST_SPEEDS: usize = 3;

/// What is said with every trend of damping.
pub const CAUTION: &str = "A trend below the onset of flutter cannot be extrapolated reliably: damping may fall away within a \
                           few knots, and modes that were not measured are not in here. The trend clears no speed; a person \
                           decides about every step.";

/// A damping that was measured, with its speed.
struct Measured<'a> {
    number: ReductionNumber,
    figures: &'a DampingFigures,
    speed_kt: f64,
}

fn counts<'a>(state: &State, made: &'a Reduction) -> Option<&'a DampingFigures> {
    let Some(Figures::Damping(figures)) = &made.figures else { return None };
    let stands = made.replaced_by.is_none() && state.recordings.reduction_counts(made);
    stands.then_some(figures)
}

/// The speed at which a damping was measured: as the result of its point has it, or else as its plan has it.
fn speed_kt(state: &State, made: &Reduction) -> Option<f64> {
    let point = made.point.as_ref()?;
    let reached = state.result(made.run, point).and_then(|(_, it)| it.reached.get(&Axis::Speed));
    let planned = || state.run(made.run)?.planned(point)?.conditions.get(&Axis::Speed);
    reached.copied().or_else(|| planned().map(|it| it.target()))?.in_unit(Unit::Knot)
}

/// Every damping that speaks of the aircraft as it is for a point.
fn measured<'a>(state: &'a State, point: &Point) -> BTreeMap<&'a ChannelCode, Vec<Measured<'a>>> {
    let mut found: BTreeMap<&ChannelCode, Vec<Measured<'_>>> = BTreeMap::new();
    for made in &state.recordings.reductions {
        let Some(figures) = counts(state, made) else { continue };
        let Some(run) = state.run(made.run) else { continue };
        let of_point = made.point.as_ref().and_then(|code| run.planned(code));
        let items = of_point.iter().flat_map(|planned| &planned.sensitive_to);
        if !is_as_now(state, &run.fitted(), items.chain(&point.sensitive_to)) {
            continue;
        }
        let Some(speed_kt) = speed_kt(state, made) else { continue };
        let measured = Measured { number: made.number, figures, speed_kt };
        found.entry(&figures.channel).or_default().push(measured);
    }
    found
}

fn trend(
    state: &State,
    rules: &PredictionRules,
    channel: &ChannelCode,
    measured: &[Measured<'_>],
    target_kt: f64,
) -> Result<Prediction, WhyNot> {
    let speeds: Vec<f64> = measured.iter().map(|it| it.speed_kt).collect();
    let mut different = speeds.clone();
    different.sort_by(f64::total_cmp);
    different.dedup();
    let too_little = WhyNot::TooLittle { have: different.len(), need: FEWEST_SPEEDS };
    if different.len() < FEWEST_SPEEDS {
        return Err(too_little);
    }
    let percents: Vec<f64> = measured.iter().map(|it| 100.0 * it.figures.damping_ratio).collect();
    let fit = fit_line(&speeds, &percents).map_err(|_| too_little.clone())?;
    let half_width = fit.prediction_half_width(&[1.0, target_kt], CONFIDENCE).ok_or(too_little)?;
    let estimate = fit.parameters[0] + fit.parameters[1] * target_kt;
    let mut basis = Basis::default();
    for it in measured {
        basis.add(state, it.number);
    }
    Ok(Prediction {
        what: Predicted::Damping { channel: channel.clone() },
        value: Interval::about(estimate, half_width),
        unit: Unit::Percent,
        bound: rules.least_damping_percent.map(|figure| Bound { figure, end: WorstEnd::Low }),
        basis,
        extrapolated_percent: percent_beyond(target_kt, speeds),
        temperature: None,
    })
}

pub(super) fn predict(
    state: &State,
    rules: &PredictionRules,
    point: &Point,
    found: &mut Predictions,
) {
    let speed = point.conditions.get(&Axis::Speed).and_then(|it| it.target().in_unit(Unit::Knot));
    let Some(target_kt) = speed.filter(|_| is_flown(point)) else { return };
    for (channel, measured) in measured(state, point) {
        let what = Predicted::Damping { channel: channel.clone() };
        found.take(what, trend(state, rules, channel, &measured, target_kt));
    }
}

/// Whether a point is a step in speed that a person judges the damping for first: it is flown, at the speed from which the
/// policy has it so or above, and beyond what was shown.
pub fn is_damping_step(state: &State, point: &Point) -> bool {
    let Some(from) = rules(state).and_then(|rules| rules.damping_judged_from) else { return false };
    let Some(condition) = point.conditions.get(&Axis::Speed) else { return false };
    // A speed that cannot be compared is not known to be below.
    let target = condition.target().in_unit(Unit::Knot).unwrap_or(f64::INFINITY);
    let from = from.in_unit(Unit::Knot).unwrap_or(0.0);
    let shown = state.envelope.furthest(Axis::Speed, Direction::Up, &[]);
    let shown = shown.and_then(|shown| shown.reached.in_unit(Unit::Knot));
    is_flown(point)
        && is_at_most(from, target)
        && shown.is_none_or(|shown| !is_at_most(target, shown))
}

/// The damping that a person who judges a step now looks at: every reduction that counts, in the order made.
pub fn judged_over(state: &State) -> Vec<ReductionNumber> {
    let made = state.recordings.reductions.iter();
    made.filter(|made| counts(state, made).is_some()).map(|made| made.number).collect()
}
