//! What measured values say against criteria, conditions and limits. Missing is never a pass.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::codes::{ChannelCode, LimitCode};
use crate::holds::edge::{is_at_least, is_at_most};
use crate::measure::{Measure, Unit};
use crate::nouns::{
    Axis, Comparison, Condition, Criterion, Limit, LimitKind, Point, Statistic, TimedRating,
};
use crate::record::MeasuredValue;

/// How a criterion, a condition or the whole came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// Shown.
    Met,
    /// Measured, and not shown.
    NotMet,
    /// Not measured; never a pass.
    Missing,
}

/// How a value lies to a limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum LimitOutcome {
    /// Inside, and short of the caution value.
    Within,
    /// Inside, past the caution value.
    Caution,
    /// Past the limit.
    Beyond,
    /// Not measured; never a pass.
    Missing,
}

/// One criterion and what was measured for it.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct CriterionVerdict {
    /// The criterion.
    pub criterion: Criterion,
    /// What was measured, in the criterion's unit.
    pub measured: Option<f64>,
    /// How it came out.
    pub outcome: Outcome,
}

/// One condition and what was reached.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct ConditionVerdict {
    /// The axis.
    pub axis: Axis,
    /// Target and tolerance.
    pub condition: Condition,
    /// What was reached, in the condition's unit.
    pub reached: Option<f64>,
    /// How it came out.
    pub outcome: Outcome,
}

/// One limit and the value furthest towards it.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct LimitVerdict {
    /// The limit.
    pub limit: LimitCode,
    /// The statistic that decided.
    pub statistic: Statistic,
    /// The value, in the limit's unit (for `time-above` in seconds, for `rate` in the unit a second).
    pub measured: Option<f64>,
    /// How it lies.
    pub outcome: LimitOutcome,
}

/// All that a result says.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct Verdict {
    /// Each criterion, in the point's order.
    pub criteria: Vec<CriterionVerdict>,
    /// Each condition.
    pub conditions: Vec<ConditionVerdict>,
    /// Each limit that the point names, and each other limit of the phase for which there is a value; a rating that was
    /// passed with the time for which it was, though nobody measured it.
    pub limits: Vec<LimitVerdict>,
    /// Channels that had to be recorded and were not.
    pub channels_missing: Vec<ChannelCode>,
    /// The whole: met only where all is met and nothing is missing. A value beyond a limit is told by `exceeded`.
    pub outcome: Outcome,
    /// Whether any value lies beyond its limit.
    pub exceeded: bool,
}

/// Looks up what was measured, in a unit. A figure that is no number, or in a unit of another kind, is missing.
fn measured(
    values: &[MeasuredValue],
    parameter: &ChannelCode,
    statistic: Statistic,
    unit: Unit,
) -> Option<f64> {
    values
        .iter()
        .find(|value| value.parameter == *parameter && value.statistic == statistic)
        .and_then(|value| {
            let given = Measure::new(value.value?, of_change(statistic, value.unit));
            given.in_unit(of_change(statistic, unit))
        })
        .filter(|figure| figure.is_finite())
}

/// The unit that a spread or rate of temperatures is really in: people write its figures in degrees as well as in
/// kelvins, and a rate with or without "a second". Every other statistic is in the unit as written.
pub const fn of_change(statistic: Statistic, unit: Unit) -> Unit {
    match (statistic, unit) {
        (Statistic::Spread, Unit::Celsius) => Unit::Kelvin,
        (Statistic::Rate, Unit::Celsius | Unit::Kelvin) => Unit::KelvinPerSecond,
        (_, unit) => unit,
    }
}

fn against_criterion(criterion: &Criterion, values: &[MeasuredValue]) -> CriterionVerdict {
    let measured = measured(values, &criterion.parameter, criterion.statistic, criterion.unit);
    let outcome = match measured {
        None => Outcome::Missing,
        Some(figure) => {
            let met = match criterion.comparison {
                Comparison::AtMost => is_at_most(figure, criterion.value),
                Comparison::AtLeast => is_at_least(figure, criterion.value),
                Comparison::Between => criterion.upper.is_some_and(|upper| {
                    is_at_least(figure, criterion.value) && is_at_most(figure, upper)
                }),
            };
            if met { Outcome::Met } else { Outcome::NotMet }
        }
    };
    CriterionVerdict { criterion: criterion.clone(), measured, outcome }
}

