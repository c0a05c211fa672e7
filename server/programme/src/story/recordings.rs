//! Recorders and recordings of stories.

use super::*;
use crate::codes::{ExceedanceNumber, IntervalNumber, LimitCode};
use crate::nouns::{DecimalMark, MappedColumn, Recorder, RecorderFile, TimeColumn, TimeForm};
use crate::record::{
    ExceedanceFound, HeatingComponent, HeatingOrderJudged, HeatingOutcome, IntervalBasis,
    IntervalTaken, RecordedChannel, RecorderDescribed, RecordingAttached, RecordingSetAside,
    RecordingTaken,
};
use crate::state::Amendable;

/// A recorder of tables with the windings' temperature and the speed, mapped.
pub(crate) fn recorder(name: &str) -> Recorder {
    let column = |column: &str, channel: &str, unit| MappedColumn {
        column: column.to_owned(),
        channel: code(channel),
        unit,
        scale: 1.0,
        inverted: false,
    };
    Recorder {
        code: code(name),
        title: "Motor controller".to_owned(),
        file: RecorderFile::Csv {
            delimiter: Some(';'),
            decimal: DecimalMark::Comma,
            header_line: None,
            unit_row: false,
            time: TimeColumn { column: "time".to_owned(), form: TimeForm::Iso8601 },
        },
        columns: vec![
            column("winding", "winding", Unit::Celsius),
            column("v", "speed", Unit::MetrePerSecond),
        ],
    }
}

/// A value worked out of an interval of a recording.
pub(crate) fn recorded_value(
    recording: &Digest,
    interval: u32,
    winding: impl Into<Option<f64>>,
) -> MeasuredValue {
    let source = ValueSource::Recording {
        recording: recording.clone(),
        interval: IntervalNumber(interval),
        method: "max".to_owned(),
        version: "1".to_owned(),
    };
    MeasuredValue { source, ..typed("winding", Statistic::Max, winding, Unit::Celsius) }
}

impl Story {
    /// What is found in a file of ten rows a second.
    pub fn file(&self, which: u8, started: DateTime<Utc>, seconds: f64) -> RecordingTaken {
        let rows = (seconds * 10.0) as u64;
        let channel = |name: &str| RecordedChannel {
            channel: code(name),
            readings: rows,
            missing: 0,
            refused: 0,
            gaps: 0,
            stuck: 0,
        };
        RecordingTaken {
            recording: Digest::from_bytes([which; 32]),
            recorder: code("R-motor"),
            recorder_revision: self.state.revision(&Amendable::Recorder(code("R-motor"))),
            name: format!("{which}.csv"),
            bytes: 80 * rows,
            started,
            ended: started + TimeDelta::milliseconds((seconds * 1000.0) as i64),
            rows,
            columns: Digest::from_bytes([which ^ 255; 32]),
            channels: vec![channel("winding"), channel("speed")],
            refused_rows: 0,
        }
    }

    /// A file of ten minutes from now on was taken in.
    pub fn recorded(&mut self, which: u8) -> Digest {
        self.recorded_from(which, self.now, 600.0)
    }

    /// A file was taken in.
    pub fn recorded_from(&mut self, which: u8, started: DateTime<Utc>, seconds: f64) -> Digest {
        if self.state.recorders.is_empty() {
            self.record("engineer", RecorderDescribed { recorder: recorder("R-motor") });
        }
        let taken = self.file(which, started, seconds);
        let recording = taken.recording.clone();
        self.record("crew", taken);
        recording
    }

    pub fn attach(&mut self, recording: &Digest, run: RunNumber) -> &mut Self {
        let recording = recording.clone();
        self.record("engineer", RecordingAttached { recording, run })
    }

    pub fn set_aside(&mut self, recording: &Digest) -> &mut Self {
        let (recording, reason) = (recording.clone(), "Of another day.".to_owned());
        self.record("engineer", RecordingSetAside { recording, reason })
    }

