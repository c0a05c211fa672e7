//! Energy out of the pack, and what is left at landing.

use flight_science::least_squares::percent_beyond;

use super::pooled::{Prior, pooled};
use super::{
    Basis, Bound, Interval, Prediction, Predictions, WhyNot, WorstEnd, is_as_now, is_flown,
};
use crate::measure::Unit;
use crate::nouns::{Axis, Point, PredictionRules};
use crate::record::{Predicted, RunKind};
use crate::state::{Run, State};

/// What a run took out of the pack for each kilowatt-hour that was planned; absent where either is not known, or where the
/// run was broken off.
fn share_of_plan(run: &Run) -> Option<(f64, f64)> {
    if run.knocked_off.is_some() || run.closed.is_none() {
        return None;
    }
    let planned: Option<f64> =
        run.points.iter().map(|point| run.planned(point).map(|it| it.energy_kwh)).sum();
    let (planned, used) = (planned?, run.energy_kwh()?);
    (planned > 0.0 && used >= 0.0 && used.is_finite()).then(|| (used / planned, planned))
}

/// Earlier runs that say what a point takes: of its own kind, or of any where there is none of its own.
fn energy_of(
    state: &State,
    rules: &PredictionRules,
    point: &Point,
    planned_kwh: f64,
) -> Result<Prediction, WhyNot> {
    let kind = RunKind::of_phase(point.phase);
    let speaks = |run: &&Run| {
        let of_run = run.points.iter().filter_map(|code| run.planned(code));
        let items = of_run.flat_map(|planned| &planned.sensitive_to).chain(&point.sensitive_to);
        is_as_now(state, &run.fitted(), items)
    };
    let told: Vec<(&Run, (f64, f64))> = state
        .runs
        .iter()
        .filter(speaks)
        .filter_map(|run| share_of_plan(run).map(|share| (run, share)))
        .collect();
    let of_kind = told.iter().any(|(run, _)| run.what == kind);
    let told: Vec<_> = told.into_iter().filter(|(run, _)| !of_kind || run.what == kind).collect();
    let mut basis = Basis::default();
    for (run, _) in &told {
        basis.add_run(run.number);
    }
    let figures: Vec<f64> = told.iter().map(|(_, (share, _))| share * planned_kwh).collect();
    let mean = figures.iter().sum::<f64>() / figures.len() as f64;
    let prior =
        Prior { sd: rules.model_error_percent / 100.0 * mean, runs: rules.model_error_runs };
    let pooled = pooled(&figures, 0.0, prior).ok_or(WhyNot::NoData)?;
    let seen = told.iter().map(|(_, (_, planned))| *planned);
    Ok(Prediction {
        what: Predicted::Energy {},
        value: pooled.interval,
        unit: Unit::KilowattHour,
        bound: None,
        basis,
        // Runs of another kind say nothing of how far this goes beyond them.
        extrapolated_percent: if of_kind {
            percent_beyond(planned_kwh, seen.chain([0.0]))
        } else {
            None
        },
        temperature: None,
    })
}

/// The charge state at the beginning: as read for the run that is open, as the point plans it, or as the policy has it.
fn charge_percent(state: &State, rules: &PredictionRules, point: &Point) -> Option<f64> {
    let open = state.open_run().filter(|run| run.points.contains(&point.code));
    if let Some(reading) = open.and_then(|run| run.before.as_ref()) {
        return Some(reading.charge_percent);
    }
    let planned = point.conditions.get(&Axis::ChargeState);
    let planned = planned.filter(|it| it.unit == Unit::Percent).map(|it| it.target - it.tolerance);
    planned.or(rules.take_off_charge_percent)
}

/// What all points of the run take together: the open run's, or the point alone.
fn planned_kwh(state: &State, point: &Point) -> f64 {
    match state.open_run().filter(|run| run.points.contains(&point.code)) {
        Some(run) => {
            run.points.iter().filter_map(|code| run.planned(code)).map(|it| it.energy_kwh).sum()
        }
        None => point.energy_kwh,
    }
}

/// The reserve that counts for a point, in kilowatt-hours: the greatest of those that concern it.
pub(super) fn reserve_kwh(rules: &PredictionRules, point: &Point) -> Option<f64> {
    let concern =
        |phases: &[crate::nouns::Phase]| phases.is_empty() || phases.contains(&point.phase);
    let mut greatest = None;
    for reserve in rules.reserves.iter().filter(|reserve| concern(&reserve.phases)) {
        // A reserve whose power is no power is not known, and no other takes its place.
        let kwh = reserve.reserve()?.energy().kilowatt_hours();
        greatest = Some(greatest.map_or(kwh, |most: f64| most.max(kwh)));
    }
    greatest
}

fn landing(state: &State, rules: &PredictionRules, point: &Point) -> Result<Prediction, WhyNot> {
    let usable = rules.usable_energy.and_then(|it| it.in_unit(Unit::KilowattHour));
    let usable = usable.ok_or(WhyNot::NotDecided { lacks: "usable energy of the pack" })?;
    let reserve = reserve_kwh(rules, point);
    let reserve = reserve.ok_or(WhyNot::NotDecided { lacks: "reserve at landing" })?;
    let charge = charge_percent(state, rules, point);
    let charge = charge.ok_or(WhyNot::NotPlanned { lacks: "charge state at take-off" })?;
    let used = energy_of(state, rules, point, planned_kwh(state, point));
    let used = used.map_err(|_| WhyNot::RestsOn { what: Box::new(Predicted::Energy {}) })?;
    let at_start = usable * charge / 100.0;
    Ok(Prediction {
        what: Predicted::LandingEnergy {},
        value: Interval {
            estimate: at_start - used.value.estimate,
            low: at_start - used.value.high,
            high: at_start - used.value.low,
        },
        bound: Some(Bound { figure: reserve, end: WorstEnd::Low }),
        ..used
    })
}

pub(super) fn predict(
    state: &State,
    rules: &PredictionRules,
    point: &Point,
    found: &mut Predictions,
) {
    if point.energy_kwh > 0.0 {
        let energy = energy_of(state, rules, point, point.energy_kwh);
        found.take(Predicted::Energy {}, energy);
    } else if is_flown(point) {
        found.take(Predicted::Energy {}, Err(WhyNot::NotPlanned { lacks: "energy" }));
    }
    if is_flown(point) {
        found.take(Predicted::LandingEnergy {}, landing(state, rules, point));
    }
}
