//! Many channels in bins of equal time: mean, smallest and greatest of each.

use std::ops::Range;

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use crate::Micros;

/// One channel's figures, a bin each; NaN where the channel has no reading in the bin.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct BinnedChannel {
    /// How many readings.
    pub readings: Vec<u32>,
    /// Their mean; each reading counts the same.
    pub mean: Vec<f64>,
    /// The smallest.
    pub min: Vec<f64>,
    /// The greatest.
    pub max: Vec<f64>,
}

/// Channels in bins.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Bins {
    /// Where each bin begins; bins without any row are left out.
    pub starts: Vec<Micros>,
    /// The channels, in the order given.
    pub channels: Vec<BinnedChannel>,
}

/// The rows from one moment to another, both included, as places in columns.
pub fn rows_between(times: &[Micros], from: Micros, to: Micros) -> Range<usize> {
    let first = times.partition_point(|time| *time < from);
    first..times.partition_point(|time| *time <= to).max(first)
}

/// Puts the rows of a window into bins so many microseconds wide, which begin at whole multiples of that width since 1970.
/// A bin holds its beginning and not its end. Moments rise; columns are as long as `times`, and what a shorter one lacks is
/// missing. A width below one microsecond is taken as one.
pub fn bins(times: &[Micros], columns: &[&[f64]], rows: Range<usize>, width_micros: i64) -> Bins {
    let rows = rows.start.min(times.len())..rows.end.min(times.len());
    let mut edges = Edges::of_width(width_micros);
    edges.take(&times[rows.clone()]);
    let channels = columns.par_iter().map(|column| {
        let mut filling = Filling::of(&edges);
        filling.take(column.get(rows.clone()).or(column.get(rows.start..)).unwrap_or_default());
        filling.finish()
    });
    let channels = channels.collect();
    Bins { starts: edges.starts, channels }
}

/// Where bins begin, and which rows are theirs: worked out once for all channels.
pub(crate) struct Edges {
    width: i64,
    /// The beginning of every bin that has rows.
    pub starts: Vec<Micros>,
    /// The row after its last one; the first row is 0.
    ends: Vec<usize>,
}

impl Edges {
    /// A width below one microsecond is taken as one.
    pub fn of_width(width_micros: i64) -> Self {
        Self { width: width_micros.max(1), starts: Vec::new(), ends: Vec::new() }
    }

    /// The rows so far.
    pub fn rows(&self) -> usize {
        self.ends.last().copied().unwrap_or_default()
    }

    /// Takes the moments of the next rows, which are later than those before.
    pub fn take(&mut self, times: &[Micros]) {
        let before = self.rows();
        let mut next = 0;
        while let Some(first) = times.get(next) {
            let start = first.0.div_euclid(self.width).saturating_mul(self.width);
            let end = start.saturating_add(self.width);
            let inside = |time: &Micros| time.0 < end;
            // At least the row itself is inside, also at the end of all time.
            next += next_run(&times[next..], inside).max(1);
            match (self.starts.last(), self.ends.last_mut()) {
                (Some(last), Some(of_last)) if last.0 == start => *of_last = before + next,
                _ => {
                    self.starts.push(Micros(start));
                    self.ends.push(before + next);
                }
            }
        }
    }
}

/// How many rows from the first on are inside: looked for in growing steps, for bins are short beside a recording.
fn next_run(times: &[Micros], inside: impl Fn(&Micros) -> bool) -> usize {
    let mut reach = 8;
    while times.get(reach).is_some_and(&inside) {
        reach *= 2;
    }
    times[..times.len().min(reach + 1)].partition_point(inside)
}

/// The bins of one channel while its readings come, piece by piece.
pub(crate) struct Filling<'a> {
    ends: &'a [usize],
    /// The next row.
    row: usize,
    /// What is known of the bin that is not full yet.
    open: Bin,
    binned: BinnedChannel,
}

impl<'a> Filling<'a> {
    pub fn of(edges: &'a Edges) -> Self {
        let room = edges.ends.len();
        let binned = BinnedChannel {
            readings: Vec::with_capacity(room),
            mean: Vec::with_capacity(room),
            min: Vec::with_capacity(room),
            max: Vec::with_capacity(room),
        };
        Self { ends: &edges.ends, row: 0, open: Bin::NONE, binned }
    }

    /// Takes the readings of the next rows; NaN is missing.
    pub fn take(&mut self, mut values: &[f64]) {
        while let Some(end) = self.ends.get(self.binned.mean.len()) {
            let Some((of_bin, behind)) = values.split_at_checked(end - self.row) else {
                break;
            };
            self.row = *end;
            values = behind;
            let full = std::mem::replace(&mut self.open, Bin::NONE).and(Bin::of(of_bin));
            self.close(&full);
        }
        self.row += values.len();
        let open = std::mem::replace(&mut self.open, Bin::NONE);
        self.open = open.and(Bin::of(values));
    }

    /// The figures; rows that did not come are missing.
    pub fn finish(mut self) -> BinnedChannel {
        while self.binned.mean.len() < self.ends.len() {
            let last = std::mem::replace(&mut self.open, Bin::NONE);
            self.close(&last);
        }
        self.binned
    }

    fn close(&mut self, bin: &Bin) {
        let known = |figure| if bin.count == 0.0 { f64::NAN } else { figure };
        // A bin never has more rows than a recording, and those are counted far below 2^32 a second.
        self.binned.readings.push(bin.count as u32);
        self.binned.mean.push(known(bin.sum / bin.count));
        self.binned.min.push(known(bin.min));
        self.binned.max.push(known(bin.max));
    }
}

/// Sums of one bin, of figures that are not NaN.
struct Bin {
    count: f64,
    sum: f64,
    min: f64,
    max: f64,
}

