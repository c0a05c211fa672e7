//! Stretches of an interval in which what the pilot holds was held.

use std::collections::{BTreeMap, VecDeque};

use flight_science::least_squares::fit_line;
use serde::Serialize;

use super::Interval;
use super::recorded::{Present, Recorded};
use crate::Micros;

/// A stretch that a reduction used, with what was read in it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stretch {
    /// Its beginning.
    pub from: Micros,
    /// Its end, which is in it.
    pub to: Micros,
    /// What was read in it; each name ends in its unit.
    pub figures: BTreeMap<&'static str, f64>,
}

impl Stretch {
    pub(super) fn with<const N: usize>(over: Interval, figures: [(&'static str, f64); N]) -> Self {
        Self { from: over.from, to: over.to, figures: BTreeMap::from(figures) }
    }
}

/// A quantity that is to be held.
pub(super) struct Held<'v> {
    /// One value for each moment.
    pub values: &'v [f64],
    /// So far it may be from the stretch's median, to either side.
    pub tolerance: f64,
}

/// What counts as a stretch.
#[derive(Debug, Clone, Copy)]
pub(super) struct Wanted {
    /// It lasts at least so long, in seconds, after `settle_s` has been cut.
    pub shortest_s: f64,
    /// So much is cut at either end, in seconds.
    pub settle_s: f64,
    /// No two moments of it are farther apart, in seconds.
    pub gap_s: f64,
}

/// Moments at which several channels have values, and those values.
pub(super) struct Rows<const N: usize> {
    pub times: Vec<Micros>,
    pub columns: [Vec<f64>; N],
}

impl<const N: usize> Rows<N> {
    /// The moments of the first channel at which the others have values too, read or between two readings.
    pub fn of(leading: &Present, others: [&Present; N]) -> Self {
        let mut rows = Self { times: Vec::new(), columns: std::array::from_fn(|_| Vec::new()) };
        for time in &leading.times {
            let row = others.map(|other| other.at(*time));
            if row.iter().any(Option::is_none) {
                continue;
            }
            rows.times.push(*time);
            for (column, value) in rows.columns.iter_mut().zip(row) {
                column.extend(value);
            }
        }
        rows
    }
}

/// The longest stretches in which all quantities stay within their tolerance of their medians, in the order of time.
///
/// A stretch is widened moment by moment until a quantity's greatest and least value are more than two tolerances apart;
/// then its ends are cut to where every quantity is within one tolerance of its median, and by the time to settle.
pub(super) fn steady(times: &[Micros], held: &[Held<'_>], wanted: Wanted) -> Vec<Interval> {
    let mut found = Vec::new();
    let mut ranges: Vec<Range> = held.iter().map(|_| Range::default()).collect();
    let (mut start, mut previous) = (0, None);
    for (next, time) in times.iter().enumerate() {
        let gap = previous.is_some_and(|earlier| time.seconds_since(earlier) > wanted.gap_s);
        previous = Some(*time);
        for (range, held) in ranges.iter_mut().zip(held) {
            range.take(next, held.values);
        }
        let mut apart = gap;
        while start < next
            && (apart
                || ranges.iter().zip(held).any(|(range, held)| {
                    let spread = range.spread(held.values);
                    // What is not a number is never held.
                    spread.is_nan() || spread > 2.0 * held.tolerance
                }))
        {
            match cut(times, held, wanted, start, next) {
                Some(stretch) => {
                    found.push(stretch);
                    start = next;
                }
                None if apart => start = next,
                None => start += 1,
            }
            apart = false;
            ranges.iter_mut().for_each(|range| range.forget_before(start));
        }
    }
    found.extend(cut(times, held, wanted, start, times.len()));
    found
}

/// The part of the moments from `start` up to, not including, `end` that counts as a stretch.
fn cut(
    times: &[Micros],
    held: &[Held<'_>],
    wanted: Wanted,
    start: usize,
    end: usize,
) -> Option<Interval> {
    let part = times.get(start..end)?;
    let lasts_s = |from: &Micros, to: &Micros| to.seconds_since(*from);
    if lasts_s(part.first()?, part.last()?) < wanted.shortest_s + 2.0 * wanted.settle_s {
        return None;
    }
    let medians: Option<Vec<f64>> =
        held.iter().map(|held| median(held.values.get(start..end)?)).collect();
    let medians = medians?;
    let is_held = |place: &usize| {
        held.iter().zip(&medians).all(|(held, median)| {
            held.values.get(*place).is_some_and(|value| (value - median).abs() <= held.tolerance)
        })
    };
    let first = (start..end).find(is_held)?;
    let last = (start..end).rev().find(is_held)?;
    let settle = Micros::from_seconds(wanted.settle_s);
    let from = Micros(times.get(first)?.0.saturating_add(settle.0));
    let to = Micros(times.get(last)?.0.saturating_sub(settle.0));
    (lasts_s(&from, &to) >= wanted.shortest_s).then_some(Interval { from, to })
}

/// The middle value; the lower of two middle ones.
pub(super) fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    let middle = sorted.len().checked_sub(1)? / 2;
    let (_, median, _) = sorted.select_nth_unstable_by(middle, f64::total_cmp);
    Some(*median)
}

/// The greatest and the least of the values in a window that moves on.
#[derive(Default)]
struct Range {
    /// Places of values that fall, the greatest first.
    greatest: VecDeque<usize>,
    /// Places of values that rise, the least first.
    least: VecDeque<usize>,
}

impl Range {
    fn take(&mut self, place: usize, values: &[f64]) {
        let value = |place: usize| values.get(place).copied().unwrap_or(f64::NAN);
        let new = value(place);
        while self.greatest.back().is_some_and(|last| value(*last) <= new) {
            self.greatest.pop_back();
        }
        self.greatest.push_back(place);
        while self.least.back().is_some_and(|last| value(*last) >= new) {
            self.least.pop_back();
        }
        self.least.push_back(place);
    }

    fn forget_before(&mut self, start: usize) {
        for places in [&mut self.greatest, &mut self.least] {
            while places.front().is_some_and(|place| *place < start) {
                places.pop_front();
            }
        }
    }

    fn spread(&self, values: &[f64]) -> f64 {
        let value = |place: Option<&usize>| {
            place.and_then(|place| values.get(*place)).copied().unwrap_or(f64::NAN)
        };
        value(self.greatest.front()) - value(self.least.front())
    }
}

/// How fast values change at each moment, per second: the slope of the straight line through all values within half the
/// width to either side. NaN where they do not span half the width, as at the ends, or leave a gap.
pub(super) fn rates(times: &[Micros], values: &[f64], width_s: f64, gap_s: f64) -> Vec<f64> {
    let Some(origin) = times.first() else { return Vec::new() };
    // Values about the first one, so that the sums keep their digits.
    let base = values.first().copied().unwrap_or(0.0);
    let rows: Vec<(f64, f64)> = times
        .iter()
        .zip(values)
        .map(|(time, value)| (time.seconds_since(*origin), value - base))
        .collect();
    let mut sums = Sums::default();
    let (mut first, mut end) = (0, 0);
    let mut last_gap_s = f64::NEG_INFINITY;
    let mut rates = Vec::with_capacity(rows.len());
    for (middle_s, _) in &rows {
        while let Some((t_s, value)) =
            rows.get(end).filter(|(t_s, _)| *t_s <= middle_s + width_s / 2.0)
        {
            if let Some((before_s, _)) = end.checked_sub(1).and_then(|before| rows.get(before))
                && t_s - before_s > gap_s
            {
                last_gap_s = *before_s;
            }
            sums.change(*t_s, *value, 1.0);
            end += 1;
        }
        while let Some((t_s, value)) =
            rows.get(first).filter(|(t_s, _)| *t_s < middle_s - width_s / 2.0)
        {
            sums.change(*t_s, *value, -1.0);
            first += 1;
        }
        let spans_s = match (rows.get(first), end.checked_sub(1).and_then(|last| rows.get(last))) {
            (Some((from_s, _)), Some((to_s, _))) if last_gap_s < *from_s => to_s - from_s,
            _ => 0.0,
        };
        rates.push(if spans_s >= width_s / 2.0 { sums.slope() } else { f64::NAN });
    }
    rates
}

#[derive(Default)]
struct Sums {
    n: f64,
    t: f64,
    y: f64,
    tt: f64,
    ty: f64,
}

impl Sums {
    fn change(&mut self, t: f64, y: f64, by: f64) {
        self.n += by;
        self.t += by * t;
        self.y += by * y;
        self.tt += by * t * t;
        self.ty += by * t * y;
    }

    fn slope(&self) -> f64 {
        (self.n * self.ty - self.t * self.y) / (self.n * self.tt - self.t * self.t)
    }
}

/// The straight line through the values of a stretch by least squares.
#[derive(Debug, Clone, Copy)]
pub(super) struct Line {
    /// Change of the value for each second.
    pub per_s: f64,
    /// Standard deviation of the values about the line; absent for two values.
    pub residual_sd: Option<f64>,
}

/// Fits a straight line over time to a part's values in a stretch; absent where they do not determine one.
pub(super) fn line(recorded: &Recorded<'_>, present: &Present, over: Interval) -> Option<Line> {
    let middle_s = 0.5 * (recorded.seconds(over.from) + recorded.seconds(over.to));
    let times: Vec<f64> =
        present.times_within(over).iter().map(|time| recorded.seconds(*time) - middle_s).collect();
    let fit = fit_line(&times, present.within(over)).ok()?;
    Some(Line { per_s: *fit.parameters.get(1)?, residual_sd: fit.residual_sd() })
}
