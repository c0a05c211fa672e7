//! Takes an interval of a recording for a point: by moments that were noted of the run, by times, or where channels
//! stayed within their tolerances.

use chrono::{DateTime, Utc};

use super::given::{Given, changes, one};
use super::moments::{after, seconds_between};
use super::{Command, Stamp, known};
use crate::codes::{IntervalNumber, PointCode, RunNumber};
use crate::entry::Draft;
use crate::measure::Measure;
use crate::nouns::judging::Judging;
use crate::people::Act;
use crate::record::{
    Digest, EventMark, IntervalBasis, IntervalTaken, RecordedMoment, RunEvent, SteadyChannel,
};
use crate::refusal::{Fault, Refusal};
use crate::state::{RecordingState, RecordingTake, Run, State};

/// An interval and how it was found.
#[derive(Debug, Clone, PartialEq)]
pub enum FoundInterval {
    /// From one noted moment of the run to another; the recorder's clock is put right by its confirmed offset.
    EventMarks {
        /// Its beginning.
        from: EventMark,
        /// Its end.
        to: EventMark,
    },
    /// A person gave its moments, by the recorder's clock.
    Times {
        /// From then on.
        from: RecordedMoment,
        /// Up to and including then.
        to: RecordedMoment,
    },
    /// Channels stayed within their tolerances.
    Conditions {
        /// Each channel with target and tolerance.
        held: Vec<SteadyChannel>,
        /// The least time that was asked for, seconds.
        at_least_s: f64,
        /// From then on, by the recorder's clock.
        from: RecordedMoment,
        /// Up to and including then.
        to: RecordedMoment,
    },
}

/// Asks for an interval to be taken.
#[derive(Debug, Clone)]
pub struct TakeInterval {
    /// Of which recording.
    pub recording: Digest,
    /// Of which run.
    pub run: RunNumber,
    /// For which point.
    pub point: PointCode,
    /// Where it is, and how that was found.
    pub interval: FoundInterval,
}

impl Command for TakeInterval {
    fn act(&self) -> Act {
        Act::TakeIntervals
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let run = known::run(state, self.run)?;
        known::rung(state, &self.point)?;
        known::point_of(run, &self.point)?;
        let (known, take) = known::recording_of(state, &self.recording, self.run)?;
        let (from, to, how) = match &self.interval {
            FoundInterval::EventMarks { from, to } => {
                let (marked_from, marked_to) = marked(*from, *to, known, run)?;
                (marked_from, marked_to, IntervalBasis::EventMarks { from: *from, to: *to })
            }
            FoundInterval::Times { from, to } => (*from, *to, IntervalBasis::Times {}),
            FoundInterval::Conditions { held, at_least_s, from, to } => {
                let (held, at_least_s) = (held.clone(), *at_least_s);
                (*from, *to, IntervalBasis::Conditions { held, at_least_s })
            }
        };
        let mut faults = faults_of_span(from, to, known, take, run);
        if let IntervalBasis::Conditions { held, at_least_s } = &how {
            let lasts_s = seconds_between(from, to);
            faults.extend(faults_of_conditions(held, *at_least_s, lasts_s, self.run, state));
        }
        Given::new(state, stamp).faults(faults).settled()?;
        let taken = u32::try_from(state.recordings.intervals.len()).unwrap_or(u32::MAX);
        let interval = IntervalTaken {
            interval: IntervalNumber(taken.saturating_add(1)),
            recording: self.recording.clone(),
            run: self.run,
            point: self.point.clone(),
            from,
            to,
            how,
        };
        let same = state.recordings.intervals.iter().find(|it| {
            (&it.recording, it.run, &it.point) == (&self.recording, self.run, &self.point)
                && (it.from, it.to, &it.how) == (from, to, &interval.how)
                && state.recordings.counts(&it.recording, it.seq)
        });
        let number = same.map_or(interval.interval, |same| same.number);
        changes(same.is_none(), format_args!("interval {number}"))?;
        Ok(one(interval))
    }
}