fn against_condition(
    axis: Axis,
    condition: Condition,
    reached: &BTreeMap<Axis, Measure>,
) -> ConditionVerdict {
    let reached = reached
        .get(&axis)
        .and_then(|measure| measure.in_unit(condition.unit))
        .filter(|figure| figure.is_finite());
    let outcome = match reached {
        None => Outcome::Missing,
        Some(figure) if is_inside(figure, condition) => Outcome::Met,
        Some(_) => Outcome::NotMet,
    };
    ConditionVerdict { axis, condition, reached, outcome }
}

/// Whether a figure is inside the tolerance; one exactly at its edge is, though decimals have no exact binary form.
fn is_inside(figure: f64, condition: Condition) -> bool {
    is_at_least(figure, condition.target - condition.tolerance)
        && is_at_most(figure, condition.target + condition.tolerance)
}

/// How long a rating may be used above its continuous value: as long as the highest of the ratings that the greatest
/// value made use of, and where that is not known as long as the highest of all.
fn seconds_allowed(timed: &[TimedRating], greatest: Option<f64>) -> f64 {
    let used = greatest.and_then(|greatest| timed.iter().find(|it| is_at_most(greatest, it.value)));
    used.or(timed.last()).map_or(0.0, |rating| rating.seconds)
}

/// The statistics that a limit of this kind is held against, each with how to judge the figure; `greatest` is the
/// greatest value, where it is known.
fn judgements(limit: &Limit, greatest: Option<f64>) -> Vec<(Statistic, Unit, Judge)> {
    let unit = limit.unit;
    match &limit.kind {
        LimitKind::Maximum { caution, limit } => {
            vec![(Statistic::Max, unit, Judge::NotAbove { caution: *caution, limit: *limit })]
        }
        LimitKind::Minimum { caution, limit } => {
            vec![(Statistic::Min, unit, Judge::NotBelow { caution: *caution, limit: *limit })]
        }
        LimitKind::Range { low, high, caution_low, caution_high } => vec![
            (Statistic::Min, unit, Judge::NotBelow { caution: *caution_low, limit: *low }),
            (Statistic::Max, unit, Judge::NotAbove { caution: *caution_high, limit: *high }),
        ],
        LimitKind::Rate { caution_per_s, limit_per_s } => vec![(
            Statistic::Rate,
            unit,
            Judge::NotAbove { caution: *caution_per_s, limit: *limit_per_s },
        )],
        LimitKind::Spread { caution, limit, .. } => {
            vec![(Statistic::Spread, unit, Judge::NotAbove { caution: *caution, limit: *limit })]
        }
        LimitKind::TimeAbove { caution_s, limit_s, .. } => vec![(
            Statistic::TimeAbove,
            Unit::Second,
            Judge::NotAbove { caution: *caution_s, limit: *limit_s },
        )],
        LimitKind::Rating { continuous, timed } => {
            let highest = timed.iter().map(|rating| rating.value).fold(*continuous, f64::max);
            vec![
                (
                    Statistic::Max,
                    unit,
                    Judge::NotAbove { caution: Some(*continuous), limit: highest },
                ),
                (
                    Statistic::TimeAbove,
                    Unit::Second,
                    Judge::NotAbove { caution: None, limit: seconds_allowed(timed, greatest) },
                ),
            ]
        }
    }
}

#[derive(Clone, Copy)]
enum Judge {
    NotAbove { caution: Option<f64>, limit: f64 },
    NotBelow { caution: Option<f64>, limit: f64 },
}

