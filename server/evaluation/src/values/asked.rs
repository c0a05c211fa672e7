//! What is needed of a programme to propose values, taken out of its state in one piece, so that columns can be read while
//! the programme goes on.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::{DateTime, Utc};
use programme::codes::{ChannelCode, IntervalNumber, PointCode, RunNumber};
use programme::measure::Measure;
use programme::nouns::{Axis, Channel, Limit, Point};
use programme::record::MeasuredValue;
use programme::state::{Interval, Reduction, State};
use programme::verdict::{self, Verdict};
use recordings::columns::CannotRead;

use super::{Basis, ProposedValue, propose};
use crate::gathered::{Attached, Gathered};

/// Values are asked for.
#[derive(Debug, Clone)]
pub struct Asked {
    /// The run.
    pub run: RunNumber,
    /// The point.
    pub point: PointCode,
    /// The recordings of the run that count.
    pub attached: Vec<Attached>,
    planned: Arc<Point>,
    limits: Vec<Limit>,
    channels: BTreeMap<ChannelCode, Channel>,
    intervals: Vec<Interval>,
    span: (DateTime<Utc>, Option<DateTime<Utc>>),
    reductions: Vec<Reduction>,
}

/// Why no values can be proposed of intervals.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotAsked {
    /// No interval was named.
    #[error("name at least one interval")]
    None,
    /// There is no such interval.
    #[error("there is no interval {0}")]
    Unknown(IntervalNumber),
    /// The intervals are of several runs or points.
    #[error("interval {0} was taken for another point or run than interval {1}")]
    Another(IntervalNumber, IntervalNumber),
    /// An interval is named twice.
    #[error("interval {0} is named twice")]
    Twice(IntervalNumber),
    /// The recording was set aside since.
    #[error(
        "the recording of interval {0} was set aside since it was taken: take the interval anew"
    )]
    SetAside(IntervalNumber),
}

impl Asked {
    /// What is needed for these intervals, which are of one run and point.
    ///
    /// # Errors
    ///
    /// Every [`NotAsked`].
    pub fn of(state: &State, intervals: &[IntervalNumber]) -> Result<Self, Vec<NotAsked>> {
        let Some(first) = intervals.first() else { return Err(vec![NotAsked::None]) };
        let mut faults = Vec::new();
        let mut found: Vec<Interval> = Vec::with_capacity(intervals.len());
        for (place, number) in intervals.iter().enumerate() {
            let Some(interval) = state.recordings.interval(*number) else {
                faults.push(NotAsked::Unknown(*number));
                continue;
            };
            if intervals[..place].contains(number) {
                faults.push(NotAsked::Twice(*number));
            }
            if !state.recordings.counts(&interval.recording, interval.seq) {
                faults.push(NotAsked::SetAside(*number));
            }
            let same = |it: &Interval| (it.run, &it.point) == (interval.run, &interval.point);
            if found.first().is_some_and(|it| !same(it)) {
                faults.push(NotAsked::Another(*number, *first));
            }
            found.push(interval.clone());
        }
        let of_first = found.first().map(|it| (it.run, it.point.clone()));
        let planned = of_first.as_ref().and_then(|(run, point)| {
            let run = state.run(*run)?;
            Some((run, Arc::clone(run.planned(point)?)))
        });
        let (Some((number, point)), Some((run, planned))) = (of_first, planned) else {
            return Err(faults);
        };
        if !faults.is_empty() {
            return Err(faults);
        }
        let of_point = state.recordings.reductions.iter().filter(|reduction| {
            (reduction.run, reduction.point.as_ref()) == (number, Some(&point))
                && reduction.replaced_by.is_none()
                && state.recordings.reduction_counts(reduction)
        });
        Ok(Self {
            attached: Attached::of_run(state, number),
            limits: state.limits_in_force(&planned).map(|known| (*known.limit).clone()).collect(),
            channels: state.channels.iter().map(|(code, it)| (code.clone(), it.clone())).collect(),
            span: run.span(),
            reductions: of_point.cloned().collect(),
            run: number,
            point,
            planned,
            intervals: found,
        })
    }

    /// Proposes the values.
    ///
    /// # Errors
    ///
    /// [`CannotRead`], where columns are damaged.
    pub fn propose(&self, gathered: &Gathered) -> Result<Vec<ProposedValue>, CannotRead> {
        propose(&Basis {
            point: &self.planned,
            limits: self.limits.iter().collect(),
            channel: &|code| self.channels.get(code),
            intervals: self.intervals.iter().collect(),
            run: self.span,
            reductions: self.reductions.iter().collect(),
            gathered,
        })
    }

    /// The verdict that values would give.
    pub fn verdict(&self, values: &[MeasuredValue], reached: &BTreeMap<Axis, Measure>) -> Verdict {
        verdict::judge(&self.planned, &self.limits, values, reached)
    }
}
