//! When one component would reach its limit if it went on heating as it did.

use flight_science::least_squares::{Fit, fit_line};
use flight_science::thermal_fit::{
    BetweenSamples, CONFIDENCE, ThermalCase, ThermalFit, ThermalSample, fit_thermal,
};
use serde::{Deserialize, Serialize};

use crate::Micros;

/// Fewer readings are too few.
const FEWEST_READINGS: usize = 10;

/// Readings must lie in this share of the stretch at least: a longer time without reading is too long.
const LONGEST_WITHOUT: f64 = 0.2;

/// More readings than this are thinned for the fit of the curve: every so-manyth is taken. It bounds the work, and readings
/// so close together tell nothing new of a curve.
const MOST_FITTED: usize = 400;

/// How far ahead the upper end of an interval is looked for, in time constants; then the temperature has settled.
const SETTLED_IN_TIME_CONSTANTS: f64 = 10.0;

/// How finely it is looked for.
const STEPS_AHEAD: u32 = 500;

/// How a time was worked out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Method {
    /// The limit was reached in the stretch.
    Reached,
    /// A straight line through the readings: sooner than a curve that flattens.
    Line,
    /// A curve that settles, as one lump with steady heating and cooling does.
    Curve,
}

/// Why a time is not known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Unknown {
    /// The channel is not there, or has no reading in the stretch.
    NoReading,
    /// There are too few readings, or too long a time without.
    TooSparse,
    /// The readings allow no line, or the limit is no number.
    NoFit,
}

/// When a component would reach its limit, counted from the end of the stretch.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "outcome", rename_all = "kebab-case")]
pub enum TimeToLimit {
    /// It would.
    Reaches {
        /// After so many seconds; 0 where it did already.
        seconds: f64,
        /// The earliest, with 95 % confidence.
        low_s: f64,
        /// The latest; absent: it may never.
        high_s: Option<f64>,
        /// How it was worked out.
        method: Method,
    },
    /// It would not: it cools, stands still, or settles below.
    Never {
        /// The earliest, with 95 % confidence, if that end of the interval says that it would.
        low_s: Option<f64>,
        /// How it was worked out.
        method: Method,
    },
    /// It is not known.
    Unknown {
        /// Why.
        why: Unknown,
    },
}

/// A time with its interval, in seconds; infinite is never.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Interval {
    pub(super) seconds: f64,
    pub(super) low_s: f64,
    pub(super) high_s: f64,
}

impl Interval {
    /// What comes after so many seconds never comes.
    pub(super) fn within(self, horizon_s: f64) -> Self {
        let or_never = |seconds: f64| if seconds <= horizon_s { seconds } else { f64::INFINITY };
        Self {
            seconds: or_never(self.seconds),
            low_s: or_never(self.low_s),
            high_s: or_never(self.high_s),
        }
    }
}

impl TimeToLimit {
    /// The time with its interval; absent where it is not known.
    pub(super) fn interval(&self) -> Option<Interval> {
        let or_never = |seconds: Option<f64>| seconds.unwrap_or(f64::INFINITY);
        match *self {
            Self::Reaches { seconds, low_s, high_s, .. } => {
                Some(Interval { seconds, low_s, high_s: or_never(high_s) })
            }
            Self::Never { low_s, .. } => Some(Interval {
                seconds: f64::INFINITY,
                low_s: or_never(low_s),
                high_s: f64::INFINITY,
            }),
            Self::Unknown { .. } => None,
        }
    }

    fn of(seconds: Option<f64>, low_s: Option<f64>, high_s: Option<f64>, method: Method) -> Self {
        match seconds {
            // An interval holds its own middle, whatever rounding says.
            Some(seconds) => Self::Reaches {
                seconds,
                low_s: low_s.map_or(seconds, |low| low.min(seconds)),
                high_s: high_s.map(|high| high.max(seconds)),
                method,
            },
            None => Self::Never { low_s, method },
        }
    }
}

/// Works out the time from readings of a stretch in order of time.
///
/// A component that heats is fitted by a curve that settles, and where the readings do not show one by a straight line. One
/// that does not heat is judged by the line.
///
/// # Source
///
/// The curve is the reduction `thermal-fit` with constant power; the line is ordinary least squares. That the end of a
/// stretch says how heating goes on is common practice, no source; both ends are extrapolations.
pub(super) fn time_to_limit(
    readings: &[(Micros, f64)],
    limit: f64,
    (from, to): (Micros, Micros),
) -> TimeToLimit {
    if readings.is_empty() {
        return TimeToLimit::Unknown { why: Unknown::NoReading };
    }
    if readings.iter().any(|(_, value)| *value >= limit) {
        return TimeToLimit::of(Some(0.0), Some(0.0), Some(0.0), Method::Reached);
    }
    if readings.len() < FEWEST_READINGS || longest_without(readings, (from, to)) > LONGEST_WITHOUT {
        return TimeToLimit::Unknown { why: Unknown::TooSparse };
    }
    let t: Vec<f64> = readings.iter().map(|(moment, _)| moment.seconds_since(to)).collect();
    let y: Vec<f64> = readings.iter().map(|(_, value)| *value).collect();
    let line = match fit_line(&t, &y) {
        Ok(line) if limit.is_finite() => line,
        Ok(_) | Err(_) => return TimeToLimit::Unknown { why: Unknown::NoFit },
    };
    let heats = line.parameters[1] > 0.0;
    let curve = if heats { curve(&t, &y, limit) } else { None };
    curve.unwrap_or_else(|| by_line(&line, limit))
}

