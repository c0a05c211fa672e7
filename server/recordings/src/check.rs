//! What readings are refused after reading, and how good a recording is.
//!
//! Time that does not go forward and figures that the sensor cannot give are refused. Gaps, values that do not move and
//! cells that are missing are counted and told: a counter or a switch may well stand still, and a person knows.

mod gaps;
mod quality;
mod stuck;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use self::gaps::Gaps;
use self::stuck::Stuck;
use crate::{Block, ColumnPlan, Micros, Refused, Rule, Sink, Unreadable};

pub use self::quality::{ChannelQuality, Quality, Stretch, Stretches};

/// Refused cells and rows, and stretches of each kind and channel, that are kept one by one; all are counted.
pub const KEPT: usize = 100;

/// How long a value may stay the same, bit by bit, before that is told.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StuckAfter {
    /// For every channel that is not named, in seconds.
    pub seconds: f64,
    /// By the channel's code, in seconds.
    #[serde(default)]
    pub of_channel: BTreeMap<String, f64>,
}

impl Default for StuckAfter {
    /// 30 s for every channel; common practice, no source.
    fn default() -> Self {
        Self { seconds: 30.0, of_channel: BTreeMap::new() }
    }
}

impl StuckAfter {
    fn of(&self, code: &str) -> f64 {
        self.of_channel.get(code).copied().unwrap_or(self.seconds)
    }
}

/// Refuses what cannot be, counts what is missing, and passes the rest on.
#[derive(Debug)]
pub struct Checked<'a, S> {
    sink: S,
    channels: Vec<Channel<'a>>,
    /// Places in `channels` by what refused cells call their column.
    of_column: BTreeMap<String, Vec<usize>>,
    first: Option<Micros>,
    last: Option<Micros>,
    quality: Quality,
}

/// What is known so far of one channel.
#[derive(Debug)]
struct Channel<'a> {
    plan: &'a ColumnPlan,
    present: u64,
    lowest: f64,
    highest: f64,
    gaps: Gaps,
    stuck: Stuck,
    refused: BTreeMap<Rule, u64>,
}

impl<'a, S: Sink> Checked<'a, S> {
    /// Checks the channels of a plan and passes their readings on to a sink.
    pub fn new(columns: &'a [ColumnPlan], stuck_after: &StuckAfter, sink: S) -> Self {
        let channel = |plan: &'a ColumnPlan| Channel {
            plan,
            present: 0,
            lowest: f64::INFINITY,
            highest: f64::NEG_INFINITY,
            gaps: Gaps::default(),
            stuck: Stuck::after(stuck_after.of(&plan.channel.code)),
            refused: BTreeMap::new(),
        };
        let mut of_column: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        for (place, column) in columns.iter().enumerate() {
            of_column.entry(column.name_in_refusals()).or_default().push(place);
        }
        Self {
            sink,
            of_column,
            channels: columns.iter().map(channel).collect(),
            first: None,
            last: None,
            quality: Quality::default(),
        }
    }

    /// What was found, and the sink.
    pub fn finish(self) -> (Quality, S) {
        let Self { sink, channels, first, last, mut quality, .. } = self;
        let finish = |channel: Channel<'_>| channel.finish(quality.rows, first, last);
        quality.channels = channels.into_iter().map(finish).collect();
        quality.first = first;
        quality.last = last;
        (quality, sink)
    }

    /// Leaves out the rows whose moment is not later than that of the row before.
    fn check_time(&mut self, block: &mut Block) {
        let goes_forward =
            self.last.is_none_or(|last| block.times.first().is_none_or(|first| *first > last))
                && block.times.is_sorted_by(|earlier, later| earlier < later);
        if goes_forward {
            return;
        }
        let mut last = self.last;
        let mut stays = Vec::with_capacity(block.rows());
        for (row, moment) in block.times.iter().enumerate() {
            let rule = match last {
                Some(last) if *moment < last => Some(Rule::TimeBackward),
                Some(last) if *moment == last => Some(Rule::TimeDoubled),
                _ => None,
            };
            stays.push(rule.is_none());
            match rule {
                Some(rule) => block.refused.push(Refused {
                    line: block.lines.get(row).copied().unwrap_or_default(),
                    column: None,
                    found: told(*moment),
                    rule,
                }),
                None => last = Some(*moment),
            }
        }
        keep(&mut block.lines, &stays);
        keep(&mut block.times, &stays);
        block.columns.iter_mut().for_each(|column| keep(column, &stays));
    }

    fn count_refused(&mut self, refused: &[Refused]) {
        for cell in refused {
            *self.quality.refused_by_rule.entry(cell.rule).or_default() += 1;
            if self.quality.refused.len() < KEPT {
                self.quality.refused.push(cell.clone());
            }
            let of_column = cell.column.as_ref().and_then(|name| self.of_column.get(name));
            for channel in of_column.into_iter().flatten() {
                if let Some(channel) = self.channels.get_mut(*channel) {
                    *channel.refused.entry(cell.rule).or_default() += 1;
                }
            }
        }
    }
}

