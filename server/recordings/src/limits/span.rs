//! From when to when a limit is watched.

use super::{Caution, Gap, WatchOptions};
use crate::{Micros, Series};

/// The time over which a channel is watched.
#[derive(Debug, Clone, Copy)]
pub(super) struct Span {
    pub(super) from: Micros,
    pub(super) to: Micros,
}

impl Span {
    /// From the first row to the last one and the usual step after it, or what was asked for, if that goes further.
    ///
    /// The step is that between rows, whether they have a reading or not, so that more readings never shorten it.
    pub(super) fn of<'a>(
        rows: impl Iterator<Item = Series<'a>>,
        options: &WatchOptions,
    ) -> Option<Self> {
        rows.filter_map(|rows| {
            let (first, last) = (*rows.times.first()?, *rows.times.last()?);
            Some(Self { from: first, to: Micros(last.0.saturating_add(usual_step(rows.times))) })
        })
        .chain(options.over.map(|(from, to)| Self { from, to }))
        .reduce(|a, b| Self { from: a.from.min(b.from), to: a.to.max(b.to) })
    }
}

/// The middle one of the steps between rows, in microseconds; 0 where there is one row only.
pub(crate) fn usual_step(times: &[Micros]) -> i64 {
    let mut steps: Vec<i64> =
        times.windows(2).map(|pair| pair[1].0.saturating_sub(pair[0].0)).collect();
    if steps.is_empty() {
        return 0;
    }
    let middle = steps.len() / 2;
    *steps.select_nth_unstable(middle).1
}

/// The part of a series that is to be watched.
pub(super) fn watched<'a>(series: Series<'a>, options: &WatchOptions) -> Series<'a> {
    options.over.map_or(series, |(from, to)| series.between(from, to))
}

/// Counts times without reading.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Gaps {
    count: usize,
    seconds: f64,
    longest: Option<Gap>,
}

impl Gaps {
    /// Takes note of the time between two readings and gives it back where it is long enough to be told.
    pub(super) fn note(&mut self, from: Micros, to: Micros, options: &WatchOptions) -> Option<Gap> {
        let gap = Gap { from, to };
        if gap.seconds() <= options.gap_s {
            return None;
        }
        self.count += 1;
        self.seconds += gap.seconds();
        self.longest = longer(self.longest, Some(gap));
        Some(gap)
    }

    /// The gaps of readings in a span.
    pub(super) fn between(
        moments: impl Iterator<Item = Micros>,
        span: Span,
        options: &WatchOptions,
    ) -> Self {
        let mut gaps = Self::default();
        let mut before = span.from;
        for moment in moments {
            gaps.note(before, moment, options);
            before = moment;
        }
        gaps.note(before, span.to, options);
        gaps
    }

    /// What is told of them.
    pub(super) fn caution(self, channel: &str) -> Option<Caution> {
        self.longest.map(|longest| Caution::NotWatched {
            channel: channel.to_owned(),
            gaps: self.count,
            seconds: self.seconds,
            longest,
        })
    }
}

/// The longer of two gaps; the first of two equally long.
pub(super) fn longer(one: Option<Gap>, other: Option<Gap>) -> Option<Gap> {
    match (one, other) {
        (Some(one), Some(other)) => Some(if other.seconds() > one.seconds() { other } else { one }),
        (one, other) => one.or(other),
    }
}
