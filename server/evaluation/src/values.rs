//! What intervals of recordings say for a point: the figures that its criteria and limits ask for, each with what it
//! rests on. A figure that cannot be taken is told as missing with the reason, and never guessed.

mod asked;
mod figures;
mod wishes;

use chrono::{DateTime, Utc};
use programme::codes::{ChannelCode, IntervalNumber, LimitCode, ReductionNumber};
use programme::commands::RecordedValue;
use programme::measure::Unit;
use programme::nouns::{Channel, Limit, Point, Statistic};
use programme::record::{Digest, MeasuredValue, ValueSource};
use programme::state::{Interval, Reduction, State};
use recordings::Micros;
use recordings::columns::CannotRead;
use serde::Serialize;

use crate::gathered::Gathered;
pub use asked::{Asked, NotAsked};
use figures::Figures;
pub use wishes::AskedBy;
pub use wishes::Wish;
use wishes::wishes;

/// The version of how statistics are taken; goes up whenever the same columns may give another figure than before.
const VERSION: &str = "1";

/// What values are taken of.
pub struct Basis<'a> {
    /// The point, as it was planned for the run.
    pub point: &'a Point,
    /// The limits in force for it.
    pub limits: Vec<&'a Limit>,
    /// The channels of the programme, by code.
    pub channel: &'a dyn Fn(&ChannelCode) -> Option<&'a Channel>,
    /// The intervals, all of one run and point.
    pub intervals: Vec<&'a Interval>,
    /// From when to when the run was; without an end it is not over.
    pub run: (DateTime<Utc>, Option<DateTime<Utc>>),
    /// The reductions of the run for the point that count and were not replaced, oldest first.
    pub reductions: Vec<&'a Reduction>,
    /// The recordings of the run.
    pub gathered: &'a Gathered,
}

/// Over what a figure was taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
#[schema(as = TakenOver)]
pub enum Over {
    /// The interval.
    Interval,
    /// The whole run, from its first noted time to its last: time above a rating is used up over all of it.
    Run,
}

/// Where a figure comes from.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct ProposedSource {
    /// The recording.
    pub recording: Digest,
    /// The interval.
    pub interval: IntervalNumber,
    /// Over what it was taken.
    pub over: Over,
    /// How: the statistic with the threshold where it has one, or the reduction with the figure of its answer.
    pub method: String,
    /// The version of that.
    pub version: String,
    /// The reduction, where the figure is one of its answer.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reduction: Option<ReductionNumber>,
    /// From how many readings.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub readings: Option<usize>,
    /// The share of the time that lies in gaps, from 0 to 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub share_missing: Option<f64>,
    /// The first reading, by the run's clock.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub first: Option<DateTime<Utc>>,
    /// The last reading.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last: Option<DateTime<Utc>>,
}

/// One figure that is proposed, or why there is none.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct ProposedValue {
    /// Channel or derived parameter.
    pub parameter: ChannelCode,
    /// What is taken from it.
    pub statistic: Statistic,
    /// The figure, in `unit`; absent: missing, which is never a pass.
    pub value: Option<f64>,
    /// Its unit: that of the criterion, else of the limit. A rate is in it a second, unless it is a rate by itself.
    pub unit: Unit,
    /// When it was so, by the run's clock.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<DateTime<Utc>>,
    /// What asks for it.
    pub asked_by: Vec<AskedBy>,
    /// Where it comes from; absent where no recording has anything of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<ProposedSource>,
    /// Why there is no figure, and what to do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub missing: Option<String>,
}

impl ProposedValue {
    /// The value as a result takes it; absent where no recording has anything of it.
    pub fn recorded(&self) -> Option<RecordedValue> {
        let source = self.source.as_ref()?;
        Some(RecordedValue {
            parameter: self.parameter.clone(),
            statistic: self.statistic,
            value: self.value,
            unit: self.unit,
            recording: source.recording.clone(),
            interval: source.interval,
            method: source.method.clone(),
            version: source.version.clone(),
        })
    }

    /// The value as verdicts are given on it.
    pub fn measured(&self) -> Option<MeasuredValue> {
        let RecordedValue {
            parameter,
            statistic,
            value,
            unit,
            recording,
            interval,
            method,
            version,
        } = self.recorded()?;
        let source = ValueSource::Recording { recording, interval, method, version };
        Some(MeasuredValue { parameter, statistic, value, unit, source })
    }
}

/// What a point asks for of whoever reads instruments: by its criteria, by the limits that it names, and by the channels that
/// it requires. No recording is looked at.
pub fn wished(state: &State, point: &Point) -> Vec<Wish> {
    wishes(&Basis {
        point,
        limits: state.limits_in_force(point).map(|known| &*known.limit).collect(),
        channel: &|code| state.channels.get(code),
        intervals: Vec::new(),
        run: (DateTime::UNIX_EPOCH, None),
        reductions: Vec::new(),
        gathered: &Gathered::new(Vec::new()),
    })
}

/// Proposes a value for everything that the point's criteria, its limits and its required channels ask for.
///
/// Of several intervals the greatest and the smallest figure are over all of them, the first and the last are of the
/// earliest and the latest, and a mean is of one interval only. Where one of the intervals lacks a figure, there is none.
/// A limit that the point does not name asks for a figure where its channel was recorded.
///
/// A figure is true to the readings: its maximum also counts a peak that is shorter than a limit's dwell. So a verdict may
/// be stricter than the list of exceedances.
///
/// # Errors
///
/// [`CannotRead`], where columns are damaged.
pub fn propose(basis: &Basis<'_>) -> Result<Vec<ProposedValue>, CannotRead> {
    let figures = Figures { basis };
    wishes(basis).iter().map(|wish| one(wish, basis, &figures)).collect()
}

fn one(
    wish: &Wish,
    basis: &Basis<'_>,
    figures: &Figures<'_, '_>,
) -> Result<ProposedValue, CannotRead> {
    let taken = match wish.statistic {
        Statistic::Value => figures.of_reduction(wish),
        _ if !basis.gathered.has(&wish.parameter) => Proposed::missing(format!(
            "no recording of the run has readings of {}: type in what was read off, or attach a recording that has it",
            wish.parameter
        )),
        _ => figures.of_channel(wish)?,
    };
    Ok(ProposedValue {
        parameter: wish.parameter.clone(),
        statistic: wish.statistic,
        value: taken.value,
        unit: wish.unit,
        at: taken.at.and_then(Micros::to_utc),
        asked_by: wish.asked_by.clone(),
        source: taken.source,
        missing: taken.missing,
    })
}

/// A figure on its way.
#[derive(Debug, Clone, PartialEq, Default)]
struct Proposed {
    value: Option<f64>,
    at: Option<Micros>,
    source: Option<ProposedSource>,
    missing: Option<String>,
}

impl Proposed {
    fn missing(why: impl Into<String>) -> Self {
        Self { missing: Some(why.into()), ..Self::default() }
    }
}

#[cfg(test)]
mod tests;
