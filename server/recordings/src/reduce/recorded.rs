//! The channels of one interval by the parts that they play, and what is missing of them.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::{CannotReduce, ReadChannel, Reason, Reduction, Role};
use crate::{Micros, Series};

/// Readings farther apart than this many usual steps have a gap between them.
const GAP_IN_STEPS: f64 = 3.0;

/// A part of a recording, both ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Interval {
    /// Its beginning.
    pub from: Micros,
    /// Its end.
    pub to: Micros,
}

impl Interval {
    /// How long it is, in seconds; negative where it ends before it begins.
    pub fn seconds(self) -> f64 {
        self.to.seconds_since(self.from)
    }

    fn contains(self, moment: Micros) -> bool {
        self.from <= moment && moment <= self.to
    }
}

/// A channel that was read for a part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlayedRole {
    /// The part.
    pub role: &'static str,
    /// The channel's code.
    pub channel: String,
    /// The unit of its values.
    pub unit: String,
    /// How many values it has in the interval.
    pub readings: usize,
    /// The usual time from value to value, in seconds: the median. Absent for fewer than two values.
    pub step_s: Option<f64>,
    /// The longest time without a value, the ends of the interval included, in seconds.
    pub longest_gap_s: f64,
    /// The share of the interval that lies in gaps, from 0 to 1. A gap is longer than three usual steps.
    pub share_missing: f64,
}

/// One channel without what is missing.
pub(super) struct Present {
    /// Moments, each later than the one before.
    pub times: Vec<Micros>,
    /// A finite value for each.
    pub values: Vec<f64>,
    /// Farther apart than this, two values have a gap between them. In seconds.
    pub gap_s: f64,
    played: PlayedRole,
}

/// The channels of one interval.
pub(super) struct Recorded<'a> {
    pub interval: Interval,
    pub given: &'a Value,
    most_missing: f64,
    roles: BTreeMap<&'static str, Present>,
}

impl<'a> Recorded<'a> {
    /// Finds the channel of every part, and looks at unit and missing values.
    pub fn read<'c>(
        reduction: &Reduction,
        interval: Interval,
        channels: &dyn Fn(&str) -> Option<ReadChannel<'c>>,
        named: &BTreeMap<String, String>,
        given: &'a Value,
    ) -> Result<Self, CannotReduce> {
        let mut reasons = Vec::new();
        if interval.seconds() <= 0.0 {
            reasons.push(Reason::NoInterval { interval });
        }
        let known = |role: &str| reduction.needs.iter().any(|need| need.name == role);
        for role in named.keys().filter(|role| !known(role)) {
            reasons.push(Reason::NoSuchRole {
                role: role.clone(),
                roles: reduction.needs.iter().map(|need| need.name).collect(),
            });
        }
        let mut roles = BTreeMap::new();
        for need in reduction.needs {
            match play(need, interval, channels, named, reduction.most_missing) {
                Ok(None) => {}
                Ok(Some(present)) => {
                    roles.insert(need.name, present);
                }
                Err(reason) => reasons.push(reason),
            }
        }
        if reasons.is_empty() {
            Ok(Self { interval, given, most_missing: reduction.most_missing, roles })
        } else {
            Err(CannotReduce { reasons })
        }
    }

    /// The channel of a part, or the reason that there is none.
    pub fn of(&self, role: &'static str) -> Result<&Present, CannotReduce> {
        self.roles.get(role).ok_or_else(|| Reason::RoleWithoutChannel { role, unit: "" }.into())
    }

    /// The channel of a part that may be left out.
    pub fn if_played(&self, role: &str) -> Option<&Present> {
        self.roles.get(role)
    }

    /// Seconds from the interval's beginning.
    pub fn seconds(&self, moment: Micros) -> f64 {
        moment.seconds_since(self.interval.from)
    }

    /// What was read, in the order of the parts' names.
    pub fn readings(&self) -> Vec<PlayedRole> {
        self.roles.values().map(|present| present.played.clone()).collect()
    }

    /// The greatest share that any part lacks.
    pub fn share_missing(&self) -> f64 {
        self.roles.values().map(|present| present.played.share_missing).fold(0.0, f64::max)
    }

    /// Which channel plays which part.
    pub fn channels(&self) -> BTreeMap<String, String> {
        let pairs = self.roles.iter();
        pairs.map(|(role, present)| ((*role).to_owned(), present.played.channel.clone())).collect()
    }

    /// The mean of a part over a stretch; absent where more of the stretch is missing than may be of the interval.
    pub fn mean(&self, present: &Present, over: Interval) -> Option<f64> {
        let values = present.within(over);
        let share = share_in_gaps(present.times_within(over), over, present.gap_s).1;
        (!values.is_empty() && share <= self.most_missing)
            .then(|| values.iter().sum::<f64>() / values.len() as f64)
    }
}

