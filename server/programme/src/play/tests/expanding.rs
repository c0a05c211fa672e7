//! How the demonstration's envelope grows: what a step opens, what a change undoes, what is too bold.

use std::collections::BTreeSet;

use super::*;
use crate::board::Board;
use crate::changes::{Supposed, effects};
use crate::codes::{PointCode, ReductionNumber, RunNumber};
use crate::entry::{Draft, Entry};
use crate::holds::{self, Reason};
use crate::measure::{Measure, Unit};
use crate::next_steps::next_steps;
use crate::nouns::{Axis, Item};
use crate::prediction::predictions;
use crate::record::{
    Digest, Part, Predicted, Record, RecordingAttached, RecordingTaken, ReductionMade,
};
use crate::state::{Lapse, State};

fn point(code: &str) -> PointCode {
    code.parse().unwrap()
}

/// The demonstration up to the moment at which the safety officer accepts a point for the first time, and that record.
fn before_acceptance(code: &str) -> (State, Entry) {
    let (_, entries) = played(noon());
    let accepts = |entry: &Entry| {
        matches!(&entry.record, Record::PartSigned(body)
            if body.point == point(code) && matches!(body.part, Part::SafetyAcceptance { .. }))
    };
    let place = entries.iter().position(accepts).unwrap();
    let mut state = State::default();
    for entry in &entries[..place] {
        state.apply(entry);
    }
    (state, entries[place].clone())
}

fn take_in(state: &mut State, record: impl Into<Record>) {
    let (at, by) = (state.last_at.unwrap(), "tomas".parse().unwrap());
    let draft = Draft { observed_at: None, record: record.into() };
    state.apply(&Entry::new(state.id.clone().unwrap(), state.length() + 1, at, by, draft));
}

/// What the inverter's recorder would have shown of the winding in the run of a point, as an engineer would reduce it.
fn reduces_the_winding_of(state: &mut State, code: &str) {
    let run = state.runs.iter().rev().find(|run| run.points.contains(&point(code))).unwrap();
    let (run, (started, _)): (RunNumber, _) = (run.number, run.span());
    let recording = Digest::from_bytes([41; 32]);
    take_in(
        state,
        RecordingTaken {
            recording: recording.clone(),
            recorder: "inverter".parse().unwrap(),
            recorder_revision: 1,
            name: "winding.csv".to_owned(),
            bytes: 1,
            started,
            ended: started + chrono::TimeDelta::minutes(10),
            rows: 6000,
            columns: Digest::from_bytes([42; 32]),
            channels: Vec::new(),
            refused_rows: 0,
        },
    );
    take_in(state, RecordingAttached { recording: recording.clone(), run });
    let result = r#"{"output":{"recorded":{"duration_s":600,"highest_power_kw":56.1,"highest_rise_c":62,"start_rise_c":4},"residual_sd_c":0.6,"rise_c_per_kw":1.5,"rise_se_c_per_kw":0.02,"time_constant_s":120,"time_constant_se_s":3},"rests_on":{"channels":{"ambient":"oat","power":"motor_kw","temperature":"motor_winding_t_1"}}}"#;
    take_in(
        state,
        ReductionMade {
            reduction: ReductionNumber(1),
            recording,
            run,
            point: Some(point(code)),
            interval: None,
            topic: "thermal-fit".to_owned(),
            version: "1 with thermal-fit 2".to_owned(),
            channels: vec!["motor_winding_t_1".parse().unwrap()],
            others: Vec::new(),
            given: Digest::from_bytes([43; 32]),
            result: result.to_owned(),
            replaces: None,
        },
    );
}

/// What stands in the way of a point on the ladder itself: prerequisites and steps.
fn waits(state: &State, code: &str) -> Vec<&'static str> {
    let rung = state.rung(&point(code)).unwrap();
    let reasons = holds::reasons(state, rung, state.last_at.unwrap()).into_iter();
    let ladder = |it: &Reason| matches!(it, Reason::Prerequisite(_) | Reason::BuildUp(_));
    reasons.filter(ladder).map(|it| it.rule().code).collect()
}

