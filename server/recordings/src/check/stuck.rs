//! Values that do not move.

use super::quality::Stretches;
use crate::Micros;

/// Values that have to be the same before they are called stuck: a slow channel may well say the same twice or thrice.
const LEAST_VALUES: u64 = 10;

/// Stuck stretches of one channel as they are found.
#[derive(Debug)]
pub(super) struct Stuck {
    after_s: f64,
    /// The bits of the present run; absent before the first value.
    bits: Option<u64>,
    from: Micros,
    to: Micros,
    values: u64,
    found: Stretches,
}

impl Stuck {
    /// A value that stays longer than this is stuck.
    pub fn after(seconds: f64) -> Self {
        Self {
            after_s: seconds,
            bits: None,
            from: Micros::default(),
            to: Micros::default(),
            values: 0,
            found: Stretches::default(),
        }
    }

    /// Takes rows; a value that is NaN is missing and ends nothing.
    pub fn take(&mut self, times: &[Micros], values: &[f64]) {
        for (moment, value) in times.iter().zip(values) {
            let bits = Some(value.to_bits());
            if bits == self.bits {
                self.to = *moment;
                self.values += 1;
            } else if !value.is_nan() {
                if self.values >= LEAST_VALUES {
                    self.end_run();
                }
                self.bits = bits;
                self.from = *moment;
                self.to = *moment;
                self.values = 1;
            }
        }
    }

    fn end_run(&mut self) {
        if self.values >= LEAST_VALUES && self.to.seconds_since(self.from) > self.after_s {
            self.found.add(self.from, self.to);
        }
    }

    /// The stretches.
    pub fn finish(mut self) -> Stretches {
        self.end_run();
        self.found
    }
}