impl Judge {
    fn outcome(self, figure: f64) -> LimitOutcome {
        let (inside, calm) = match self {
            Judge::NotAbove { caution, limit } => {
                (is_at_most(figure, limit), !caution.is_some_and(|it| is_at_least(figure, it)))
            }
            Judge::NotBelow { caution, limit } => {
                (is_at_least(figure, limit), !caution.is_some_and(|it| is_at_most(figure, it)))
            }
        };
        match (inside, calm) {
            (false, _) => LimitOutcome::Beyond,
            (true, true) => LimitOutcome::Within,
            (true, false) => LimitOutcome::Caution,
        }
    }
}

/// Holds values against one limit; one verdict for each statistic that the kind of limit needs.
///
/// A rating needs the time above its continuous value only where the greatest value is above it.
pub fn against_limit(limit: &Limit, values: &[MeasuredValue]) -> Vec<LimitVerdict> {
    let greatest = measured(values, &limit.channel, Statistic::Max, limit.unit);
    let mut verdicts: Vec<LimitVerdict> = judgements(limit, greatest)
        .into_iter()
        .map(|(statistic, unit, judge)| {
            let measured = measured(values, &limit.channel, statistic, unit);
            LimitVerdict {
                limit: limit.code.clone(),
                statistic,
                measured,
                outcome: measured.map_or(LimitOutcome::Missing, |figure| judge.outcome(figure)),
            }
        })
        .collect();
    if let LimitKind::Rating { continuous, .. } = limit.kind
        && greatest.is_some_and(|greatest| is_at_most(greatest, continuous))
        && verdicts[1].outcome == LimitOutcome::Missing
    {
        verdicts.truncate(1);
    }
    verdicts
}

/// Whether a limit is held against a statistic.
pub fn is_held_against(limit: &Limit, statistic: Statistic) -> bool {
    judgements(limit, None).into_iter().any(|(judged, _, _)| judged == statistic)
}

/// Whether a figure, in the unit that the limit compares it in, lies beyond it. A figure of a statistic that the limit
/// is not held against does not, and neither does one exactly at the limit. A time above a continuous rating lies beyond
/// where it is too long for the highest rating, for that may have been used.
pub fn lies_beyond(limit: &Limit, statistic: Statistic, figure: f64) -> bool {
    judgements(limit, None).into_iter().any(|(judged, _, judge)| {
        judged == statistic && judge.outcome(figure) == LimitOutcome::Beyond
    })
}

