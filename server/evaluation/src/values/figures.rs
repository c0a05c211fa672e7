//! Takes the figures: of channels over intervals or over the whole run, and of reductions.

use programme::codes::ChannelCode;
use programme::measure::{Kind, Measure, Unit};
use programme::nouns::{LimitKind, Statistic};
use programme::state::Interval;
use recordings::columns::CannotRead;
use recordings::statistics::{Demands, Taken, Wanted, take};
use recordings::{Micros, Series};

use super::wishes::Wish;
use super::{Basis, Over, Proposed, ProposedSource, VERSION};
use crate::gathered::Reading;
use crate::reductions::Answer;

pub(super) struct Figures<'a, 'b> {
    pub basis: &'a Basis<'b>,
}

/// When an interval begins by the run's clock, the interval, and its figure in the unit that is wished.
type OfInterval<'a> = (Micros, &'a Interval, Proposed);

impl Figures<'_, '_> {
    /// The figure of a channel, over all intervals together or over the run.
    pub fn of_channel(&self, wish: &Wish) -> Result<Proposed, CannotRead> {
        let intervals = &self.basis.intervals;
        if wish.statistic == Statistic::TimeAbove {
            return self.time_above(wish);
        }
        let mut taken: Vec<OfInterval<'_>> = Vec::with_capacity(intervals.len());
        for interval in intervals {
            let home = self.basis.gathered.recording(&interval.recording);
            let begins =
                home.map_or(Micros::default(), |it| it.facts.by_runs_clock(interval.from.into()));
            taken.push((begins, interval, self.of_interval(wish, interval)?));
        }
        Ok(together(wish.statistic, taken))
    }

    /// The figure of one interval, of the first recording that is complete enough for it.
    fn of_interval(&self, wish: &Wish, interval: &Interval) -> Result<Proposed, CannotRead> {
        let Some(home) = self.basis.gathered.recording(&interval.recording) else {
            return Ok(Proposed::missing("the recording of the interval does not count"));
        };
        let span = (
            home.facts.by_runs_clock(interval.from.into()),
            home.facts.by_runs_clock(interval.to.into()),
        );
        let wanted = match wish.statistic {
            Statistic::Max => Wanted::Max,
            Statistic::Min => Wanted::Min,
            Statistic::Mean => Wanted::Mean,
            Statistic::First => Wanted::First,
            Statistic::Last => Wanted::Last,
            Statistic::Rate => Wanted::Rate,
            Statistic::Spread => Wanted::Spread,
            Statistic::TimeAbove | Statistic::Value => {
                return Ok(Proposed::missing("an interval by itself has no such figure"));
            }
        };
        let method = wish.statistic.as_str().to_owned();
        self.first_complete(wish, wanted, interval, (span, Over::Interval), &method)
    }

    /// Seconds above the lowest threshold that any limit has on the channel, over the whole run.
    fn time_above(&self, wish: &Wish) -> Result<Proposed, CannotRead> {
        let Some(interval) = self.basis.intervals.first() else {
            return Ok(Proposed::missing("take an interval of a recording first"));
        };
        let of_channel = self.basis.limits.iter().filter(|limit| limit.channel == wish.parameter);
        let threshold = of_channel
            .filter_map(|limit| Some(Measure::new(limit.kind.counts_time_above()?, limit.unit)))
            .min_by(|a, b| a.in_kinds_unit().total_cmp(&b.in_kinds_unit()));
        let Some(threshold) = threshold else {
            return Ok(Proposed::missing(format!(
                "no limit in force says above which value of {} time is counted",
                wish.parameter
            )));
        };
        let (begun, Some(over)) = self.basis.run else {
            return Ok(Proposed::missing(
                "time above is counted over the whole run, and the run is not over: note when power was switched off",
            ));
        };
        let span = ((begun.into(), over.into()), Over::Run);
        let method = format!("time above {threshold} over the whole run");
        // The threshold is converted to the unit of each recording.
        let wanted = Wanted::TimeAbove { threshold: threshold.value };
        let in_unit = Wish { unit: threshold.unit, ..wish.clone() };
        let seconds = self.first_complete(&in_unit, wanted, interval, span, &method)?;
        let value = seconds.value.and_then(|s| Measure::new(s, Unit::Second).in_unit(wish.unit));
        Ok(Proposed { value, ..seconds })
    }