/// The moments of two marks, by the recorder's clock.
fn marked(
    from: EventMark,
    to: EventMark,
    known: &RecordingState,
    run: &Run,
) -> Result<(DateTime<Utc>, DateTime<Utc>), Refusal> {
    let mut faults = Vec::new();
    let mut moment = |mark: EventMark, field: &str| {
        let Some(noted) = noted(mark, run) else {
            let which = match mark.number {
                1 => String::new(),
                number => format!(" number {number}"),
            };
            let why =
                format!("no {}{which} was noted of run {}", mark.event.in_words(), run.number);
            faults.push(Fault::at(field, why));
            return None;
        };
        let found = after(noted, mark.after_s).and_then(|at| after(at, known.clock_offset_s()));
        if found.is_none() {
            let why = format!("{} s after it there is no moment", mark.after_s);
            faults.push(Fault::at(format!("{field}.after_s"), why));
        }
        found
    };
    match (moment(from, "from"), moment(to, "to")) {
        (Some(from), Some(to)) => Ok((from, to)),
        _ => Err(Refusal::Invalid { faults }),
    }
}

fn noted(mark: EventMark, run: &Run) -> Option<DateTime<Utc>> {
    let place = (mark.number as usize).checked_sub(1)?;
    let once = |moment: Option<DateTime<Utc>>| moment.filter(|_| place == 0);
    match mark.event {
        RunEvent::PowerOn => once(run.times.power_on),
        RunEvent::OffBlocks => once(run.times.off_blocks),
        RunEvent::TakeOff => run.times.take_offs.get(place).copied(),
        RunEvent::Landing => run.times.landings.get(place).copied(),
        RunEvent::OnBlocks => once(run.times.on_blocks),
        RunEvent::PowerOff => once(run.times.power_off),
    }
}

/// An interval lies in the recording, and in the run by the recorder's clock less its confirmed offset.
fn faults_of_span(
    from: DateTime<Utc>,
    to: DateTime<Utc>,
    known: &RecordingState,
    take: &RecordingTake,
    run: &Run,
) -> Vec<Fault> {
    let mut judging = Judging::of("");
    judging.must(from < to, "to", format!("{} is not after the beginning", to.to_rfc3339()));
    let (begun, over) = run.span();
    for (field, moment) in [("from", from), ("to", to)] {
        judging.must(
            (take.started..=take.ended).contains(&moment),
            field,
            format!(
                "{} is not in the recording, which goes from {} to {}",
                moment.to_rfc3339(),
                take.started.to_rfc3339(),
                take.ended.to_rfc3339()
            ),
        );
        let by_runs_clock = after(moment, -known.clock_offset_s());
        let in_run =
            by_runs_clock.is_some_and(|at| begun <= at && over.is_none_or(|over| at <= over));
        judging.must(
            in_run,
            field,
            format!("{} is not in run {}", moment.to_rfc3339(), run.number),
        );
    }
    judging.done()
}

fn faults_of_conditions(
    held: &[SteadyChannel],
    at_least_s: f64,
    lasts_s: f64,
    run: RunNumber,
    state: &State,
) -> Vec<Fault> {
    let mut judging = Judging::of("");
    judging.must(!held.is_empty(), "held", "must name at least one channel");
    judging.not_negative("at_least_s", at_least_s);
    judging.must(
        lasts_s >= at_least_s,
        "at_least_s",
        format!("the interval lasts {lasts_s} s, which is less than {at_least_s} s"),
    );
    for (place, steady) in held.iter().enumerate() {
        let field = |name: &str| format!("held[{place}].{name}");
        let channel = &steady.channel;
        judging.must(
            state.recordings.of_run(run).any(|it| it.has_readings_of(channel)),
            &field("channel"),
            format!("no recording of run {run} has readings of {channel}"),
        );
        if let Some(known) = state.channels.get(channel) {
            judging.measure(
                &field("target"),
                Measure::new(steady.target, steady.unit),
                known.unit.kind(),
            );
        }
        judging.positive(&field("tolerance"), steady.tolerance);
    }
    judging.done()
}

#[cfg(test)]
mod tests;
