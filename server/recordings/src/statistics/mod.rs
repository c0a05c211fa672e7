//! What is taken from channels over an interval: one figure, or the reason why there is none.

#[cfg(test)]
mod tests;

use serde::{Deserialize, Serialize};

use crate::limits::{Gap, WatchOptions, rates, seconds_above, spreads, usual_step};
use crate::{Micros, Series};

/// What a figure says of its channel, in the words of the programme.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Statistic {
    /// The greatest value.
    Max,
    /// The smallest value.
    Min,
    /// The mean over time.
    Mean,
    /// The value at the start.
    First,
    /// The value at the end.
    Last,
    /// The greatest change in a second, up or down.
    Rate,
    /// The greatest difference in the group at one moment.
    Spread,
    /// Seconds above a threshold.
    TimeAbove,
}

impl Statistic {
    /// The statistic as written.
    pub const fn as_str(self) -> &'static str {
        match self {
            Statistic::Max => "max",
            Statistic::Min => "min",
            Statistic::Mean => "mean",
            Statistic::First => "first",
            Statistic::Last => "last",
            Statistic::Rate => "rate",
            Statistic::Spread => "spread",
            Statistic::TimeAbove => "time-above",
        }
    }
}

/// What is wanted of an interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "statistic", rename_all = "kebab-case")]
pub enum Wanted {
    /// The greatest value.
    Max,
    /// The smallest value.
    Min,
    /// The mean over time: readings joined by straight lines.
    Mean,
    /// The first reading; it must be at the interval's beginning.
    First,
    /// The last reading; it must be at the interval's end.
    Last,
    /// The greatest change in a second, up or down; see [`rates`].
    Rate,
    /// The greatest difference in the group at one moment; see [`spreads`].
    Spread,
    /// Seconds above a threshold; see [`seconds_above`].
    TimeAbove {
        /// The threshold, in the channel's unit.
        threshold: f64,
    },
}

impl Wanted {
    /// The word for it.
    pub const fn statistic(self) -> Statistic {
        match self {
            Wanted::Max => Statistic::Max,
            Wanted::Min => Statistic::Min,
            Wanted::Mean => Statistic::Mean,
            Wanted::First => Statistic::First,
            Wanted::Last => Statistic::Last,
            Wanted::Rate => Statistic::Rate,
            Wanted::Spread => Statistic::Spread,
            Wanted::TimeAbove { .. } => Statistic::TimeAbove,
        }
    }
}

/// How complete an interval must be before a figure is taken from it.
#[derive(Debug, Clone, PartialEq)]
pub struct Demands {
    /// The greatest share of the interval that may lie in gaps, from 0 to 1. A gap is longer than three usual steps.
    pub most_missing: f64,
    /// Times that the statistic needs; a gap longer than its `gap_s` is refused, however small its share.
    pub watch: WatchOptions,
}

impl Default for Demands {
    /// Two per cent at most, and no gap of more than 5 s.
    ///
    /// # Source
    ///
    /// Common practice, no source.
    fn default() -> Self {
        Self { most_missing: 0.02, watch: WatchOptions::default() }
    }
}

/// A figure and what it rests on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Taken {
    /// What it is.
    pub statistic: Statistic,
    /// The figure: in the channel's unit, for `rate` a second, for `time-above` in seconds.
    pub value: f64,
    /// When it was so; absent for what has no one moment.
    pub at: Option<Micros>,
    /// From how many readings, of all channels of the group.
    pub readings: usize,
    /// The share of the interval that lies in gaps, of the channel that lacks most; from 0 to 1.
    pub share_missing: f64,
}

