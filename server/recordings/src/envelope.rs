//! What a plot needs of a channel, however long the recording, without losing an excursion.

use serde::{Deserialize, Serialize};

use crate::{Micros, Series};

/// No plot gets more points than this.
pub const MOST_POINTS: usize = 2_000;

/// One reading of a plot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Point {
    /// When it was read.
    pub at: Micros,
    /// What was read.
    pub value: f64,
    /// Whether there is a gap between the point before and this one: no line joins them.
    pub after_gap: bool,
}

/// A channel from one moment to another, both included, as at most `most` points (and never more than [`MOST_POINTS`]).
///
/// Every point is a reading at its true moment. Where there are more readings than points, time is cut into equal parts, and
/// of each the first smallest and the first greatest reading are kept; so are the first and the last reading of all. So a
/// threshold that any reading passes is passed by a point, and the other way round. Two readings farther apart than `gap_s`
/// seconds have a gap between them; of several gaps between two points one is told.
pub fn envelope(
    series: Series<'_>,
    from: Micros,
    to: Micros,
    most: usize,
    gap_s: f64,
) -> Vec<Point> {
    let most = most.clamp(4, MOST_POINTS);
    let part = series.between(from, to);
    let mut points = Points { kept: Vec::new(), before: None, gap_s };
    let readings = part.present().count();
    if readings <= most {
        for reading in part.present() {
            let gap = points.gap_before(reading);
            points.keep(gap, reading);
        }
        return points.kept;
    }
    let (Some(first), Some(last)) = (part.present().next(), part.present().next_back()) else {
        return points.kept;
    };
    // Two points a part, and the first and last of all.
    let parts = (most - 2) / 2;
    let width = (last.0.0.saturating_sub(first.0.0) / parts as i64).saturating_add(1);
    let mut open = Part::default();
    let mut number = 0;
    for reading in part.present() {
        let its = reading.0.0.saturating_sub(first.0.0) / width;
        if its != number {
            let gap = std::mem::take(&mut open).close(&mut points);
            open.gaps = usize::from(gap);
            number = its;
        }
        let gap = points.gap_before(reading);
        open.take(reading, gap, reading.0 == first.0 || reading.0 == last.0);
    }
    open.close(&mut points);
    points.kept
}

/// Points kept so far.
struct Points {
    kept: Vec<Point>,
    /// The moment of the reading before, kept or not.
    before: Option<Micros>,
    gap_s: f64,
}

impl Points {
    /// Whether there is a gap before a reading; takes note of the reading.
    fn gap_before(&mut self, (at, _): (Micros, f64)) -> bool {
        self.before.replace(at).is_some_and(|before| at.seconds_since(before) > self.gap_s)
    }

    fn keep(&mut self, after_gap: bool, (at, value): (Micros, f64)) {
        self.kept.push(Point { at, value, after_gap });
    }
}

/// One part of the time.
#[derive(Default)]
struct Part {
    /// Each reading with the number of gaps in the part before it.
    smallest: Option<(usize, (Micros, f64))>,
    greatest: Option<(usize, (Micros, f64))>,
    /// The first and the last reading of all, where they are in this part.
    ends: Vec<(usize, (Micros, f64))>,
    gaps: usize,
}

impl Part {
    fn take(&mut self, reading: (Micros, f64), gap: bool, end: bool) {
        self.gaps += usize::from(gap);
        let noted = (self.gaps, reading);
        if self.smallest.is_none_or(|(_, (_, value))| reading.1 < value) {
            self.smallest = Some(noted);
        }
        if self.greatest.is_none_or(|(_, (_, value))| reading.1 > value) {
            self.greatest = Some(noted);
        }
        if end {
            self.ends.push(noted);
        }
    }