    /// Takes a figure of the first recording that has the channel completely enough; where none has, why the first has not.
    fn first_complete(
        &self,
        wish: &Wish,
        wanted: Wanted,
        interval: &Interval,
        (span, over): ((Micros, Micros), Over),
        method: &str,
    ) -> Result<Proposed, CannotRead> {
        let gathered = self.basis.gathered;
        let readings = gathered.readings(&wish.parameter, Some(&interval.recording), span)?;
        let others = match self.others_of_group(wish, interval, span)? {
            Ok(others) => others,
            Err(why) => return Ok(Proposed::missing(why)),
        };
        let mut refused: Option<Proposed> = None;
        for reading in &readings {
            let source = |taken: Option<&Taken>| ProposedSource {
                recording: reading.recording.clone(),
                interval: interval.number,
                over,
                method: method.to_owned(),
                version: VERSION.to_owned(),
                reduction: None,
                readings: Some(
                    taken.map_or_else(|| reading.series().present().count(), |it| it.readings),
                ),
                share_missing: taken.map(|it| it.share_missing),
                first: reading.series().present().next().and_then(|(at, _)| at.to_utc()),
                last: reading.series().present().next_back().and_then(|(at, _)| at.to_utc()),
            };
            let taken = match converted(reading, wish) {
                None => Err(format!(
                    "{} is recorded in {}, which does not compare with {}",
                    wish.parameter,
                    reading.unit.as_str(),
                    wish.unit.as_str()
                )),
                Some(own) => {
                    let group: Vec<(&str, Series<'_>)> = std::iter::once(&own)
                        .chain(&others)
                        .map(|one| (one.channel.as_str(), one.series()))
                        .collect();
                    take(wanted, &group, span, &Demands::default()).map_err(|not| not.to_string())
                }
            };
            let proposed = match taken {
                Ok(taken) if taken.value.is_finite() => Proposed {
                    value: Some(taken.value * factor_of_rate(wish)),
                    at: taken.at,
                    source: Some(source(Some(&taken))),
                    missing: None,
                },
                Ok(_) => Proposed {
                    source: Some(source(None)),
                    ..Proposed::missing(format!("{} has a reading without measure", wish.parameter))
                },
                Err(why) => Proposed { source: Some(source(None)), ..Proposed::missing(why) },
            };
            if proposed.value.is_some() {
                return Ok(proposed);
            }
            refused.get_or_insert(proposed);
        }
        Ok(refused.unwrap_or_else(|| {
            Proposed::missing(format!("no recording of the run has readings of {}", wish.parameter))
        }))
    }

    /// For a spread, the other channels of the group in the unit that is wished; else none.
    fn others_of_group(
        &self,
        wish: &Wish,
        interval: &Interval,
        span: (Micros, Micros),
    ) -> Result<Result<Vec<Reading>, String>, CannotRead> {
        if wish.statistic != Statistic::Spread {
            return Ok(Ok(Vec::new()));
        }
        let mut group: Vec<&ChannelCode> = Vec::new();
        for limit in &self.basis.limits {
            if let LimitKind::Spread { with, .. } = &limit.kind
                && limit.channel == wish.parameter
            {
                group.extend(with);
            }
        }
        group.sort_unstable();
        group.dedup();
        if group.is_empty() {
            return Ok(Err(format!(
                "no limit in force says with which sensors {} is compared",
                wish.parameter
            )));
        }
        let mut others = Vec::with_capacity(group.len());
        for channel in group {
            let readings =
                self.basis.gathered.readings(channel, Some(&interval.recording), span)?;
            let reading = readings.first().and_then(|reading| converted(reading, wish));
            let Some(reading) = reading else {
                return Ok(Err(format!(
                    "{channel}, which belongs to the group, is not recorded in a unit that compares"
                )));
            };
            others.push(reading);
        }
        Ok(Ok(others))
    }

    /// A figure of the newest reduction that was made to fill the parameter.
    pub fn of_reduction(&self, wish: &Wish) -> Proposed {
        let found = self.basis.reductions.iter().rev().find_map(|reduction| {
            let answer: Answer = serde_json::from_str(&reduction.result).ok()?;
            let fill = answer.fills.iter().find(|fill| fill.parameter == wish.parameter)?.clone();
            Some((*reduction, answer, fill))
        });
        let Some((reduction, answer, fill)) = found else {
            return Proposed::missing(format!(
                "no reduction that counts fills {}: reduce an interval with it in fills, or type in what was found",
                wish.parameter
            ));
        };
        let Some(interval) = reduction.interval else {
            return Proposed::missing(format!("reduction {} is of no interval", reduction.number));
        };
        let source = ProposedSource {
            recording: reduction.recording.clone(),
            interval,
            over: Over::Interval,
            method: format!("reduction {}, {} {}", reduction.number, reduction.topic, fill.pointer),
            version: reduction.version.clone(),
            reduction: Some(reduction.number),
            readings: None,
            share_missing: Some(answer.share_missing),
            first: None,
            last: None,
        };
        let missing =
            |why: String| Proposed { source: Some(source.clone()), ..Proposed::missing(why) };
        if let Some(beyond) = answer.extrapolation_of(&fill.pointer) {
            let by = beyond.percent.map_or(String::new(), |percent| format!(" by {percent:.0} %"));
            return missing(format!(
                "the figure lies beyond what was recorded{by}, and an extrapolation fills nothing"
            ));
        }
        let Some(value) = answer.output.pointer(&fill.pointer).and_then(serde_json::Value::as_f64)
        else {
            return missing(format!(
                "the answer of reduction {} has no {}",
                reduction.number, fill.pointer
            ));
        };
        match Measure::new(value, fill.unit).in_unit(wish.unit) {
            Some(value) => {
                Proposed { value: Some(value), source: Some(source), ..Proposed::default() }
            }
            None => missing(format!(
                "{} is in {}, which does not compare with {}",
                fill.pointer,
                fill.unit.as_str(),
                wish.unit.as_str()
            )),
        }
    }
}

/// Whether a figure is a change: its unit may be one of differences or of rates, which no sensor reads.
const fn is_change(statistic: Statistic) -> bool {
    matches!(statistic, Statistic::Rate | Statistic::Spread)
}

/// Readings in the unit in which the statistic is taken. For a change of temperature they stay as they are, since a degree
/// of difference is a kelvin.
fn converted(reading: &Reading, wish: &Wish) -> Option<Reading> {
    let temperature = matches!(reading.unit.kind(), Kind::Temperature);
    let of_change = matches!(
        wish.unit.kind(),
        Kind::Temperature | Kind::TemperatureDifference | Kind::TemperatureRate
    );
    if is_change(wish.statistic) && temperature && of_change {
        return Some(reading.clone());
    }
    reading.in_unit(wish.unit)
}

/// What a rate a second is multiplied with to be in the unit that is wished; only rates of temperature have their own.
fn factor_of_rate(wish: &Wish) -> f64 {
    match (wish.statistic, wish.unit.kind()) {
        (Statistic::Rate, Kind::TemperatureRate) => {
            Measure::new(1.0, Unit::KelvinPerSecond).in_unit(wish.unit).unwrap_or(f64::NAN)
        }
        _ => 1.0,
    }
}

/// One figure of several intervals. Where one of them has none, there is none.
fn together(statistic: Statistic, mut taken: Vec<OfInterval<'_>>) -> Proposed {
    if taken.is_empty() {
        return Proposed::missing("take an interval of a recording first");
    }
    if let Some(place) = taken.iter().position(|(_, _, proposed)| proposed.value.is_none()) {
        let (_, interval, mut proposed) = taken.swap_remove(place);
        if let Some(why) = proposed.missing.as_mut() {
            *why = format!("interval {}: {why}", interval.number);
        }
        return proposed;
    }
    if statistic == Statistic::Mean && taken.len() > 1 {
        return Proposed::missing("a mean is taken of one interval: name one only");
    }
    let figure = |proposed: &Proposed| proposed.value.unwrap_or(f64::NAN);
    taken.sort_by_key(|(begins, interval, _)| (*begins, interval.number));
    let furthest = taken.into_iter().map(|(_, _, proposed)| proposed).reduce(|a, b| {
        let later = match statistic {
            Statistic::Max | Statistic::Rate | Statistic::Spread => figure(&b) > figure(&a),
            Statistic::Min => figure(&b) < figure(&a),
            Statistic::Last => true,
            Statistic::Mean | Statistic::First | Statistic::TimeAbove | Statistic::Value => false,
        };
        if later { b } else { a }
    });
    furthest.unwrap_or_default()
}