/// Holds what was measured and reached against a point and the limits of its phase.
///
/// `limits` are all limits that hold in the point's phase and all that the point names.
pub fn judge<'a>(
    point: &Point,
    limits: impl IntoIterator<Item = &'a Limit>,
    values: &[MeasuredValue],
    reached: &BTreeMap<Axis, Measure>,
) -> Verdict {
    let criteria: Vec<_> =
        point.criteria.iter().map(|criterion| against_criterion(criterion, values)).collect();
    let conditions: Vec<_> = point
        .conditions
        .iter()
        .map(|(axis, condition)| against_condition(*axis, *condition, reached))
        .collect();
    let limits: Vec<_> = limits
        .into_iter()
        .flat_map(|limit| {
            let named = point.limits.contains(&limit.code);
            let found = against_limit(limit, values);
            // A continuous rating that was passed asks for how long, whoever names the limit.
            let passed = matches!(limit.kind, LimitKind::Rating { .. })
                && found.first().is_some_and(|greatest| greatest.measured.is_some());
            found
                .into_iter()
                .filter(move |verdict| named || passed || verdict.outcome != LimitOutcome::Missing)
        })
        .collect();
    let channels_missing: Vec<_> = point
        .data_required
        .iter()
        .filter(|channel| {
            !values.iter().any(|value| {
                value.parameter == **channel && value.value.is_some_and(f64::is_finite)
            })
        })
        .cloned()
        .collect();

    let all = || {
        let of_criteria = criteria.iter().map(|verdict| verdict.outcome);
        of_criteria.chain(conditions.iter().map(|verdict| verdict.outcome))
    };
    let missing = all().any(|outcome| outcome == Outcome::Missing)
        || limits.iter().any(|verdict| verdict.outcome == LimitOutcome::Missing)
        || !channels_missing.is_empty();
    let outcome = if all().any(|outcome| outcome == Outcome::NotMet) {
        Outcome::NotMet
    } else if missing {
        Outcome::Missing
    } else {
        Outcome::Met
    };
    let exceeded = limits.iter().any(|verdict| verdict.outcome == LimitOutcome::Beyond);
    Verdict { criteria, conditions, limits, channels_missing, outcome, exceeded }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::nouns::Phase;
    use crate::record::ValueSource;

    fn limit(kind: LimitKind) -> Limit {
        Limit {
            code: "L".parse().unwrap(),
            title: "winding temperature".to_owned(),
            channel: "t".parse().unwrap(),
            unit: Unit::Celsius,
            kind,
            dwell_s: 0.0,
            phases: vec![Phase::GroundRun],
            source: "motor handbook".to_owned(),
        }
    }

    fn value(statistic: Statistic, value: Option<f64>, unit: Unit) -> MeasuredValue {
        MeasuredValue {
            parameter: "t".parse().unwrap(),
            statistic,
            value,
            unit,
            source: ValueSource::TypedIn {},
        }
    }

    #[test]
    fn a_value_exactly_at_the_limit_is_inside_and_one_step_beyond_is_not() {
        let maximum = limit(LimitKind::Maximum { caution: Some(100.0), limit: 120.0 });
        let of = |figure| {
            against_limit(&maximum, &[value(Statistic::Max, Some(figure), Unit::Celsius)])[0]
                .outcome
        };
        assert_eq!(of(99.9), LimitOutcome::Within);
        assert_eq!(of(100.0), LimitOutcome::Caution);
        assert_eq!(of(120.0), LimitOutcome::Caution);
        assert_eq!(of(120.1), LimitOutcome::Beyond);
    }

    #[test]
    fn a_figure_exactly_at_the_edge_of_a_tolerance_is_inside_and_one_step_beyond_is_not() {
        let condition = Condition { target: 2.0, tolerance: 0.1, unit: Unit::G };
        for (figure, outcome) in [
            (1.9, Outcome::Met),
            (2.1, Outcome::Met),
            (1.899, Outcome::NotMet),
            (2.101, Outcome::NotMet),
            (f64::NAN, Outcome::Missing),
        ] {
            let reached = [(Axis::LoadFactor, Measure::new(figure, Unit::G))].into();
            let found = against_condition(Axis::LoadFactor, condition, &reached);
            assert_eq!(found.outcome, outcome, "{figure}");
        }
    }

    #[test]
    fn a_missing_reading_or_one_of_another_kind_is_not_a_pass() {
        let maximum = limit(LimitKind::Maximum { caution: None, limit: 120.0 });
        for values in [
            vec![],
            vec![value(Statistic::Max, None, Unit::Celsius)],
            vec![value(Statistic::Max, Some(f64::NAN), Unit::Celsius)],
            vec![value(Statistic::Max, Some(20.0), Unit::Kelvin)],
            vec![value(Statistic::Mean, Some(20.0), Unit::Celsius)],
        ] {
            assert_eq!(against_limit(&maximum, &values)[0].outcome, LimitOutcome::Missing);
        }
    }

    #[test]
    fn a_rate_of_temperature_compares_in_whichever_unit_of_change_it_was_typed() {
        let mut rate = limit(LimitKind::Rate { caution_per_s: None, limit_per_s: 2.0 });
        for limit_unit in [Unit::Celsius, Unit::Kelvin, Unit::KelvinPerSecond] {
            rate.unit = limit_unit;
            for (figure, unit, outcome) in [
                (2.0, Unit::Celsius, LimitOutcome::Within),
                (2.1, Unit::Celsius, LimitOutcome::Beyond),
                (2.1, Unit::Kelvin, LimitOutcome::Beyond),
                (2.1, Unit::KelvinPerSecond, LimitOutcome::Beyond),
                (119.0, Unit::KelvinPerMinute, LimitOutcome::Within),
                (121.0, Unit::KelvinPerMinute, LimitOutcome::Beyond),
            ] {
                let values = [value(Statistic::Rate, Some(figure), unit)];
                assert_eq!(against_limit(&rate, &values)[0].outcome, outcome, "{figure} {unit}");
            }
        }
    }

    #[test]
    fn a_rating_asks_for_time_only_where_its_continuous_value_was_passed() {
        let rating = limit(LimitKind::Rating {
            continuous: 50.0,
            timed: vec![TimedRating { value: 60.0, seconds: 300.0 }],
        });
        let at =
            |figure| against_limit(&rating, &[value(Statistic::Max, Some(figure), Unit::Celsius)]);
        assert_eq!(at(50.0).len(), 1);
        assert_eq!(at(55.0)[1].outcome, LimitOutcome::Missing);
    }

    fn tiers() -> Limit {
        limit(LimitKind::Rating {
            continuous: 50.0,
            timed: vec![
                TimedRating { value: 60.0, seconds: 300.0 },
                TimedRating { value: 70.0, seconds: 60.0 },
            ],
        })
    }

    #[test]
    fn the_highest_rating_that_was_used_says_how_long_it_may_last() {
        for (greatest, seconds, outcome) in [
            (60.0, 300.0, LimitOutcome::Within),
            (60.0, 301.0, LimitOutcome::Beyond),
            (60.1, 60.0, LimitOutcome::Within),
            (60.1, 61.0, LimitOutcome::Beyond),
            (70.0, 300.0, LimitOutcome::Beyond),
        ] {
            let values = [
                value(Statistic::Max, Some(greatest), Unit::Celsius),
                value(Statistic::TimeAbove, Some(seconds), Unit::Second),
            ];
            assert_eq!(against_limit(&tiers(), &values)[1].outcome, outcome, "{greatest}");
        }
        assert!(lies_beyond(&tiers(), Statistic::TimeAbove, 61.0), "it may have been the highest");
    }

    #[test]
    fn for_how_long_a_continuous_rating_was_passed_must_be_known_whether_the_point_names_it_or_not()
    {
        let mut point = crate::story::point("A");
        (point.limits, point.criteria, point.data_required) = (vec![], vec![], vec![]);
        let judged =
            |values: &[MeasuredValue]| judge(&point, [&tiers()], values, &BTreeMap::new()).outcome;
        let greatest = |figure| value(Statistic::Max, Some(figure), Unit::Celsius);
        assert_eq!(judged(&[]), Outcome::Met, "nothing asks for it");
        assert_eq!(judged(&[greatest(50.0)]), Outcome::Met);
        assert_eq!(judged(&[greatest(50.1)]), Outcome::Missing);
    }

    #[test]
    fn a_figure_exactly_at_a_bound_meets_it_in_whichever_unit_it_was_typed() {
        // One knot is 1.852 km/h by definition: 100 kt are 185.2 km/h.
        let typed = |figure| MeasuredValue {
            parameter: "t".parse().unwrap(),
            statistic: Statistic::Min,
            value: Some(figure),
            unit: Unit::KilometrePerHour,
            source: ValueSource::TypedIn {},
        };
        let criterion = Criterion {
            parameter: "t".parse().unwrap(),
            statistic: Statistic::Min,
            comparison: Comparison::AtLeast,
            value: 100.0,
            upper: None,
            unit: Unit::Knot,
        };
        let minimum =
            Limit { unit: Unit::Knot, ..limit(LimitKind::Minimum { caution: None, limit: 100.0 }) };
        for (figure, met, inside) in [
            (185.2, Outcome::Met, LimitOutcome::Within),
            (185.1, Outcome::NotMet, LimitOutcome::Beyond),
        ] {
            assert_eq!(against_criterion(&criterion, &[typed(figure)]).outcome, met);
            assert_eq!(against_limit(&minimum, &[typed(figure)])[0].outcome, inside);
        }
    }
}
