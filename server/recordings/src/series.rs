//! One channel of a recording, as what is worked out of recordings sees it.

use crate::Micros;

/// Moments and values of one channel, of equal length. Moments rise; a value that is NaN is missing.
#[derive(Debug, Clone, Copy)]
pub struct Series<'a> {
    /// Moments, each later than the one before.
    pub times: &'a [Micros],
    /// Values in the channel's unit.
    pub values: &'a [f64],
}

impl<'a> Series<'a> {
    /// Moments and values that are there, without those that are missing.
    pub fn present(self) -> impl DoubleEndedIterator<Item = (Micros, f64)> + Clone + 'a {
        let pairs = self.times.iter().copied().zip(self.values.iter().copied());
        pairs.filter(|(_, value)| !value.is_nan())
    }

    /// The part from one moment to another, both included.
    pub fn between(self, from: Micros, to: Micros) -> Self {
        let first = self.times.partition_point(|time| *time < from);
        let end = self.times.partition_point(|time| *time <= to).max(first);
        Self { times: &self.times[first..end], values: &self.values[first..end] }
    }
}