impl<S: Sink> Sink for Checked<'_, S> {
    fn take(&mut self, block: &mut Block) -> Result<(), Unreadable> {
        self.check_time(block);
        for (channel, values) in self.channels.iter_mut().zip(&mut block.columns) {
            channel.check(&block.times, &block.lines, values, &mut block.refused);
        }
        let mut refused = std::mem::take(&mut block.refused);
        refused.sort_by_key(|one| one.line);
        self.count_refused(&refused);
        block.refused = refused;
        self.quality.remarks.append(&mut block.remarks.clone());
        self.quality.remarks.truncate(KEPT);
        self.quality.rows += block.rows() as u64;
        if let (Some(first), Some(last)) = (block.times.first(), block.times.last()) {
            self.first.get_or_insert(*first);
            self.last = Some(*last);
        }
        self.sink.take(block)
    }
}

impl Channel<'_> {
    /// Refuses what the sensor cannot give, and counts the rest. A figure exactly at the lowest or highest is taken.
    fn check(
        &mut self,
        times: &[Micros],
        lines: &[u64],
        values: &mut [f64],
        refused: &mut Vec<Refused>,
    ) {
        let (lowest, highest) = extremes(values);
        let spec = &self.plan.channel;
        let (lower, upper) =
            (spec.lowest.unwrap_or(f64::NEG_INFINITY), spec.highest.unwrap_or(f64::INFINITY));
        if lowest < lower || highest > upper {
            for (value, line) in values.iter_mut().zip(lines) {
                let rule = if *value < lower {
                    Rule::BelowLowest
                } else if *value > upper {
                    Rule::AboveHighest
                } else {
                    continue;
                };
                refused.push(Refused {
                    line: *line,
                    column: Some(self.plan.name_in_refusals()),
                    found: format!("{value:?} {}", spec.unit).chars().take(40).collect(),
                    rule,
                });
                *value = f64::NAN;
            }
            self.widen(extremes(values));
        } else {
            self.widen((lowest, highest));
        }
        let present = values.iter().filter(|value| !value.is_nan()).count();
        self.present += present as u64;
        self.gaps.take(times, values, present < values.len());
        self.stuck.take(times, values);
    }

    fn widen(&mut self, (lowest, highest): (f64, f64)) {
        self.lowest = self.lowest.min(lowest);
        self.highest = self.highest.max(highest);
    }

    fn finish(self, rows: u64, first: Option<Micros>, last: Option<Micros>) -> ChannelQuality {
        let present = self.present > 0;
        let (gaps, usual_step_s) = self.gaps.finish(first, last);
        ChannelQuality {
            code: self.plan.channel.code.clone(),
            unit: self.plan.channel.unit.clone(),
            column: self.plan.column.clone(),
            present: self.present,
            missing: rows.saturating_sub(self.present),
            refused_by_rule: self.refused,
            lowest: present.then_some(self.lowest),
            highest: present.then_some(self.highest),
            constant: present && self.lowest >= self.highest,
            usual_step_s,
            gaps,
            stuck: self.stuck.finish(),
        }
    }
}

/// The least and the greatest value; the wrong way round where none is there.
fn extremes(values: &[f64]) -> (f64, f64) {
    // A comparison with NaN is false, so that NaN changes neither. Side by side, the compiler uses vector instructions.
    const LANES: usize = 8;
    let least = |one: f64, other: f64| if other < one { other } else { one };
    let greatest = |one: f64, other: f64| if other > one { other } else { one };
    let mut lowest = [f64::INFINITY; LANES];
    let mut highest = [f64::NEG_INFINITY; LANES];
    let (whole, rest) = values.as_chunks::<LANES>();
    for chunk in whole {
        for ((value, lowest), highest) in chunk.iter().zip(&mut lowest).zip(&mut highest) {
            *lowest = least(*lowest, *value);
            *highest = greatest(*highest, *value);
        }
    }
    let all = |lanes: [f64; LANES], of: fn(f64, f64) -> f64| {
        lanes.into_iter().chain(rest.iter().copied()).reduce(of)
    };
    (
        all(lowest, least).unwrap_or(f64::INFINITY),
        all(highest, greatest).unwrap_or(f64::NEG_INFINITY),
    )
}

/// Keeps what is marked to stay.
fn keep<T>(of: &mut Vec<T>, stays: &[bool]) {
    let mut stays = stays.iter();
    of.retain(|_| stays.next().is_some_and(|stays| *stays));
}

/// A moment as people read it.
fn told(moment: Micros) -> String {
    moment.to_utc().map_or_else(
        || format!("{} µs", moment.0),
        |moment| moment.to_rfc3339_opts(chrono::SecondsFormat::Micros, true),
    )
}
