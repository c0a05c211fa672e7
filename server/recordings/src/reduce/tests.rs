//! Recordings made from known truth, which the reductions have to give back.

#![allow(clippy::unwrap_used, clippy::panic)]

mod flight;
mod powerplant;
mod refusals;
mod vibration;

use std::collections::BTreeMap;

use serde_json::Value;

use super::{CannotReduce, Interval, ReadChannel, Reduced, reduction, reductions};
use crate::{Micros, Series};

/// Where made recordings begin.
const BEGINNING: i64 = 1_900_000_000_000_000;

/// A recording that was made up: channels at one rate.
#[derive(Default)]
struct Made {
    times: Vec<Micros>,
    channels: BTreeMap<&'static str, (&'static str, Vec<f64>)>,
}

/// A moment so many seconds after the beginning.
fn at(seconds: f64) -> Micros {
    Micros(BEGINNING + (seconds * 1e6).round() as i64)
}

impl Made {
    /// So many seconds at so many rows a second.
    fn lasting(seconds: f64, rows_per_s: f64) -> Self {
        let rows = (seconds * rows_per_s).round() as usize;
        let times = (0..=rows).map(|row| at(row as f64 / rows_per_s)).collect();
        Self { times, channels: BTreeMap::new() }
    }

    /// Adds a channel by what it is at each second after the beginning.
    fn with(
        mut self,
        code: &'static str,
        unit: &'static str,
        mut value: impl FnMut(f64) -> f64,
    ) -> Self {
        let values = self.times.iter().map(|time| value(time.seconds_since(at(0.0)))).collect();
        self.channels.insert(code, (unit, values));
        self
    }

    /// Takes out the values of a channel between two seconds.
    fn without(mut self, code: &str, from_s: f64, to_s: f64) -> Self {
        let (_, values) = self.channels.get_mut(code).unwrap();
        for (time, value) in self.times.iter().zip(values) {
            if (at(from_s)..=at(to_s)).contains(time) {
                *value = f64::NAN;
            }
        }
        self
    }

    fn whole(&self) -> Interval {
        Interval { from: self.times[0], to: *self.times.last().unwrap() }
    }

    /// Reduces all of it, with each channel in the role of its code.
    fn reduce(&self, name: &str, given: Value) -> Result<Reduced, CannotReduce> {
        let roles: Vec<_> = self.channels.keys().map(|code| (*code, *code)).collect();
        self.reduce_as(name, self.whole(), &roles, given)
    }

    fn reduce_as(
        &self,
        name: &str,
        interval: Interval,
        roles: &[(&str, &str)],
        given: Value,
    ) -> Result<Reduced, CannotReduce> {
        let read = |code: &str| {
            let (unit, values) = self.channels.get(code)?;
            Some(ReadChannel { unit, series: Series { times: &self.times, values } })
        };
        let roles = roles.iter().map(|(role, code)| ((*role).to_owned(), (*code).to_owned()));
        reduction(name).unwrap().reduce(interval, &read, &roles.collect(), &given)
    }
}

/// A figure of an answer.
fn figure(reduced: &Reduced, pointer: &str) -> f64 {
    reduced.output.pointer(pointer).and_then(Value::as_f64).unwrap()
}

#[track_caller]
fn is_near(found: f64, wanted: f64, within: f64) {
    assert!((found - wanted).abs() <= within, "{found} is not {wanted} ± {within}");
}

/// Noise with mean 0 and standard deviation 1 that is the same each time: twelve uniform numbers less six.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        let uniform = |_| {
            // Knuth's multiplier for 64 bits; the high bits are the good ones.
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (self.0 >> 11) as f64 / (1u64 << 53) as f64
        };
        (0..12).map(uniform).sum::<f64>() - 6.0
    }
}

#[test]
fn every_reduction_rests_on_a_topic_and_says_what_it_needs() {
    for reduction in reductions() {
        let topic = flight_science::catalogue::topic(reduction.topic);
        let topic = topic.unwrap_or_else(|| panic!("{} has no topic", reduction.name));
        assert!(reduction.version >= 1 && !reduction.steps.is_empty(), "{}", reduction.name);
        assert!(reduction.needs.iter().any(|role| role.required), "{}", reduction.name);
        assert!((0.0..=0.05).contains(&reduction.most_missing), "{}", reduction.name);
        for figure in reduction.figures {
            let path = figure.pointer.trim_start_matches('/').replace('/', ".");
            let told = topic.outputs.iter().any(|output| output.name == path);
            assert!(
                told,
                "{} of {} is no output of {}",
                figure.pointer, reduction.name, topic.name
            );
        }
    }
}