#[test]
fn accepting_a_tie_down_step_opens_the_next_power_step_with_a_predicted_temperature() {
    let (mut state, acceptance) = before_acceptance("GR-05");
    reduces_the_winding_of(&mut state, "GR-05");
    assert_eq!(
        waits(&state, "GR-06").into_iter().collect::<BTreeSet<_>>(),
        ["build-up-step-too-large", "prerequisite-not-accepted"].into()
    );
    let (seq, at) = (state.length() + 1, state.last_at.unwrap());
    state.apply(&Entry { seq, at, ..acceptance });
    assert!(waits(&state, "GR-06").is_empty(), "{:?}", waits(&state, "GR-06"));

    let rung = state.rung(&point("GR-06")).unwrap();
    let found = predictions(&state, &rung.point, at);
    let winding = Predicted::Temperature { limit: "L-WINDING".parse().unwrap() };
    let predicted = found.of(&winding).unwrap();
    // 70 kW · 1.5 K/kW · (1 − e^(−60/120)) and what is left of 4 K, over the air.
    let air = predicted.temperature.as_ref().unwrap().ambient.celsius;
    let rise = 70.0 * 1.5 * (1.0 - (-0.5_f64).exp()) + 4.0 * (-0.5_f64).exp();
    assert!((predicted.value.estimate - air - rise).abs() < 1e-9, "{predicted:?}");
    assert!(predicted.extrapolated_percent.unwrap() > 20.0, "70 kW are beyond 56.1 kW");
    assert!(found.unavailable.iter().any(|it| it.what.to_string().contains("L-INVERTER")));
}

#[test]
fn another_motor_controller_lapses_exactly_the_runs_that_looked_at_heat_with_the_reason_and_checks_fall_due()
 {
    let (state, _) = played(noon());
    let fitted = state.configuration.items["inverter"].item.clone();
    let other = Item { version: "another serial".to_owned(), ..fitted.clone() };
    let sofia = "sofia".parse().unwrap();
    let found = effects(&state, &Supposed::Fitted(other), &sofia, noon());
    let lapsing: BTreeSet<&str> = found.lapsing.iter().map(|it| it.point.as_str()).collect();
    let accepted = state.ladder.rungs().iter();
    let accepted = accepted.filter(|rung| state.accepted_result_of(rung).is_some());
    let hot: BTreeSet<&str> = accepted
        .filter(|rung| {
            let mut criteria = rung.point.criteria.iter();
            rung.point.conditions.contains_key(&Axis::TimeAtPower)
                && criteria.any(|it| it.parameter.as_str().contains("winding"))
        })
        .map(|rung| rung.point.code.as_str())
        .collect();
    assert!(hot.len() >= 4, "{hot:?}");
    assert_eq!(lapsing, hot, "exactly the runs that looked at heat");
    let due: BTreeSet<&str> = found.checks.iter().map(|it| it.check.as_str()).collect();
    assert!(due.is_superset(&["C-COOLANT", "C-ISO", "C-SAFETY-CHAIN"].into()), "{due:?}");
    for lapse in &found.lapsing {
        let Lapse::ItemChanged { item, is, .. } = &lapse.because else { panic!("{lapse:?}") };
        assert_eq!((item.as_str(), is.as_deref()), ("inverter", Some("another serial")));
    }
    let repeat: BTreeSet<&str> = found.repeat.points.iter().map(PointCode::as_str).collect();
    assert!(repeat.len() < lapsing.len() && repeat.is_subset(&lapsing), "{repeat:?}");
}

#[test]
fn a_taxi_step_that_is_too_bold_is_held_with_the_smaller_one_that_is_proposed() {
    let (state, _) = played(noon());
    let board = Board::new(&state, noon());
    let steps = next_steps(&state, &board, noon());
    let bold = steps.iter().find(|it| it.rung.point.code == point("TX-09")).unwrap();
    assert!(bold.holds(&state).iter().any(|hold| hold.rule == "build-up-step-too-large"));
    let proposals = bold.proposals();
    let proposed = proposals.iter().find(|it| it.axis == Axis::Speed).unwrap();
    assert_eq!(proposed.target, Measure::new(40.0, Unit::Knot));
    let smaller = proposed.propose.unwrap();
    assert!(smaller.value < 40.0 && smaller.value > proposed.shown.unwrap().value, "{smaller}");
}
