//! In which order components heat, as all recordings of a run show it together.
//!
//! It is judged over the end of the last stretch under load. What load is the programme does not say in words of its own, so
//! it is taken from the limits in force for the run: a rating of power, or else one of current, and a load of at least half
//! of what the rating allows for ever. That share, and the length of the stretch, are our choice: less heats too little to
//! tell an order.

use programme::codes::LimitCode;
use programme::commands::JudgedHeating;
use programme::measure::{Kind, Unit};
use programme::nouns::{LimitKind, Statistic};
use programme::record::{HeatingComponent, HeatingOutcome};
use programme::state::LimitState;
use recordings::columns::CannotRead;
use recordings::heating::{
    Component, Heated, Order, TimeToLimit, last_under_load, order_of_heating,
};
use recordings::limits::{KindOfLimit, WatchOptions};

use crate::judged::Question;
use crate::rules::{Rule, rule};
use crate::run_recordings::{Chain, Channels, Line, RunRecording, chains, has, line};

/// The share of the continuous rating from which on it is a load.
const SHARE_OF_CONTINUOUS: f64 = 0.5;

/// How much of the end of the stretch under load is looked at, in seconds.
const END_OF_LOAD_S: f64 = 180.0;

/// A load by which it is told when components were heated.
struct Load<'a> {
    limit: &'a LimitState,
    rule: Rule,
    at_least: f64,
}

/// Judges the order of heating, where the policy has one and the recordings say anything of it.
///
/// Nothing is judged where no limit tells what load is, where no recording of the run has the load's channel, and where there
/// was no load for long enough, and where at this load no component would ever reach its limit: none of them tells anything
/// of the order, and what was judged before stands, so that a mild run settles no wrong order. Where there was
/// load a component without readings leaves the order unknown, and so does a load whose channel was silent.
///
/// # Errors
///
/// [`CannotRead`] where columns are damaged.
pub fn heating<C: Channels>(
    question: &Question,
    recordings: &[RunRecording<C>],
) -> Result<Option<JudgedHeating>, CannotRead> {
    let order = &question.heating_order;
    let components: Option<Vec<Part<'_>>> = order.iter().map(|it| part(question, it)).collect();
    let Some(components) = components.filter(|components| !components.is_empty()) else {
        return Ok(None);
    };
    let chains = chains(recordings);
    let lines = components
        .iter()
        .map(|it| longest(&chains, it.limit.limit.channel.as_str(), it.rule.unit, question))
        .collect::<Result<Vec<_>, _>>()?;
    let Some(load) = load(question) else { return Ok(None) };
    let (channel, unit) = (load.limit.limit.channel.as_str(), load.rule.unit);
    if !chains.iter().any(|chain| has(chain, channel, unit)) {
        return Ok(None);
    }
    let Some(load_line) = longest(&chains, channel, unit, question)? else {
        return Ok(Some(unknown(&components, &lines, question.heating_horizon_min)));
    };
    let gap_s = WatchOptions::default().gap_s;
    let stretch = last_under_load(load_line.series(), load.at_least, END_OF_LOAD_S, gap_s);
    let Some(stretch) = stretch else { return Ok(None) };
    let wanted: Vec<_> = components.iter().map(|it| it.component.clone()).collect();
    let series_of = |channel: &str| {
        let place = wanted.iter().position(|it| it.channel == channel)?;
        lines[place].as_ref().map(Line::series)
    };
    let horizon_min = question.heating_horizon_min;
    let horizon_s = horizon_min.map(|minutes| 60.0 * f64::from(minutes));
    let judged = order_of_heating(&wanted, &series_of, stretch, horizon_s);
    if judged.order == Order::InOrder && judged.first.is_none() {
        return Ok(None);
    }
    let found: Vec<_> = components
        .iter()
        .zip(&judged.components)
        .map(|(part, heated)| part.heated(heated))
        .collect();
    // What has no reading under load is not known, whatever the others show.
    let all_read = found.iter().all(|component| component.peak.is_some());
    let outcome = match judged.order {
        Order::InOrder if all_read => HeatingOutcome::InOrder,
        Order::InOrder | Order::Unknown => HeatingOutcome::Unknown,
        Order::OutOfOrder => HeatingOutcome::OutOfOrder,
    };
    let first = judged.first.and_then(|first| LimitCode::new(&first).ok());
    Ok(Some(JudgedHeating { components: found, outcome, first, horizon_min }))
}