impl Bin {
    const NONE: Self = Self { count: 0.0, sum: 0.0, min: f64::INFINITY, max: f64::NEG_INFINITY };

    fn of(values: &[f64]) -> Self {
        let whole = Self::of_present(values);
        // Any reading that is missing makes the sum NaN; then they are gone through one by one.
        if whole.sum.is_nan() { Self::of_some(values) } else { whole }
    }

    /// Both together.
    fn and(self, other: Self) -> Self {
        Self {
            count: self.count + other.count,
            sum: self.sum + other.sum,
            min: self.min.min(other.min),
            max: self.max.max(other.max),
        }
    }

    /// As if all were there: sums side by side and no branch, so that the compiler can use vectors.
    fn of_present(values: &[f64]) -> Self {
        const LANES: usize = 4;
        let mut sum = [0.0; LANES];
        let mut min = [f64::INFINITY; LANES];
        let mut max = [f64::NEG_INFINITY; LANES];
        let mut take = |lane: usize, value: f64| {
            sum[lane] += value;
            min[lane] = if value < min[lane] { value } else { min[lane] };
            max[lane] = if value > max[lane] { value } else { max[lane] };
        };
        let (whole, rest) = values.as_chunks::<LANES>();
        for chunk in whole {
            for (lane, value) in chunk.iter().enumerate() {
                take(lane, *value);
            }
        }
        for (lane, value) in rest.iter().enumerate() {
            take(lane, *value);
        }
        Self {
            count: values.len() as f64,
            sum: (sum[0] + sum[1]) + (sum[2] + sum[3]),
            min: min.into_iter().fold(f64::INFINITY, f64::min),
            max: max.into_iter().fold(f64::NEG_INFINITY, f64::max),
        }
    }

    /// Only those that are there.
    fn of_some(values: &[f64]) -> Self {
        values.iter().filter(|value| !value.is_nan()).fold(Self::NONE, |bin, value| Self {
            count: bin.count + 1.0,
            sum: bin.sum + value,
            min: bin.min.min(*value),
            max: bin.max.max(*value),
        })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const SECOND: i64 = 1_000_000;

    #[test]
    fn a_reading_at_the_end_of_a_bin_is_in_the_next_one_and_missing_ones_do_not_count() {
        let times = [-1, 0, 999_999, 1_000_000, 5_000_000].map(Micros);
        let column = [9.0, 1.0, 2.0, f64::NAN, 7.0];
        let bins = bins(&times, &[&column], 0..5, SECOND);
        assert_eq!(bins.starts, [-SECOND, 0, SECOND, 5 * SECOND].map(Micros));
        assert_eq!(bins.channels[0].readings, [1, 2, 0, 1]);
        assert_eq!(bins.channels[0].mean[1], 1.5);
        assert!(bins.channels[0].mean[2].is_nan() && bins.channels[0].max[2].is_nan());
        assert_eq!((bins.channels[0].min[1], bins.channels[0].max[1]), (1.0, 2.0));
    }

    #[test]
    fn a_column_that_is_too_short_is_missing_and_a_window_beyond_the_rows_is_empty() {
        let times = [0, 1, 2].map(Micros);
        let short = bins(&times, &[&[4.0], &[]], 0..3, SECOND);
        assert_eq!((short.channels[0].readings[0], short.channels[1].readings[0]), (1, 0));
        let (from, to) = (rows_between(&times, Micros(5), Micros(9)), 7..9);
        assert!(bins(&times, &[&[4.0]], from, SECOND).starts.is_empty());
        assert!(bins(&times, &[&[4.0]], to, SECOND).starts.is_empty());
    }

    proptest! {
        #[test]
        fn bins_of_a_recording_cut_at_bins_are_those_of_the_whole(
            steps in prop::collection::vec((1..700_000_i64, prop_oneof![4 => -1e3..1e3_f64, 1 => Just(f64::NAN)]), 1..200),
            cut in 0..200_usize,
        ) {
            let mut now = -20_000_000;
            let (times, values): (Vec<_>, Vec<_>) = steps.into_iter().map(|(step, value)| {
                now += step;
                (Micros(now), value)
            }).unzip();
            let whole = bins(&times, &[&values], 0..times.len(), SECOND);
            for (place, start) in whole.starts.iter().enumerate() {
                let rows = rows_between(&times, *start, Micros(start.0 + SECOND - 1));
                let present: Vec<f64> = values[rows].iter().copied().filter(|it| !it.is_nan()).collect();
                let channel = &whole.channels[0];
                prop_assert_eq!(channel.readings[place] as usize, present.len());
                if present.is_empty() { continue; }
                let mean = present.iter().sum::<f64>() / present.len() as f64;
                prop_assert!((channel.mean[place] - mean).abs() < 1e-9);
                prop_assert_eq!(channel.max[place], present.iter().copied().fold(f64::MIN, f64::max));
                prop_assert_eq!(channel.min[place], present.iter().copied().fold(f64::MAX, f64::min));
            }
            let start = whole.starts[cut % whole.starts.len()];
            let middle = times.partition_point(|time| *time < start);
            let (before, after) = (
                bins(&times, &[&values], 0..middle, SECOND),
                bins(&times, &[&values], middle..times.len(), SECOND),
            );
            prop_assert_eq!([before.starts, after.starts].concat(), whole.starts.clone());
            let max = |bins: &Bins| bins.channels[0].max.iter().map(|it| it.to_bits()).collect::<Vec<_>>();
            let of_parts = [before.channels, after.channels].map(|channels| Bins { starts: vec![], channels });
            prop_assert_eq!(of_parts.iter().flat_map(&max).collect::<Vec<_>>(), max(&whole));
        }
    }
}