impl Present {
    /// The values of a stretch.
    pub fn within(&self, stretch: Interval) -> &[f64] {
        let (first, end) = self.places(stretch);
        self.values.get(first..end).unwrap_or_default()
    }

    /// The moments of a stretch.
    pub fn times_within(&self, stretch: Interval) -> &[Micros] {
        let (first, end) = self.places(stretch);
        self.times.get(first..end).unwrap_or_default()
    }

    fn places(&self, stretch: Interval) -> (usize, usize) {
        let first = self.times.partition_point(|time| *time < stretch.from);
        let end = self.times.partition_point(|time| *time <= stretch.to).max(first);
        (first, end)
    }

    /// The value at a moment: read, or on the straight line between two values that have no gap between them.
    pub fn at(&self, moment: Micros) -> Option<f64> {
        let after = self.times.partition_point(|time| *time < moment);
        let (next, value) = (*self.times.get(after)?, *self.values.get(after)?);
        if next == moment {
            return Some(value);
        }
        let before = after.checked_sub(1)?;
        let (earlier, start) = (*self.times.get(before)?, *self.values.get(before)?);
        let step_s = next.seconds_since(earlier);
        (step_s <= self.gap_s)
            .then(|| start + (value - start) * moment.seconds_since(earlier) / step_s)
    }
}

fn play<'c>(
    need: &'static Role,
    interval: Interval,
    channels: &dyn Fn(&str) -> Option<ReadChannel<'c>>,
    named: &BTreeMap<String, String>,
    most_missing: f64,
) -> Result<Option<Present>, Reason> {
    let Some(code) = named.get(need.name) else {
        return match need.required {
            true => Err(Reason::RoleWithoutChannel { role: need.name, unit: need.unit }),
            false => Ok(None),
        };
    };
    let channel = channels(code)
        .ok_or_else(|| Reason::NoSuchChannel { role: need.name, channel: code.clone() })?;
    if !need.unit.is_empty() && channel.unit != need.unit {
        return Err(Reason::OtherUnit {
            role: need.name,
            channel: code.clone(),
            found: channel.unit.to_owned(),
            wanted: need.unit,
        });
    }
    let present = present(need.name, code, channel, interval);
    let share = present.played.share_missing;
    if share > most_missing {
        return Err(Reason::TooMuchMissing {
            role: need.name,
            channel: code.clone(),
            share,
            most: most_missing,
        });
    }
    Ok(Some(present))
}

fn present(
    role: &'static str,
    code: &str,
    channel: ReadChannel<'_>,
    interval: Interval,
) -> Present {
    let series: Series<'_> = channel.series;
    let (mut times, mut values) = (Vec::new(), Vec::new());
    for (time, value) in series.present() {
        // Infinity is no reading either.
        if interval.contains(time) && value.is_finite() {
            times.push(time);
            values.push(value);
        }
    }
    let step_s = median_step_s(&times);
    let gap_s = step_s.map_or(0.0, |step_s| GAP_IN_STEPS * step_s);
    let (longest_gap_s, share_missing) = share_in_gaps(&times, interval, gap_s);
    let played = PlayedRole {
        role,
        channel: code.to_owned(),
        unit: channel.unit.to_owned(),
        readings: values.len(),
        step_s,
        longest_gap_s,
        share_missing,
    };
    Present { times, values, gap_s, played }
}

/// The longest time between two moments, and the share of the interval that lies in gaps.
fn share_in_gaps(times: &[Micros], interval: Interval, gap_s: f64) -> (f64, f64) {
    let whole_s = interval.seconds();
    let ends = times.iter().copied().chain([interval.to]);
    let starts = [interval.from].into_iter().chain(times.iter().copied());
    let (mut longest_s, mut in_gaps_s) = (0.0_f64, 0.0);
    for (start, end) in starts.zip(ends) {
        let step_s = end.seconds_since(start);
        longest_s = longest_s.max(step_s);
        if step_s > gap_s {
            in_gaps_s += step_s;
        }
    }
    let share = if whole_s > 0.0 { (in_gaps_s / whole_s).clamp(0.0, 1.0) } else { 1.0 };
    (longest_s, share)
}

fn median_step_s(times: &[Micros]) -> Option<f64> {
    let mut steps: Vec<f64> = times
        .iter()
        .zip(times.iter().skip(1))
        .map(|(earlier, later)| later.seconds_since(*earlier))
        .collect();
    let middle = steps.len().checked_sub(1)? / 2;
    let (_, median, _) = steps.select_nth_unstable_by(middle, f64::total_cmp);
    Some(*median)
}
