//! What a point asks of recordings: one wish for each channel and statistic, however many ask for it.

use super::{Basis, Limit, LimitCode, Statistic};
use programme::codes::ChannelCode;
use programme::measure::Unit;
use programme::nouns::LimitKind;
use serde::Serialize;

/// Who asks for a value.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, utoipa::ToSchema)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum AskedBy {
    /// A criterion of the point.
    Criterion {
        /// Its place, from 0.
        place: usize,
    },
    /// A limit.
    Limit {
        /// Which.
        limit: LimitCode,
    },
    /// The point requires that the channel is recorded.
    DataRequired {},
}

/// One value that is asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Wish {
    /// Channel or derived parameter.
    pub parameter: ChannelCode,
    /// What is taken from it.
    pub statistic: Statistic,
    /// The unit of the figure.
    pub unit: Unit,
    /// What asks for it.
    pub asked_by: Vec<AskedBy>,
}

/// Everything that a point asks for: by its criteria first, then by limits, then by the channels that it requires.
pub(super) fn wishes(basis: &Basis<'_>) -> Vec<Wish> {
    let mut wishes: Vec<Wish> = Vec::new();
    let mut ask = |parameter: &ChannelCode, statistic, unit, by: AskedBy| {
        let same =
            wishes.iter_mut().find(|it| it.parameter == *parameter && it.statistic == statistic);
        match same {
            Some(wish) => wish.asked_by.push(by),
            None => wishes.push(Wish {
                parameter: parameter.clone(),
                statistic,
                unit,
                asked_by: vec![by],
            }),
        }
    };
    for (place, criterion) in basis.point.criteria.iter().enumerate() {
        let by = AskedBy::Criterion { place };
        ask(&criterion.parameter, criterion.statistic, criterion.unit, by);
    }
    for limit in &basis.limits {
        let named = basis.point.limits.contains(&limit.code);
        if !named && !basis.gathered.has(&limit.channel) {
            continue;
        }
        for (statistic, unit) in statistics_of(limit) {
            ask(&limit.channel, statistic, unit, AskedBy::Limit { limit: limit.code.clone() });
        }
    }
    for channel in &basis.point.data_required {
        if wishes.iter().any(|wish| wish.parameter == *channel) {
            continue;
        }
        let Some(known) = (basis.channel)(channel) else { continue };
        wishes.push(Wish {
            parameter: channel.clone(),
            statistic: Statistic::Mean,
            unit: known.unit,
            asked_by: vec![AskedBy::DataRequired {}],
        });
    }
    wishes
}

/// The statistics that a limit is held against, each with the unit of its figure.
fn statistics_of(limit: &Limit) -> Vec<(Statistic, Unit)> {
    let unit = limit.unit;
    match &limit.kind {
        LimitKind::Maximum { .. } => vec![(Statistic::Max, unit)],
        LimitKind::Minimum { .. } => vec![(Statistic::Min, unit)],
        LimitKind::Range { .. } => vec![(Statistic::Min, unit), (Statistic::Max, unit)],
        LimitKind::Rate { .. } => vec![(Statistic::Rate, unit)],
        LimitKind::Spread { .. } => vec![(Statistic::Spread, unit)],
        LimitKind::TimeAbove { .. } => vec![(Statistic::TimeAbove, Unit::Second)],
        LimitKind::Rating { .. } => {
            vec![(Statistic::Max, unit), (Statistic::TimeAbove, Unit::Second)]
        }
    }
}
