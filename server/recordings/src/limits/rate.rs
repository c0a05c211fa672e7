//! Rate: how fast a channel changes, up or down.

use super::Channel;
use super::bound::{Bound, Side, Watched};
use super::rule::WatchOptions;
use crate::{Micros, Series, Statistic};

/// Readings must span this share of the window before a slope is taken from them, so that the noise of two readings right
/// after one another is no rate.
const LEAST_SPAN_OF_WINDOW: f64 = 0.5;

/// Holds the channel's rate against a limit; a rate exactly at it is inside.
pub(super) fn watch(
    channel: &Channel<'_, '_>,
    caution_per_s: Option<f64>,
    limit_per_s: f64,
) -> Watched {
    let bound = Bound {
        statistic: Statistic::Rate,
        side: Side::AtMost,
        limit: limit_per_s,
        caution: caution_per_s,
        accuracy: None,
    };
    let rates = rates(channel.series, channel.options).into_iter();
    let sizes = rates.map(|(moment, rate)| (moment, rate.abs()));
    super::bound::watch(sizes, &bound, channel.span, channel.rule, channel.options)
}

/// How fast a channel changes at each of its readings, in its unit a second; rising is positive.
///
/// It is the slope of the straight line that fits best, by least squares, the readings of the last
/// [`WatchOptions::rate_window_s`] seconds. At 10 Hz and over the usual 2 s one wrong reading moves it by an eighth of its
/// error a second, where two neighbours would move it by ten times the error. Where those readings span less than half the
/// window, as those of a slow sensor do, the one before them is taken in as well, if it is no further away than
/// [`WatchOptions::gap_s`]; at the beginning of the recording and after a longer gap there is no rate until half a window
/// is past.
///
/// # Source
///
/// Slope of a line by least squares, `Σ (t − t̄)(y − ȳ) / Σ (t − t̄)²`: common practice, no source. Held against NumPy in
/// `tests/reference`.
pub fn rates(series: Series<'_>, options: &WatchOptions) -> Vec<(Micros, f64)> {
    let readings: Vec<(Micros, f64)> = series.present().collect();
    let mut rates = Vec::with_capacity(readings.len());
    let mut first = 0;
    let mut sums = Sums::default();
    for (last, (moment, _)) in readings.iter().enumerate() {
        while first < last && moment.seconds_since(readings[first].0) > options.rate_window_s {
            sums.leave(readings[first]);
            first += 1;
        }
        sums.enter(readings[last]);
        if sums.has_aged() {
            sums = Sums::of(&readings[first..=last]);
        }
        let long_enough = LEAST_SPAN_OF_WINDOW * options.rate_window_s;
        let slope = if moment.seconds_since(readings[first].0) >= long_enough {
            sums.slope()
        } else {
            first
                .checked_sub(1)
                .filter(|one| readings[first].0.seconds_since(readings[*one].0) <= options.gap_s)
                .and_then(|one| Sums::of(&readings[one..=last]).slope())
        };
        rates.extend(slope.map(|slope| (*moment, slope)));
    }
    rates
}

/// Sums over a moving window, reckoned from a reading near it, so that few digits are lost.
#[derive(Default)]
struct Sums {
    base: Option<(Micros, f64)>,
    entered: usize,
    count: usize,
    t: f64,
    y: f64,
    tt: f64,
    ty: f64,
}

impl Sums {
    fn of(readings: &[(Micros, f64)]) -> Self {
        let mut sums = Self::default();
        readings.iter().for_each(|reading| sums.enter(*reading));
        sums.entered = 0;
        sums
    }

    fn enter(&mut self, reading: (Micros, f64)) {
        self.base.get_or_insert(reading);
        self.entered += 1;
        self.count += 1;
        self.add(reading, 1.0);
    }

    fn leave(&mut self, reading: (Micros, f64)) {
        self.count -= 1;
        self.add(reading, -1.0);
    }

    fn add(&mut self, (moment, value): (Micros, f64), sign: f64) {
        let (base, level) = self.base.unwrap_or((moment, value));
        let (t, y) = (moment.seconds_since(base), value - level);
        self.t += sign * t;
        self.y += sign * y;
        self.tt += sign * t * t;
        self.ty += sign * t * y;
    }

    /// Whether as many readings have entered as the window holds: then the sums are made anew, which keeps the rounding of
    /// those that came and went from piling up and costs no more than one pass in all.
    const fn has_aged(&self) -> bool {
        self.entered > self.count
    }

    fn slope(&self) -> Option<f64> {
        let n = self.count as f64;
        let spread = n * self.tt - self.t * self.t;
        (self.count > 1 && spread > 0.0).then(|| (n * self.ty - self.t * self.y) / spread)
    }
}
