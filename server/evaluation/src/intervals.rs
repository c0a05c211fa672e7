//! Where stated conditions hold: candidate intervals of a recording, and where there is none, what came nearest.

use chrono::{DateTime, Utc};
use programme::codes::ChannelCode;
use programme::measure::Unit;
use programme::nouns::{Axis, Point};
use programme::record::{Digest, SteadyChannel};
use recordings::Micros;
use recordings::columns::CannotRead;
use recordings::steady::{Held, Lasting, Steady, steady};
use serde::Serialize;

use crate::gathered::{Attached, Gathered, Reading};

/// The most candidates that are told; the longest ones.
pub const MOST_CANDIDATES: usize = 100;

/// What is looked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Sought {
    /// Channels with target and tolerance.
    pub held: Vec<SteadyChannel>,
    /// For at least so long, seconds.
    pub at_least_s: f64,
    /// A channel may be without reading for at most so long inside, seconds.
    pub dropout_s: f64,
}

/// A stretch in which all conditions hold.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
#[schema(as = SteadyStretch)]
pub struct Candidate {
    /// From then on, by the clock of the recording that was asked.
    pub from: DateTime<Utc>,
    /// Up to and including then.
    pub to: DateTime<Utc>,
    /// How long it is, seconds.
    pub seconds: f64,
    /// The mean over time of each channel, in the order and the units of the conditions.
    pub means: Vec<f64>,
}

/// How a condition ended a stretch.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
#[serde(tag = "how", rename_all = "kebab-case")]
#[schema(as = ConditionEnded)]
pub enum Ended {
    /// The channel left its tolerance.
    Left {
        /// When, by the clock of the recording that was asked.
        at: DateTime<Utc>,
        /// The reading, in the condition's unit.
        value: f64,
    },
    /// The channel had no reading for too long.
    Silent {
        /// Its last reading before.
        since: DateTime<Utc>,
        /// For how long, seconds; absent where no reading followed.
        seconds: Option<f64>,
    },
    /// Nothing was out of tolerance: the recording or the run ends there.
    AtTheEnd {},
}

/// What one condition has to do with there being no interval.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
#[schema(as = ConditionShortfall)]
pub struct Shortfall {
    /// The channel.
    pub channel: ChannelCode,
    /// What was to be held, in `unit`.
    pub target: f64,
    /// Plus or minus.
    pub tolerance: f64,
    /// The unit.
    pub unit: Unit,
    /// The longest time for which this condition held by itself, seconds; 0: never.
    pub longest_alone_s: f64,
    /// The smallest reading, in `unit`; absent: there is none.
    pub smallest: Option<f64>,
    /// The greatest reading, in `unit`.
    pub greatest: Option<f64>,
    /// How it ended the longest stretch in which all hold; absent where there is no such stretch, or this condition went on.
    pub ended: Option<Ended>,
}

/// What was found.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
#[schema(as = StretchesFound)]
pub struct Found {
    /// The candidates, the longest first.
    pub candidates: Vec<Candidate>,
    /// How many there are, also beyond those that are told.
    pub count: usize,
    /// The longest stretch in which all conditions hold together, however short; absent where they never do.
    pub longest: Option<Candidate>,
    /// Where there is no candidate: what each condition did.
    pub shortfalls: Vec<Shortfall>,
}

/// Why nothing could be looked for.
#[derive(Debug, thiserror::Error)]
pub enum CannotSeek {
    /// No recording of the run has a channel.
    #[error("no recording of the run has readings of {channel}")]
    NotRecorded {
        /// Its place among the conditions.
        place: usize,
        /// The channel.
        channel: ChannelCode,
    },
    /// A condition's unit does not compare with the channel's.
    #[error("{} does not compare with the unit of {channel}, which is {}", unit.as_str(), found.as_str())]
    Unit {
        /// Its place among the conditions.
        place: usize,
        /// The channel.
        channel: ChannelCode,
        /// The unit of the condition.
        unit: Unit,
        /// The unit of the channel.
        found: Unit,
    },
    /// The recording does not belong to the run.
    #[error("the recording does not belong to the run, or was set aside")]
    NoRecording {},
    /// Columns are damaged.
    #[error(transparent)]
    Unreadable(#[from] CannotRead),
}

/// Looks for stretches of a recording in which conditions hold, within a part of its run.
///
/// Channels that the recording lacks are taken from other recordings of the run, with both clocks put right. `within` is by
/// the run's clock.
///
/// # Errors
///
/// Every [`CannotSeek`].
pub fn find(
    sought: &Sought,
    recording: &Digest,
    within: (Micros, Micros),
    gathered: &Gathered,
) -> Result<Found, Vec<CannotSeek>> {
    let home = gathered.recording(recording).ok_or_else(|| vec![CannotSeek::NoRecording {}])?;
    let span = home.facts.span();
    let within = (within.0.max(span.0), within.1.min(span.1));
    let (mut readings, mut faults) = (Vec::new(), Vec::new());
    for (place, held) in sought.held.iter().enumerate() {
        match in_units(place, held, recording, within, gathered) {
            Ok(reading) => readings.push(reading),
            Err(fault) => faults.push(fault),
        }
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    let search = Search { sought, readings: &readings, home };
    let all = search.stretches(None);
    let long: Vec<Candidate> = all
        .iter()
        .filter(|it| it.seconds >= sought.at_least_s)
        .filter_map(|it| search.candidate(it))
        .collect();
    let shortfalls = if long.is_empty() { search.shortfalls(all.first()) } else { Vec::new() };
    Ok(Found {
        count: long.len(),
        longest: all.first().and_then(|it| search.candidate(it)),
        candidates: long.into_iter().take(MOST_CANDIDATES).collect(),
        shortfalls,
    })
}

/// The channel of a condition in the condition's own unit.
fn in_units(
    place: usize,
    held: &SteadyChannel,
    recording: &Digest,
    within: (Micros, Micros),
    gathered: &Gathered,
) -> Result<Reading, CannotSeek> {
    let channel = held.channel.clone();
    let readings = gathered.readings(&channel, Some(recording), within)?;
    let Some(reading) = readings.first() else {
        return Err(CannotSeek::NotRecorded { place, channel });
    };
    let (unit, found) = (held.unit, reading.unit);
    reading.in_unit(unit).ok_or(CannotSeek::Unit { place, channel, unit, found })
}

struct Search<'a> {
    sought: &'a Sought,
    /// One for each condition, in its unit.
    readings: &'a [Reading],
    home: &'a Attached,
}

impl Search<'_> {
    /// All stretches in which the conditions hold, or one of them does, the longest first.
    fn stretches(&self, only: Option<usize>) -> Vec<Steady> {
        let conditions: Vec<Held> = self
            .sought
            .held
            .iter()
            .enumerate()
            .filter(|(place, _)| only.is_none_or(|only| only == *place))
            // Two conditions may be on one channel, so each is found by its place.
            .map(|(place, held)| Held {
                channel: place.to_string(),
                target: held.target,
                tolerance: held.tolerance,
            })
            .collect();
        let series_of = |place: &str| {
            let place: usize = place.parse().ok()?;
            self.readings.get(place).map(Reading::series)
        };
        let lasting = Lasting { at_least_s: 0.0, dropout_s: self.sought.dropout_s };
        steady(&conditions, &series_of, lasting).unwrap_or_default()
    }

