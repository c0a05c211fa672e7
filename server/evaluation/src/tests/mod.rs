//! Recordings of a run, made by hand, held against limits.
#![allow(clippy::unwrap_used, clippy::panic)]

mod heated;
mod kinds;
mod several;

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::{DateTime, Utc};
use programme::codes::{ChannelCode, LimitCode, PersonHandle, PointCode, RecorderCode};
use programme::commands::FoundExceedance;
use programme::measure::Unit;
use programme::nouns::{Channel, Limit, LimitKind, Phase};
use programme::record::Digest;
use programme::state::{LimitState, State};
use recordings::Micros;
use recordings::columns::{CannotRead, Window};

use crate::found::{Judgement, judge};
use crate::judged::{Flown, JudgedLimit, LimitOutcome, Question};
use crate::run_recordings::{Channels, Facts, RunRecording, Stretch};

/// Columns in memory.
#[derive(Debug, Clone, Default)]
pub(super) struct Sheet {
    pub(super) times: Vec<Micros>,
    pub(super) columns: BTreeMap<String, (String, Vec<f64>)>,
}

impl Channels for Sheet {
    fn unit(&self, channel: &str) -> Option<&str> {
        self.columns.get(channel).map(|(unit, _)| unit.as_str())
    }

    fn read(&self, channel: &str) -> Result<Window, CannotRead> {
        let (_, values) = &self.columns[channel];
        Ok(Window { times: self.times.clone(), values: vec![values.clone()] })
    }
}

pub(super) fn s(seconds: f64) -> Micros {
    Micros((seconds * 1e6) as i64)
}

/// A recording at 1 Hz of one recorder that begins so many seconds after the run.
pub(super) fn recording(
    which: u8,
    recorder: &str,
    from_s: f64,
    columns: &[(&str, Unit, &[f64])],
) -> RunRecording<Sheet> {
    let rows = columns.first().map_or(0, |(_, _, values)| values.len());
    let times: Vec<_> = (0..rows).map(|row| s(from_s + row as f64)).collect();
    let of = |(code, unit, values): &(&str, Unit, &[f64])| {
        ((*code).to_owned(), (unit.as_str().to_owned(), values.to_vec()))
    };
    RunRecording {
        facts: Facts {
            recording: digest(which),
            columns: digest(which),
            recorder: RecorderCode::new(recorder).unwrap(),
            started: *times.first().unwrap(),
            ended: *times.last().unwrap(),
            ahead_s: 0.0,
        },
        columns: Sheet { times, columns: columns.iter().map(of).collect() },
    }
}

pub(super) fn digest(which: u8) -> Digest {
    Digest::from_bytes([which; 32])
}

pub(super) fn channel(code: &str, unit: Unit, accuracy: Option<f64>) -> Channel {
    Channel {
        code: ChannelCode::new(code).unwrap(),
        title: "a sensor".to_owned(),
        unit,
        lowest: None,
        highest: None,
        accuracy,
        derived_from: None,
    }
}

pub(super) fn limit(channel: &str, unit: Unit, kind: LimitKind) -> Limit {
    Limit {
        code: LimitCode::new("L").unwrap(),
        title: "a limit".to_owned(),
        channel: ChannelCode::new(channel).unwrap(),
        unit,
        kind,
        dwell_s: 0.0,
        phases: vec![Phase::GroundRun],
        source: "handbook (invented)".to_owned(),
    }
}

pub(super) fn maximum(limit: f64) -> LimitKind {
    LimitKind::Maximum { caution: None, limit }
}

pub(super) fn in_force(limit: Limit) -> LimitState {
    LimitState {
        limit: Arc::new(limit),
        revision: 1,
        changed_at: 7,
        at: DateTime::<Utc>::UNIX_EPOCH,
        set_by: PersonHandle::new("engineer").unwrap(),
        agreed_by: None,
        earlier: Vec::new(),
    }
}

/// A programme with these channels and limits, each of them with a recorder.
pub(super) fn state(channels: &[Channel], limits: Vec<Limit>) -> State {
    let mut state = State::default();
    for channel in channels {
        state.channels.insert(channel.code.clone(), channel.clone());
    }
    for limit in limits {
        state.limits.by_code.insert(limit.code.clone(), in_force(limit));
    }
    state
}

pub(super) fn question(state: &State) -> Question {
    let order = state.policy.iter().flat_map(|policy| &policy.heating_order);
    Question {
        limits: state.limits.by_code.values().cloned().collect(),
        heating_horizon_min: state.policy.as_ref().and_then(|it| it.heating_horizon_min),
        heating_order: order.map(|code| state.limits.by_code[code].clone()).collect(),
        channels: state.channels.clone(),
        not_mapped: Vec::new(),
        told: Vec::new(),
        flown: Vec::new(),
        stretch: Stretch::ALWAYS,
        noted: (s(0.0), None),
    }
}

/// What recordings say to the limits, and what is to be told of one of them.
pub(super) fn judgement(state: &State, recordings: &[RunRecording<Sheet>], which: u8) -> Judgement {
    judge(&question(state), recordings, &digest(which)).unwrap()
}

/// One limit on the channel `t`, recorded in a unit, and one recording.
pub(super) fn one(
    limit: &Limit,
    recorded: Unit,
    values: &[f64],
) -> (JudgedLimit, Vec<FoundExceedance>) {
    let state = state(&[channel("t", recorded, None)], vec![limit.clone()]);
    let recordings = [recording(1, "r", 0.0, &[("t", recorded, values)])];
    let Judgement { mut limits, found } = judgement(&state, &recordings, 1);
    (limits.remove(0), found)
}

pub(super) fn outcome(limit: &Limit, recorded: Unit, values: &[f64]) -> LimitOutcome {
    one(limit, recorded, values).0.outcome
}
