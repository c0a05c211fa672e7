//! One channel on a grid of equal steps.

use crate::Micros;
use crate::limits::usual_step;
use crate::moment::MICROS_PER_S;

/// Readings farther apart than this many usual steps have a gap between them.
const GAP_IN_STEPS: f64 = 3.0;

/// Values at equal steps from a beginning. NaN is missing.
pub(super) struct Grid {
    pub(super) start: Micros,
    /// Reckoned from their mean, in standard deviations, so that sums of squares lose few digits.
    pub(super) values: Vec<f64>,
}

impl Grid {
    /// Readings joined by straight lines; absent where there are fewer than two.
    pub(super) fn of(readings: &[(Micros, f64)], step_s: f64) -> Option<Self> {
        let (start, end) = (readings.first()?.0, readings.last()?.0);
        let moments: Vec<_> = readings.iter().map(|(moment, _)| *moment).collect();
        let gap_s = (GAP_IN_STEPS * usual_step(&moments) as f64 / MICROS_PER_S).max(step_s);
        // The last reading is on the grid also where the division leaves it a little short of it.
        let points = (end.seconds_since(start) / step_s + 1e-6).floor() + 1.0;
        let mut values = Vec::with_capacity(points as usize);
        let mut pairs = readings.windows(2);
        let mut pair = pairs.next()?;
        for point in 0..points as u64 {
            let at_s = point as f64 * step_s;
            while pair[1].0.seconds_since(start) < at_s {
                let Some(next) = pairs.next() else { break };
                pair = next;
            }
            values.push(between(pair[0], pair[1], start, at_s, gap_s));
        }
        normalise(&mut values);
        Some(Self { start, values })
    }

    /// How many values are there.
    pub(super) fn known(&self) -> f64 {
        self.values.iter().filter(|value| !value.is_nan()).count() as f64
    }
}

/// The value on the straight line between two readings; missing where there is a gap between them.
fn between(
    (before, low): (Micros, f64),
    (after, high): (Micros, f64),
    start: Micros,
    at_s: f64,
    gap_s: f64,
) -> f64 {
    let (from_s, step_s) = (before.seconds_since(start), after.seconds_since(before));
    let share = (at_s - from_s) / step_s;
    if step_s > gap_s && share > 0.0 && share < 1.0 {
        return f64::NAN;
    }
    low + share.clamp(0.0, 1.0) * (high - low)
}

/// Takes the mean away and divides by the standard deviation; what stands still becomes zero.
fn normalise(values: &mut [f64]) {
    let known = || values.iter().copied().filter(|value| !value.is_nan());
    let count = known().count() as f64;
    let mean = known().sum::<f64>() / count;
    let deviation = (known().map(|value| (value - mean).powi(2)).sum::<f64>() / count).sqrt();
    let scale = if deviation > 0.0 { 1.0 / deviation } else { 0.0 };
    values.iter_mut().for_each(|value| *value = (*value - mean) * scale);
}