/// Why there is no figure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, thiserror::Error)]
#[serde(tag = "why", rename_all = "kebab-case")]
pub enum NotTaken {
    /// The interval ends before it begins.
    #[error("the interval ends before it begins; give its beginning first")]
    NoInterval {},
    /// A channel has no reading in the interval.
    #[error("{channel} has no reading in the interval; choose another interval or recording")]
    NoReading {
        /// The channel; absent where no channel was given.
        channel: String,
    },
    /// A channel lacks too much of the interval.
    #[error(
        "{channel} lacks {:.1} % of the interval, and at most {:.1} % may be missing; choose an interval in which it is there",
        100.0 * share,
        100.0 * most
    )]
    TooMuchMissing {
        /// The channel.
        channel: String,
        /// The share that lies in gaps.
        share: f64,
        /// The share that may.
        most: f64,
    },
    /// A channel has a gap that is too long.
    #[error(
        "{channel} has no reading for {:.1} s, and at most {at_most_s} s may be without; choose an interval in which it is there",
        gap.seconds()
    )]
    Gap {
        /// The channel.
        channel: String,
        /// The gap.
        gap: Gap,
        /// How long one may be, in seconds.
        at_most_s: f64,
    },
    /// The readings are too few or too far apart for a rate, or those of a group are never there together.
    #[error(
        "the readings of {channel} are too few or too far apart for it; choose a longer interval"
    )]
    TooSparse {
        /// The channel.
        channel: String,
    },
}

/// Readings farther apart than this many usual steps have a gap between them.
const GAP_IN_STEPS: i64 = 3;

