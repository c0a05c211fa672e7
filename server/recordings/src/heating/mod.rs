//! The order in which components heat: which of them would reach its limit first.
//!
//! A powerplant is meant to fail in an order: what can be spared first. For each component the time is worked out until it
//! would reach its limit if it went on heating as it did at the end of a stretch under load. A component that is meant to be
//! spared and would come first makes the order wrong; one of which too little is known leaves it unknown, never right.
//!
//! Which order is right is for the programme to say. The usual one of motor, controller, cables, battery is common practice, no
//! source.

mod time_to_limit;

pub use time_to_limit::{Method, TimeToLimit, Unknown};

use serde::{Deserialize, Serialize};

use crate::{Micros, Series};

/// A component and the temperature that it must not reach.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Component {
    /// The code of its limit.
    pub limit_code: String,
    /// Its channel.
    pub channel: String,
    /// The limit, in the channel's unit.
    pub limit: f64,
}

/// What one component did and would do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Heated {
    /// The component.
    pub component: Component,
    /// The greatest reading of the stretch; absent where there is none.
    pub peak: Option<f64>,
    /// When it would reach its limit.
    pub time_to_limit: TimeToLimit,
}

/// How the order came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Order {
    /// None before those that are meant to reach theirs earlier.
    InOrder,
    /// One that is meant to reach its limit later would reach it earlier.
    OutOfOrder,
    /// It can't be told.
    Unknown,
}

/// Two components in the wrong order, or of which the intervals do not tell the order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pair {
    /// The limit that is meant to be reached earlier.
    pub meant_earlier: String,
    /// The limit that is meant to be reached later.
    pub meant_later: String,
}

/// In which order components heat.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HeatingOrder {
    /// The components, in the order in which they are meant to reach their limits.
    pub components: Vec<Heated>,
    /// How it came out.
    pub order: Order,
    /// The limit that would be reached first; absent where none would be, or none is known to be.
    pub first: Option<String>,
    /// Pairs in the wrong order.
    pub out_of_order: Vec<Pair>,
    /// Pairs in the right order whose intervals overlap, so that they may be in the wrong one.
    pub doubtful: Vec<Pair>,
}

/// Judges the order in which components heat. `components` are in the order in which they are meant to reach their limits;
/// `from` to `to` is a stretch under steady load, see [`last_under_load`].
///
/// Components that would reach their limits at the same time are in order. One that would never reach its limit comes after
/// all that would. `horizon_s` is the longest that such a load can last: what would be reached later is never reached, for a
/// component cannot come first when the energy is gone before. A limit that would be reached within it counts as always, also
/// where the component that is meant to come earlier would take longer than the horizon: that is the order out of order. What
/// may be on either side of the horizon makes a pair doubtful. A pair in the wrong order makes the whole out of order though others are unknown; otherwise one that is
/// unknown leaves the whole unknown.
pub fn order_of_heating<'a>(
    components: &[Component],
    series_of: &dyn Fn(&str) -> Option<Series<'a>>,
    (from, to): (Micros, Micros),
    horizon_s: Option<f64>,
) -> HeatingOrder {
    let interval = |heated: &Heated| {
        heated.time_to_limit.interval().map(|it| it.within(horizon_s.unwrap_or(f64::INFINITY)))
    };
    let components: Vec<Heated> = components
        .iter()
        .map(|component| {
            let readings: Vec<_> = series_of(&component.channel)
                .map(|series| series.between(from, to).present().collect())
                .unwrap_or_default();
            Heated {
                component: component.clone(),
                peak: readings.iter().map(|(_, value)| *value).reduce(f64::max),
                time_to_limit: time_to_limit::time_to_limit(&readings, component.limit, (from, to)),
            }
        })
        .collect();
    let (mut out_of_order, mut doubtful) = (Vec::new(), Vec::new());
    for (place, later) in components.iter().enumerate() {
        for earlier in components.iter().take(place) {
            let (Some(of_earlier), Some(of_later)) = (interval(earlier), interval(later)) else {
                continue;
            };
            let pair = || Pair {
                meant_earlier: earlier.component.limit_code.clone(),
                meant_later: later.component.limit_code.clone(),
            };
            if of_later.seconds < of_earlier.seconds {
                out_of_order.push(pair());
            } else if of_later.low_s < of_earlier.high_s {
                doubtful.push(pair());
            }
        }
    }
    let unknown = components.iter().any(|heated| heated.time_to_limit.interval().is_none());
    let order = match (out_of_order.is_empty(), unknown || components.is_empty()) {
        (false, _) => Order::OutOfOrder,
        (true, true) => Order::Unknown,
        (true, false) => Order::InOrder,
    };
    let reached = components.iter().filter_map(|heated| {
        let seconds = interval(heated)?.seconds;
        seconds.is_finite().then_some((heated, seconds))
    });
    // The first of several at the same time.
    let first = reached.reduce(|a, b| if b.1 < a.1 { b } else { a });
    let first = first.map(|(heated, _)| heated.component.limit_code.clone());
    HeatingOrder { components, order, first, out_of_order, doubtful }
}

/// How far a steady load may be from its mean so far, as a share of it. Common practice, no source.
const STEADY_WITHIN: f64 = 0.1;

/// The end of the last stretch in which a load was steady and at least so great, at most `seconds` long: from when to when.
/// Readings farther apart than `gap_s` seconds are not one stretch. Absent where there is no stretch at least half as long:
/// how parts went on heating while the load was changed says nothing of how they would at any load.
pub fn last_under_load(
    load: Series<'_>,
    at_least: f64,
    seconds: f64,
    gap_s: f64,
) -> Option<(Micros, Micros)> {
    let mut stretches: Vec<Stretch> = Vec::new();
    let mut open = false;
    for (moment, value) in load.present() {
        let under = crate::limits::edge::is_at_least(value, at_least);
        match stretches.last_mut().filter(|_| open && under) {
            Some(last) if last.goes_on(moment, value, gap_s) => last.take(moment, value),
            _ if under => {
                stretches.push(Stretch { from: moment, to: moment, mean: value, count: 1.0 })
            }
            _ => {}
        }
        open = under;
    }
    let long_enough = |it: &&Stretch| it.to.seconds_since(it.from) >= seconds / 2.0;
    let Stretch { from, to, .. } = *stretches.iter().rev().find(long_enough)?;
    Some((from.max(crate::limits::later_by(to, -seconds)), to))
}

/// A stretch of steady load.
struct Stretch {
    from: Micros,
    to: Micros,
    mean: f64,
    count: f64,
}

impl Stretch {
    fn goes_on(&self, moment: Micros, value: f64, gap_s: f64) -> bool {
        moment.seconds_since(self.to) <= gap_s
            && (value - self.mean).abs() <= STEADY_WITHIN * self.mean.abs()
    }

    fn take(&mut self, moment: Micros, value: f64) {
        self.to = moment;
        self.count += 1.0;
        self.mean += (value - self.mean) / self.count;
    }
}

#[cfg(test)]
mod tests;
