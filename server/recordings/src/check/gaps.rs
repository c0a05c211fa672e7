//! Times without a value.

use super::quality::Stretches;
use crate::Micros;

/// Steps that are judged together.
const TOGETHER: usize = 255;

/// Steps at the end of a recording that are too few to say what is usual among them.
const FEW: usize = 32;

/// A gap is longer than so many usual steps ...
const USUAL_STEPS: i64 = 5;

/// ... and longer than this, in microseconds.
const LEAST: i64 = 1_000_000;

/// Gaps of one channel as they are found.
#[derive(Debug, Default)]
pub(super) struct Gaps {
    first: Option<Micros>,
    last: Micros,
    /// Steps from value to value that are not judged yet, in microseconds; the first of them begins at `judged_to`.
    steps: Vec<i64>,
    judged_to: Micros,
    /// Whether any of `steps` may be a gap.
    any_long: bool,
    /// The steps that were judged last.
    before: Vec<i64>,
    usual_at_first: Option<i64>,
    found: Stretches,
}

impl Gaps {
    /// Takes rows; a value that is NaN is missing. Whether any is has to be said, for rows without are taken far faster.
    pub fn take(&mut self, times: &[Micros], values: &[f64], any_missing: bool) {
        if any_missing || self.first.is_none() {
            for (moment, value) in times.iter().zip(values) {
                if !value.is_nan() {
                    self.present(*moment);
                }
            }
            return;
        }
        let mut times = times;
        while !times.is_empty() {
            let (now, later) = times.split_at(times.len().min(TOGETHER - self.steps.len()));
            let steps = self.steps.len();
            let before = std::iter::once(&self.last).chain(now);
            self.steps.extend(now.iter().zip(before).map(|(to, from)| to.0.saturating_sub(from.0)));
            self.any_long |= self.steps.iter().skip(steps).any(|step| *step > LEAST);
            self.last = now.last().copied().unwrap_or(self.last);
            if self.steps.len() == TOGETHER {
                self.judge();
            }
            times = later;
        }
    }

    #[inline]
    fn present(&mut self, moment: Micros) {
        if self.first.is_none() {
            self.first = Some(moment);
            self.judged_to = moment;
        } else {
            let step = moment.0.saturating_sub(self.last.0);
            self.any_long |= step > LEAST;
            self.steps.push(step);
            if self.steps.len() == TOGETHER {
                self.judge();
            }
        }
        self.last = moment;
    }

    /// Judges the steps that are not judged yet, by the usual one among them.
    fn judge(&mut self) {
        // What is usual costs some time to say, and without a long step nobody asks.
        if self.any_long || self.usual_at_first.is_none() {
            let few = self.steps.len() < FEW && !self.before.is_empty();
            let usual = median(if few { &self.before } else { &self.steps });
            self.usual_at_first.get_or_insert(usual);
            let mut from = self.judged_to;
            for step in &self.steps {
                let to = Micros(from.0.saturating_add(*step));
                if is_gap(*step, usual) {
                    self.found.add(from, to);
                }
                from = to;
            }
        }
        self.judged_to = self.last_of_steps();
        std::mem::swap(&mut self.before, &mut self.steps);
        self.steps.clear();
        self.any_long = false;
    }

    fn last_of_steps(&self) -> Micros {
        let sum = |from: i64, step: &i64| from.saturating_add(*step);
        Micros(self.steps.iter().fold(self.judged_to.0, sum))
    }

    /// The gaps, with those before the first and after the last value of the channel, and the usual step in seconds.
    pub fn finish(
        mut self,
        begin: Option<Micros>,
        end: Option<Micros>,
    ) -> (Stretches, Option<f64>) {
        if !self.steps.is_empty() {
            self.judge();
        }
        if let (Some(begin), Some(end)) = (begin, end) {
            match self.first {
                Some(first) => {
                    if is_gap(first.0.saturating_sub(begin.0), self.usual_at_first.unwrap_or(0)) {
                        self.found.add(begin, first);
                    }
                    if is_gap(end.0.saturating_sub(self.last.0), median(&self.before)) {
                        self.found.add(self.last, end);
                    }
                }
                None if end > begin => self.found.add(begin, end),
                None => {}
            }
        }
        let usual = self.usual_at_first.map(|usual| Micros(usual).seconds_since(Micros(0)));
        (self.found, usual)
    }
}

fn is_gap(step: i64, usual: i64) -> bool {
    step > LEAST && step > usual.saturating_mul(USUAL_STEPS)
}

/// The middle step; the longer of the two in the middle where their number is even, and none for no steps.
fn median(steps: &[i64]) -> i64 {
    let mut steps = steps.to_vec();
    let middle = steps.len() / 2;
    if middle < steps.len() { *steps.select_nth_unstable(middle).1 } else { 0 }
}