/// Takes a figure from an interval, both ends included. `group` is the channel with its code, and for a spread all channels
/// of the group.
///
/// # Errors
///
/// [`NotTaken`]: missing is never a pass, so where a channel lacks more than may be there is no figure.
pub fn take(
    wanted: Wanted,
    group: &[(&str, Series<'_>)],
    (from, to): (Micros, Micros),
    demands: &Demands,
) -> Result<Taken, NotTaken> {
    if to < from {
        return Err(NotTaken::NoInterval {});
    }
    let mut channels = Vec::with_capacity(group.len());
    let (mut readings, mut share_missing) = (0, 0.0_f64);
    for (code, series) in group {
        let part = Part::of(code, series.between(from, to), (from, to))?;
        part.check(wanted, demands)?;
        readings += part.readings.len();
        share_missing = share_missing.max(part.share_missing);
        channels.push(part);
    }
    let Some(first) = channels.first() else {
        return Err(NotTaken::NoReading { channel: String::new() });
    };
    let figure = figure(wanted, first, &channels, to, &demands.watch);
    let (at, value) =
        figure.ok_or_else(|| NotTaken::TooSparse { channel: first.code.to_owned() })?;
    Ok(Taken { statistic: wanted.statistic(), value, at, readings, share_missing })
}

/// The figure with its moment, if the readings are enough for it.
fn figure(
    wanted: Wanted,
    part: &Part<'_>,
    group: &[Part<'_>],
    to: Micros,
    watch: &WatchOptions,
) -> Option<(Option<Micros>, f64)> {
    let greatest = |readings: Vec<(Micros, f64)>| {
        // The first of several that are equally great.
        readings.into_iter().reduce(|a, b| if b.1 > a.1 { b } else { a })
    };
    let at = |(moment, value)| (Some(moment), value);
    match wanted {
        Wanted::Max => greatest(part.readings.clone()).map(at),
        Wanted::Min => {
            let least = part.readings.iter().copied();
            least.reduce(|a, b| if b.1 < a.1 { b } else { a }).map(at)
        }
        Wanted::Mean => mean_over_time(&part.readings).map(|mean| (None, mean)),
        Wanted::First => part.readings.first().copied().map(at),
        Wanted::Last => part.readings.last().copied().map(at),
        Wanted::Rate => {
            let rates = rates(part.series, watch).into_iter();
            greatest(rates.map(|(moment, rate)| (moment, rate.abs())).collect()).map(at)
        }
        Wanted::Spread => {
            let group: Vec<_> = group.iter().map(|part| part.series).collect();
            greatest(spreads(&group, watch)).map(at)
        }
        Wanted::TimeAbove { threshold } => {
            Some((None, seconds_above(part.readings.iter().copied(), threshold, to)))
        }
    }
}

/// The mean over time of readings joined by straight lines; of one reading that reading; absent of none.
///
/// # Source
///
/// Trapezoids: common practice, no source. Held against NumPy in `tests/reference`.
pub(crate) fn mean_over_time(readings: &[(Micros, f64)]) -> Option<f64> {
    let (first, last) = (readings.first()?, readings.last()?);
    let whole_s = last.0.seconds_since(first.0);
    if whole_s <= 0.0 {
        return Some(first.1);
    }
    // Reckoned from the first value, so that few digits are lost where all are alike.
    let area: f64 = readings
        .windows(2)
        .map(|pair| {
            let step_s = pair[1].0.seconds_since(pair[0].0);
            step_s * ((pair[0].1 - first.1) + (pair[1].1 - first.1)) / 2.0
        })
        .sum();
    Some(first.1 + area / whole_s)
}

/// One channel in the interval.
struct Part<'a> {
    code: &'a str,
    series: Series<'a>,
    readings: Vec<(Micros, f64)>,
    longest: Gap,
    /// From the beginning to the first reading, and from the last one to the end.
    at_ends: [Gap; 2],
    /// Longer than this, a time without reading is missing; in microseconds.
    gap: i64,
    share_missing: f64,
}

impl<'a> Part<'a> {
    fn of(
        code: &'a str,
        series: Series<'a>,
        (from, to): (Micros, Micros),
    ) -> Result<Self, NotTaken> {
        let readings: Vec<_> = series.present().collect();
        let (Some((first, _)), Some((last, _))) = (readings.first(), readings.last()) else {
            return Err(NotTaken::NoReading { channel: code.to_owned() });
        };
        let moments: Vec<Micros> = readings.iter().map(|(moment, _)| *moment).collect();
        let gap = usual_step(&moments).saturating_mul(GAP_IN_STEPS);
        let at_ends = [Gap { from, to: *first }, Gap { from: *last, to }];
        let inner = moments.windows(2).map(|pair| Gap { from: pair[0], to: pair[1] });
        let (mut missing, mut longest) = (0.0, at_ends[0]);
        for one in inner.chain(at_ends) {
            if one.to.0.saturating_sub(one.from.0) > gap {
                missing += one.seconds();
            }
            if one.seconds() > longest.seconds() {
                longest = one;
            }
        }
        let whole_s = to.seconds_since(from);
        let share_missing = if whole_s > 0.0 { missing / whole_s } else { 0.0 };
        Ok(Self { code, series, readings, longest, at_ends, gap, share_missing })
    }

    fn check(&self, wanted: Wanted, demands: &Demands) -> Result<(), NotTaken> {
        let channel = || self.code.to_owned();
        let too_long = |gap: Gap, at_most_s: f64| {
            let told = NotTaken::Gap { channel: channel(), gap, at_most_s };
            if gap.seconds() <= at_most_s { Ok(()) } else { Err(told) }
        };
        let [before, after] = self.at_ends;
        let step_s = Micros(self.gap).seconds_since(Micros(0)).min(demands.watch.gap_s);
        match wanted {
            // The value at an end is not one of somewhere in between.
            Wanted::First => return too_long(before, step_s),
            Wanted::Last => return too_long(after, step_s),
            Wanted::Max
            | Wanted::Min
            | Wanted::Mean
            | Wanted::Rate
            | Wanted::Spread
            | Wanted::TimeAbove { .. } => {}
        }
        too_long(self.longest, demands.watch.gap_s)?;
        if self.share_missing <= demands.most_missing {
            return Ok(());
        }
        let (share, most) = (self.share_missing, demands.most_missing);
        Err(NotTaken::TooMuchMissing { channel: channel(), share, most })
    }
}
