//! From a limit of the programme to a rule that recordings are held against, and figures back into the limit's unit.
//!
//! Insulation resistance needs no rule of its own. What is wanted of it is so many ohms for each volt of the working voltage,
//! which the maker of the system states (UN Regulation No. 100, 5.1.3, see [`recordings::isolation`]). Where a recorder gives
//! ohms a volt, the limit is a minimum on that channel; where it gives ohms, the limit is a minimum of so many ohms, those
//! of the stated voltage. Nothing is divided by a recorded voltage: that of an empty pack would ask for less.

use std::collections::BTreeMap;

use programme::codes::ChannelCode;
use programme::measure::{Measure, Unit};
use programme::nouns::{Channel, Limit, LimitKind, Statistic};
use programme::verdict::of_change;
use recordings::limits::{KindOfLimit, LimitRule, TimedRating, WatchOptions};

/// Why a limit cannot be held against recordings as things stand.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoRule {
    /// Its channel is not defined.
    #[error("{channel} is no channel of the programme")]
    NoChannel {
        /// The channel.
        channel: ChannelCode,
    },
    /// Its unit does not compare with its channel's, which was defined anew since.
    #[error("the limit is in {}, which does not compare with {}, the unit of {channel}", limit.as_str(), found.as_str())]
    Unit {
        /// The channel.
        channel: ChannelCode,
        /// The limit's unit.
        limit: Unit,
        /// The channel's unit.
        found: Unit,
    },
}

/// A limit's figures in the unit of its channel, and the way back.
#[derive(Debug, Clone, PartialEq)]
pub struct Rule {
    /// What recordings are held against.
    pub rule: LimitRule,
    /// How they are held against it: with the accuracy of the channels that it reads.
    pub options: WatchOptions,
    /// The unit of the channel, in which the rule's figures are.
    pub unit: Unit,
    limit_unit: Unit,
}

/// The statistic by whose unit the figures of a kind of limit convert: a rate and a spread are differences, so that no zero
/// of a scale plays a part.
const fn statistic_of(kind: &LimitKind) -> Statistic {
    match kind {
        LimitKind::Rate { .. } => Statistic::Rate,
        LimitKind::Spread { .. } => Statistic::Spread,
        LimitKind::Maximum { .. }
        | LimitKind::Minimum { .. }
        | LimitKind::Range { .. }
        | LimitKind::TimeAbove { .. }
        | LimitKind::Rating { .. } => Statistic::Max,
    }
}

fn converted(figure: f64, statistic: Statistic, from: Unit, to: Unit) -> Option<f64> {
    if from == to {
        return Some(figure);
    }
    Measure::new(figure, of_change(statistic, from)).in_unit(of_change(statistic, to))
}

/// Makes the rule of a limit. The figures become those of the channel's unit, those of time stay seconds; the accuracy of a
/// sensor is what its channel states, and in a group in the unit of the limit's own channel.
///
/// # Errors
///
/// [`NoRule`] where the limit's channel is not defined, or no longer in a unit that compares with the limit's.
pub fn rule(limit: &Limit, channels: &BTreeMap<ChannelCode, Channel>) -> Result<Rule, NoRule> {
    let own = channels
        .get(&limit.channel)
        .ok_or_else(|| NoRule::NoChannel { channel: limit.channel.clone() })?;
    let statistic = statistic_of(&limit.kind);
    if converted(0.0, statistic, limit.unit, own.unit).is_none() {
        let (channel, limit, found) = (limit.channel.clone(), limit.unit, own.unit);
        return Err(NoRule::Unit { channel, limit, found });
    }
    // Units of one kind have no zero of their own, so what converts once converts always.
    let here = |figure: f64| converted(figure, statistic, limit.unit, own.unit).unwrap_or(f64::NAN);
    let maybe = |figure: Option<f64>| figure.map(here);
    let kind = match &limit.kind {
        LimitKind::Maximum { caution, limit } => {
            KindOfLimit::Maximum { caution: maybe(*caution), limit: here(*limit) }
        }
        LimitKind::Minimum { caution, limit } => {
            KindOfLimit::Minimum { caution: maybe(*caution), limit: here(*limit) }
        }
        LimitKind::Range { low, high, caution_low, caution_high } => KindOfLimit::Range {
            low: here(*low),
            high: here(*high),
            caution_low: maybe(*caution_low),
            caution_high: maybe(*caution_high),
        },
        LimitKind::Rate { caution_per_s, limit_per_s } => KindOfLimit::Rate {
            caution_per_s: maybe(*caution_per_s),
            limit_per_s: here(*limit_per_s),
        },
        LimitKind::Spread { with, caution, limit } => KindOfLimit::Spread {
            with: with.iter().map(ToString::to_string).collect(),
            caution: maybe(*caution),
            limit: here(*limit),
        },
        LimitKind::TimeAbove { threshold, caution_s, limit_s } => KindOfLimit::TimeAbove {
            threshold: here(*threshold),
            caution_s: *caution_s,
            limit_s: *limit_s,
        },
        LimitKind::Rating { continuous, timed } => KindOfLimit::Rating {
            continuous: here(*continuous),
            timed: timed
                .iter()
                .map(|it| TimedRating { value: here(it.value), seconds: it.seconds })
                .collect(),
        },
    };
    let rule = LimitRule {
        code: limit.code.to_string(),
        channel: limit.channel.to_string(),
        unit: own.unit.to_string(),
        kind,
        dwell_s: limit.dwell_s,
    };
    let accuracy = rule
        .channels()
        .into_iter()
        .filter_map(|code| {
            let channel = channels.get(code)?;
            // An accuracy is a difference, whatever the channel measures.
            let accuracy = converted(channel.accuracy?, Statistic::Spread, channel.unit, own.unit)?;
            Some((code.to_owned(), accuracy))
        })
        .collect();
    let options = WatchOptions { accuracy, ..WatchOptions::default() };
    Ok(Rule { rule, options, unit: own.unit, limit_unit: limit.unit })
}

impl Rule {
    /// A figure of a statistic in the unit that the limit states its own in; a time stays in seconds.
    pub fn in_limits_unit(&self, statistic: Statistic, figure: f64) -> f64 {
        match statistic {
            Statistic::TimeAbove => figure,
            other => converted(figure, other, self.unit, self.limit_unit).unwrap_or(f64::NAN),
        }
    }
}

/// The programme's word for a statistic.
pub const fn statistic(statistic: recordings::Statistic) -> Statistic {
    match statistic {
        recordings::Statistic::Max => Statistic::Max,
        recordings::Statistic::Min => Statistic::Min,
        recordings::Statistic::Mean => Statistic::Mean,
        recordings::Statistic::First => Statistic::First,
        recordings::Statistic::Last => Statistic::Last,
        recordings::Statistic::Rate => Statistic::Rate,
        recordings::Statistic::Spread => Statistic::Spread,
        recordings::Statistic::TimeAbove => Statistic::TimeAbove,
    }
}