/// The longest time without reading, as a share of the stretch.
fn longest_without(readings: &[(Micros, f64)], (from, to): (Micros, Micros)) -> f64 {
    let mut before = from;
    let mut longest_s = 0.0_f64;
    for moment in readings.iter().map(|(moment, _)| *moment).chain([to]) {
        longest_s = longest_s.max(moment.seconds_since(before));
        before = moment;
    }
    longest_s / to.seconds_since(from)
}

/// `y = level + slope t` with `t = 0` at the end of the stretch.
fn by_line(line: &Fit, limit: f64) -> TimeToLimit {
    let (level, slope) = (line.parameters[0], line.parameters[1]);
    let level_width = line.confidence_half_width(&[1.0, 0.0], CONFIDENCE).unwrap_or(0.0);
    let slope_width = line.confidence_half_width(&[0.0, 1.0], CONFIDENCE).unwrap_or(0.0);
    let after = |level: f64, slope: f64| {
        if level >= limit {
            Some(0.0)
        } else {
            Some((limit - level) / slope).filter(|seconds| slope > 0.0 && seconds.is_finite())
        }
    };
    TimeToLimit::of(
        after(level, slope),
        after(level + level_width, slope + slope_width),
        after(level - level_width, slope - slope_width),
        Method::Line,
    )
}

/// By the curve that settles, if the readings show its time constant.
fn curve(t: &[f64], y: &[f64], limit: f64) -> Option<TimeToLimit> {
    let every = t.len().div_ceil(MOST_FITTED);
    // With constant power only its product with the rise counts, so that one kilowatt over the coldest reading will do.
    let coldest = y.iter().copied().fold(f64::INFINITY, f64::min);
    let sample = |(t_s, temperature_c): (&f64, &f64)| ThermalSample {
        t_s: *t_s,
        temperature_c: *temperature_c,
        ambient_c: coldest,
        power_kw: 1.0,
    };
    let samples: Vec<_> = t.iter().zip(y).rev().step_by(every).map(sample).collect();
    let samples: Vec<_> = samples.into_iter().rev().collect();
    let fit = fit_thermal(&samples, BetweenSamples::Held).ok()?;
    let last_s = samples.last()?.t_s;
    let at_end = |duration_s, start_c| ThermalCase {
        power_kw: 1.0,
        duration_s,
        start_c,
        ambient_c: coldest,
    };
    let recorded = at_end(last_s - samples.first()?.t_s, fit.parameters.start_c);
    let now = at_end(0.0, fit.predict(&recorded)?.temperature_c);
    let seconds = fit.time_to_limit_s(&now, limit);
    let earliest_s = fit.earliest_time_to_limit_s(&now, limit);
    // Counted from the end of the stretch, to which `t` is reckoned.
    let from_end = |seconds: Option<f64>| seconds.map(|seconds| (seconds + last_s).max(0.0));
    let latest_s = latest_s(&fit, now, limit);
    Some(TimeToLimit::of(
        from_end(seconds),
        from_end(earliest_s),
        from_end(latest_s),
        Method::Curve,
    ))
}

/// Until the lower end of the prediction's interval reaches the limit; absent where it never does.
fn latest_s(fit: &ThermalFit, now: ThermalCase, limit: f64) -> Option<f64> {
    let reached = |duration_s: f64| {
        fit.predict(&ThermalCase { duration_s, ..now })
            .is_some_and(|it| it.temperature_c - it.half_width_c >= limit)
    };
    let step_s =
        SETTLED_IN_TIME_CONSTANTS * fit.parameters.time_constant_s / f64::from(STEPS_AHEAD);
    let after = (1..=STEPS_AHEAD).find(|step| reached(f64::from(*step) * step_s))?;
    let (mut before_s, mut after_s) = (f64::from(after - 1) * step_s, f64::from(after) * step_s);
    for _ in 0..40 {
        let middle_s = f64::midpoint(before_s, after_s);
        if reached(middle_s) {
            after_s = middle_s;
        } else {
            before_s = middle_s;
        }
    }
    Some(after_s)
}