    fn own(&self, run: Micros) -> Option<DateTime<Utc>> {
        self.home.facts.by_recorders_clock(run).to_utc()
    }

    fn candidate(&self, stretch: &Steady) -> Option<Candidate> {
        Some(Candidate {
            from: self.own(stretch.from)?,
            to: self.own(stretch.to)?,
            seconds: stretch.seconds,
            means: stretch.means.clone(),
        })
    }

    fn shortfalls(&self, longest: Option<&Steady>) -> Vec<Shortfall> {
        let of_place = |(place, held): (usize, &SteadyChannel)| {
            let present = || self.readings[place].series().present().map(|(_, value)| value);
            Shortfall {
                channel: held.channel.clone(),
                target: held.target,
                tolerance: held.tolerance,
                unit: held.unit,
                longest_alone_s: self.stretches(Some(place)).first().map_or(0.0, |it| it.seconds),
                smallest: present().reduce(f64::min),
                greatest: present().reduce(f64::max),
                ended: longest.and_then(|longest| self.ended(place, longest)),
            }
        };
        self.sought.held.iter().enumerate().map(of_place).collect()
    }

    /// How a condition ended a stretch; absent where its next reading is held too.
    fn ended(&self, place: usize, stretch: &Steady) -> Option<Ended> {
        let held = &self.sought.held[place];
        let series = self.readings[place].series();
        let last = series.between(Micros(i64::MIN), stretch.to).present().next_back()?.0;
        let after = Micros(stretch.to.0.saturating_add(1));
        let Some((at, value)) = series.between(after, Micros(i64::MAX)).present().next() else {
            // Rows that follow without a reading are a silence; without rows the recording is over.
            let rows = series.between(after, Micros(i64::MAX)).times;
            return Some(match rows.is_empty() {
                true => Ended::AtTheEnd {},
                false => Ended::Silent { since: self.own(last)?, seconds: None },
            });
        };
        let silent_s = at.seconds_since(last);
        if silent_s > self.sought.dropout_s {
            return Some(Ended::Silent { since: self.own(last)?, seconds: Some(silent_s) });
        }
        let inside = (value - held.target).abs() <= held.tolerance;
        (!inside).then(|| self.own(at)).flatten().map(|at| Ended::Left { at, value })
    }
}

/// A condition of a point, and the channels that may show it.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct PlannedCondition {
    /// The axis.
    pub axis: Axis,
    /// What is to be held, in `unit`.
    pub target: f64,
    /// Plus or minus.
    pub tolerance: f64,
    /// The unit.
    pub unit: Unit,
    /// Recorded channels of the same kind of quantity. The programme does not say which of them shows the axis: a person does.
    pub channels: Vec<ChannelCode>,
}

/// The conditions that a point was planned with, each with the recorded channels that could show it.
pub fn planned(
    point: &Point,
    gathered: &[Attached],
    unit_of: impl Fn(&ChannelCode) -> Option<Unit>,
) -> Vec<PlannedCondition> {
    let mut recorded: Vec<&ChannelCode> = gathered.iter().flat_map(|it| &it.channels).collect();
    recorded.sort_unstable();
    recorded.dedup();
    let of_kind = |axis: Axis| {
        let fits = |channel: &&&ChannelCode| {
            unit_of(channel).is_some_and(|unit| unit.kind() == axis.kind())
        };
        recorded.iter().filter(fits).map(|channel| (*channel).clone()).collect()
    };
    let each = point.conditions.iter().map(|(axis, condition)| PlannedCondition {
        axis: *axis,
        target: condition.target,
        tolerance: condition.tolerance,
        unit: condition.unit,
        channels: of_kind(*axis),
    });
    each.collect()
}

#[cfg(test)]
mod tests;