/// A component with its limit.
struct Part<'a> {
    limit: &'a LimitState,
    rule: Rule,
    component: Component,
}

impl Part<'_> {
    fn heated(&self, heated: &Heated) -> HeatingComponent {
        let (time_to_limit_s, low_s, high_s) = match heated.time_to_limit {
            TimeToLimit::Reaches { seconds, low_s, high_s, .. } => {
                (Some(seconds), Some(low_s), high_s)
            }
            TimeToLimit::Never { low_s, .. } => (None, low_s, None),
            TimeToLimit::Unknown { .. } => (None, None, None),
        };
        let finite = |seconds: Option<f64>| seconds.filter(|seconds| seconds.is_finite());
        HeatingComponent {
            peak: heated.peak.map(|peak| self.rule.in_limits_unit(Statistic::Max, peak)),
            time_to_limit_s: finite(time_to_limit_s),
            low_s: finite(low_s),
            high_s: finite(high_s),
            ..self.without_figures()
        }
    }

    fn without_figures(&self) -> HeatingComponent {
        HeatingComponent {
            limit: self.limit.limit.code.clone(),
            limit_revision: self.limit.changed_at,
            channel: self.limit.limit.channel.clone(),
            peak: None,
            time_to_limit_s: None,
            low_s: None,
            high_s: None,
        }
    }
}

fn part<'a>(question: &Question, limit: &'a LimitState) -> Option<Part<'a>> {
    let rule = rule(&limit.limit, &question.channels).ok()?;
    let greatest = match rule.rule.kind {
        KindOfLimit::Maximum { limit, .. } => limit,
        KindOfLimit::Range { high, .. } => high,
        KindOfLimit::Minimum { .. }
        | KindOfLimit::Rate { .. }
        | KindOfLimit::Spread { .. }
        | KindOfLimit::TimeAbove { .. }
        | KindOfLimit::Rating { .. } => return None,
    };
    let component = Component {
        limit_code: limit.limit.code.to_string(),
        channel: limit.limit.channel.to_string(),
        limit: greatest,
    };
    Some(Part { limit, rule, component })
}

/// The rating of power by which load is told, or else of current; of several the first by code.
fn load<'a>(question: &'a Question) -> Option<Load<'a>> {
    let of_kind = |kind: Kind| {
        question.limits.iter().find_map(|limit| {
            let LimitKind::Rating { .. } = limit.limit.kind else { return None };
            let rule = rule(&limit.limit, &question.channels).ok()?;
            let KindOfLimit::Rating { continuous, .. } = rule.rule.kind else { return None };
            let at_least = SHARE_OF_CONTINUOUS * continuous;
            (rule.unit.kind() == kind).then_some(Load { limit, rule, at_least })
        })
    };
    of_kind(Kind::Power).or_else(|| of_kind(Kind::Current))
}

/// The line of a channel with the most readings; absent where none has any.
fn longest<C: Channels>(
    chains: &[Chain<'_, C>],
    channel: &str,
    unit: Unit,
    question: &Question,
) -> Result<Option<Line>, CannotRead> {
    let mut longest: Option<(usize, Line)> = None;
    for chain in chains.iter().filter(|chain| has(chain, channel, unit)) {
        let line = line(chain, channel, unit, question.stretch)?;
        let readings = line.series().present().count();
        if readings > longest.as_ref().map_or(0, |(most, _)| *most) {
            longest = Some((readings, line));
        }
    }
    Ok(longest.map(|(_, line)| line))
}

/// Where nobody knows the load, nothing but the greatest readings of the run is known.
fn unknown(
    components: &[Part<'_>],
    lines: &[Option<Line>],
    horizon_min: Option<u32>,
) -> JudgedHeating {
    let greatest = |line: &Line| line.series().present().map(|(_, value)| value).reduce(f64::max);
    let components = components.iter().zip(lines).map(|(part, line)| {
        let peak = line.as_ref().and_then(greatest);
        let peak = peak.map(|peak| part.rule.in_limits_unit(Statistic::Max, peak));
        HeatingComponent { peak, ..part.without_figures() }
    });
    JudgedHeating {
        components: components.collect(),
        outcome: HeatingOutcome::Unknown,
        first: None,
        horizon_min,
    }
}
