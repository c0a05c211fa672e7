//! Whether the demonstration's ladder can be climbed from its first rung to its last.

use std::collections::{BTreeMap, BTreeSet};

use super::PROGRAMME;
use crate::codes::{ChannelCode, PersonHandle, RunNumber};
use crate::entry::{Draft, Entry};
use crate::holds::{self, Reason};
use crate::measure::{Measure, Unit};
use crate::nouns::{Comparison, LimitKind, Point, Statistic};
use crate::record::{
    Digest, MeasuredValue, Part, PartSigned, Record, ResultRecorded, RunClosed, RunKind, RunOpened,
    ValueSource,
};
use crate::state::State;
use crate::verdict::Outcome;

fn take_in(state: &mut State, by: &str, record: impl Into<Record>) {
    let by: PersonHandle = by.parse().unwrap();
    let draft = Draft { observed_at: None, record: record.into() };
    let seq = state.length() + 1;
    state.apply(&Entry::new("tug".parse().unwrap(), seq, super::noon(), by, draft));
}

/// The range that every criterion and every named limit leaves for each figure of a point.
fn ranges(point: &Point, state: &State) -> BTreeMap<(ChannelCode, Statistic), (f64, f64, Unit)> {
    let mut ranges = BTreeMap::new();
    let mut narrow = |parameter: &ChannelCode, statistic, low: f64, high: f64, unit| {
        let range = ranges.entry((parameter.clone(), statistic)).or_insert((
            f64::NEG_INFINITY,
            f64::INFINITY,
            unit,
        ));
        range.0 = range.0.max(low);
        range.1 = range.1.min(high);
    };
    for criterion in &point.criteria {
        let (low, high) = match criterion.comparison {
            Comparison::AtMost => (f64::NEG_INFINITY, criterion.value),
            Comparison::AtLeast => (criterion.value, f64::INFINITY),
            Comparison::Between => (criterion.value, criterion.upper.unwrap()),
        };
        narrow(&criterion.parameter, criterion.statistic, low, high, criterion.unit);
    }
    let (least, most) = (f64::NEG_INFINITY, f64::INFINITY);
    for limit in point.limits.iter().map(|code| &state.limits.by_code[code].limit) {
        let mut held = |statistic, low, high, unit| {
            narrow(&limit.channel, statistic, low, high, unit);
        };
        match &limit.kind {
            LimitKind::Maximum { limit: high, .. } => {
                held(Statistic::Max, least, *high, limit.unit)
            }
            LimitKind::Minimum { limit: low, .. } => held(Statistic::Min, *low, most, limit.unit),
            LimitKind::Range { low, high, .. } => {
                held(Statistic::Min, *low, most, limit.unit);
                held(Statistic::Max, least, *high, limit.unit);
            }
            LimitKind::Rate { limit_per_s, .. } => {
                held(Statistic::Rate, 0.0, *limit_per_s, Unit::KelvinPerSecond);
            }
            LimitKind::Spread { limit: high, .. } => {
                held(Statistic::Spread, 0.0, *high, limit.unit);
            }
            LimitKind::TimeAbove { limit_s, .. } => {
                held(Statistic::TimeAbove, 0.0, *limit_s, Unit::Second);
            }
            LimitKind::Rating { timed, .. } => {
                let highest = timed.last().unwrap().value;
                held(Statistic::Max, least, highest, limit.unit);
                held(Statistic::TimeAbove, 0.0, timed[0].seconds, Unit::Second);
            }
        }
    }
    ranges
}

/// Figures inside every criterion and limit of a point, and one for every other channel that it asks for.
fn sound_values(point: &Point, state: &State) -> Vec<MeasuredValue> {
    let value = |parameter: &ChannelCode, statistic, value, unit| MeasuredValue {
        parameter: parameter.clone(),
        statistic,
        value: Some(value),
        unit,
        source: ValueSource::TypedIn {},
    };
    let ranges = ranges(point, state);
    let mut values: Vec<_> = ranges
        .iter()
        .map(|((parameter, statistic), (low, high, unit))| {
            assert!(low <= high, "{}: no {statistic} of {parameter} does", point.code);
            let figure = if low.is_finite() { *low } else { *high };
            value(parameter, *statistic, figure, *unit)
        })
        .collect();
    for channel in &point.data_required {
        if !values.iter().any(|given| given.parameter == *channel) {
            values.push(value(channel, Statistic::Value, 1.0, state.channels[channel].unit));
        }
    }
    values
}

/// Runs a point as well as its plan asks for, short of its targets by the whole of their tolerances, and accepts it.
fn show(point: &Point, state: &mut State) {
    let run = RunNumber(u32::try_from(state.runs.len()).unwrap() + 1);
    let what = RunKind::of_phase(point.phase);
    let code = point.code.clone();
    take_in(state, "marit", RunOpened { run, what, points: vec![code.clone()], crew: vec![] });
    let reached = point.conditions.iter().map(|(axis, condition)| {
        (*axis, Measure::new(condition.target - condition.tolerance, condition.unit))
    });
    let reached = reached.collect();
    let (values, observations) = (sound_values(point, state), "As planned.".to_owned());
    take_in(
        state,
        "marit",
        ResultRecorded { run, point: code.clone(), values, reached, observations },
    );
    take_in(state, "marit", RunClosed { run, debrief: None });
    let outcome = state.result(run, &code).unwrap().1.verdict.outcome;
    assert_eq!(outcome, Outcome::Met, "{code}");
    for (by, part) in
        [("tomas", Part::EngineeringAcceptance { run }), ("sofia", Part::SafetyAcceptance { run })]
    {
        let digest = Digest::from_bytes([1; 32]);
        take_in(state, by, PartSigned { point: code.clone(), part, window: None, digest });
    }
}

/// Every rung is reached by those below it, with the steps of the policy: nothing but prerequisites and build-up is
/// looked at, and every result falls short of its targets by the whole of their tolerances.
#[test]
fn the_demonstrations_ladder_can_be_climbed_even_where_every_result_falls_short() {
    let mut state = State::default();
    for draft in crate::document::found(PROGRAMME).unwrap() {
        take_in(&mut state, "marit", draft.record);
    }
    loop {
        let left: Vec<_> = state
            .ladder
            .rungs()
            .iter()
            .filter(|rung| state.accepted_result_of(rung).is_none())
            .map(|rung| (rung.point.clone(), holds::reasons(&state, rung, super::noon())))
            .collect();
        if left.is_empty() {
            break;
        }
        let waits =
            |reason: &Reason| matches!(reason, Reason::Prerequisite(_) | Reason::BuildUp(_));
        let Some((next, _)) = left.iter().find(|(_, reasons)| !reasons.iter().any(waits)) else {
            let told: BTreeSet<String> = left
                .iter()
                .flat_map(|(point, reasons)| {
                    let rung = state.rung(&point.code).unwrap();
                    let state = &state;
                    reasons.iter().filter(|reason| waits(reason)).map(move |reason| {
                        format!("{}: {}", point.code, reason.told(rung, state).why)
                    })
                })
                .collect();
            panic!("nothing is left to climb on: {told:#?}");
        };
        show(&next.clone(), &mut state);
    }
    assert!(state.ladder.rungs().len() >= 60);
}