    /// Keeps what is to be kept; gives whether a gap came after the last of it.
    fn close(self, points: &mut Points) -> bool {
        let mut kept: Vec<_> =
            self.smallest.into_iter().chain(self.greatest).chain(self.ends).collect();
        kept.sort_by_key(|(_, (at, _))| *at);
        kept.dedup_by_key(|(_, (at, _))| *at);
        let mut told = 0;
        for (gaps, reading) in kept {
            points.keep(gaps > told, reading);
            told = gaps;
        }
        self.gaps > told
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Rows at 10 Hz, those that are NaN left out of the file.
    fn rows(values: &[f64]) -> (Vec<Micros>, Vec<f64>) {
        let rows = (0_i64..).zip(values).filter(|(_, value)| !value.is_nan());
        rows.map(|(row, value)| (Micros(row * 100_000), *value)).unzip()
    }

    fn all(times: &[Micros], values: &[f64], most: usize) -> Vec<Point> {
        let (from, to) = (Micros(i64::MIN), Micros(i64::MAX));
        envelope(Series { times, values }, from, to, most, 0.25)
    }

    #[test]
    fn one_reading_out_of_a_million_that_stands_out_is_in_the_plot_at_its_moment() {
        let mut values: Vec<f64> = (0..1_000_000).map(|row| f64::from(row % 7)).collect();
        values[777_777] = 99.0;
        let (times, values) = rows(&values);
        let points = all(&times, &values, 5_000);
        assert!(points.len() <= MOST_POINTS && points.len() > 1_900, "{}", points.len());
        let highest = points.iter().find(|point| point.value == 99.0);
        assert_eq!(highest.map(|point| point.at), Some(Micros(77_777_700_000)));
        assert!(points.iter().all(|point| !point.after_gap));
        assert_eq!((points[0].at, points[points.len() - 1].at), (times[0], times[999_999]));
    }

    #[test]
    fn a_gap_is_told_also_where_it_lies_between_readings_that_are_not_kept() {
        let mut values = vec![1.0; 10_000];
        values[5_000..5_010].fill(f64::NAN);
        let (times, values) = rows(&values);
        for most in [10, 50, 2_000] {
            let points = all(&times, &values, most);
            assert_eq!(points.iter().filter(|point| point.after_gap).count(), 1, "{most}");
        }
    }

    #[test]
    fn few_readings_are_all_kept_and_only_those_of_the_window() {
        let times: Vec<_> = (0..10).map(Micros).collect();
        let series = Series { times: &times, values: &[1.0; 10] };
        let points = envelope(series, Micros(2), Micros(4), 100, 1.0);
        assert_eq!(points.iter().map(|point| point.at.0).collect::<Vec<_>>(), [2, 3, 4]);
        assert!(envelope(series, Micros(20), Micros(40), 100, 1.0).is_empty());
    }

    proptest! {
        #[test]
        fn a_threshold_is_passed_by_a_point_exactly_where_a_reading_passes_it(
            values in prop::collection::vec(
                prop_oneof![6 => -10.0..10.0_f64, 1 => Just(f64::NAN)], 0..600),
            most in 4..60_usize,
            threshold in -11.0..11.0_f64,
        ) {
            let (times, present) = rows(&values);
            let points = all(&times, &present, most);
            prop_assert!(points.len() <= most);
            prop_assert!(points.windows(2).all(|pair| pair[0].at < pair[1].at));
            let of_points = || points.iter().map(|point| point.value);
            prop_assert_eq!(of_points().any(|it| it > threshold), present.iter().any(|it| *it > threshold));
            prop_assert_eq!(of_points().any(|it| it < threshold), present.iter().any(|it| *it < threshold));
            for point in &points {
                let row = times.binary_search(&point.at);
                prop_assert!(row.is_ok_and(|row| present[row] == point.value), "a true reading");
            }
            let gap = times.windows(2).any(|pair| pair[1].0 - pair[0].0 > 250_000);
            prop_assert_eq!(points.iter().any(|point| point.after_gap), gap);
        }
    }
}