    /// A run of ten minutes for a point, with a recording of all of it that is attached to it.
    pub fn recorded_run(&mut self, point: &str) -> (Digest, RunNumber) {
        let run = self.run_for(&[point], 10);
        let began = self.state.run(run).unwrap().times.power_on.unwrap();
        let which = u8::try_from(100 + self.state.recordings.order.len() % 100).unwrap();
        let recording = self.recorded_from(which, began, 600.0);
        self.attach(&recording, run);
        (recording, run)
    }

    /// The first five minutes of a recording, taken for a point.
    pub fn interval(&mut self, recording: &Digest, run: RunNumber, point: &str) -> &mut Self {
        let taken = self.state.recordings.intervals.len();
        let from = self.state.recordings.get(recording).unwrap().take().unwrap().started;
        self.record(
            "engineer",
            IntervalTaken {
                interval: IntervalNumber(u32::try_from(taken).unwrap() + 1),
                recording: recording.clone(),
                run,
                point: code(point),
                from,
                to: from + TimeDelta::minutes(5),
                how: IntervalBasis::Times {},
            },
        )
    }

    /// Shown at 50 °C, as an interval of a recording has it, and accepted.
    pub fn show_recorded(&mut self, point: &str) -> (Digest, RunNumber) {
        let (recording, run) = self.recorded_run(point);
        self.interval(&recording, run, point);
        let interval = u32::try_from(self.state.recordings.intervals.len()).unwrap();
        let values = vec![recorded_value(&recording, interval, 50.0)];
        self.result(run, point, values, BTreeMap::new()).accept(point, run);
        (recording, run)
    }

    /// Limits as an evaluation now judges the order of heating by them.
    pub fn components(&self, limits: &[&str]) -> Vec<HeatingComponent> {
        let component = |name: &&str| {
            let known = &self.state.limits.by_code[*name];
            HeatingComponent {
                limit: code(name),
                limit_revision: known.changed_at,
                channel: known.limit.channel.clone(),
                peak: Some(50.0),
                time_to_limit_s: Some(900.0),
                low_s: Some(800.0),
                high_s: Some(1000.0),
            }
        };
        limits.iter().map(component).collect()
    }

    /// The order of heating was judged, by the limits of the policy as they are.
    pub fn judged(
        &mut self,
        recording: &Digest,
        run: RunNumber,
        outcome: HeatingOutcome,
    ) -> &mut Self {
        let order = self.state.policy.as_ref().map(|policy| policy.heating_order.clone());
        let order: Vec<LimitCode> = order.unwrap_or_default();
        let names: Vec<&str> = order
            .iter()
            .map(LimitCode::as_str)
            .filter(|name| self.state.limits.by_code.contains_key(*name))
            .collect();
        let components = self.components(&names);
        let recording = recording.clone();
        let first = order.last().cloned();
        let horizon_min = self.state.policy.as_ref().and_then(|policy| policy.heating_horizon_min);
        self.record(
            "engineer",
            HeatingOrderJudged { run, recording, components, outcome, first, horizon_min },
        )
    }

    /// A recording showed an exceedance of half a minute.
    pub fn found(&mut self, recording: &Digest, run: RunNumber, limit: &str) -> &mut Self {
        let number = u32::try_from(self.state.exceedances.len()).unwrap() + 1;
        let known = self.state.limits.by_code.get(limit);
        let started_at = self.now;
        self.record(
            "engineer",
            ExceedanceFound {
                exceedance: ExceedanceNumber(number),
                run,
                recording: recording.clone(),
                limit: code(limit),
                limit_revision: known.map_or(0, |known| known.changed_at),
                point: None,
                statistic: Statistic::Max,
                started_at,
                duration_s: 30.0,
                peak: 85.0,
                peak_at: started_at,
                dwell_s: 0.0,
                odd_one_out: None,
            },
        )
    }
}
