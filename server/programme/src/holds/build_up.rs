//! Steps: how far a point may go beyond what was shown.
//!
//! An axis counts where the programme's policy has a rule for it. What may be reached on it is the rule's `first`
//! before anything was shown, and what was shown plus the rule's step afterwards, never less than `first`, and never
//! further than a rule that holds from more on would let reach there. A target exactly there is allowed. A point that goes beyond what was shown (or beyond `first`) on two such axes at once
//! must say in its plan that it means to.

use chrono::{DateTime, Utc};

use super::edge::is_at_most;
use super::words::{self, listed};
use super::{Explained, Reason, Rule, Subject};
use crate::measure::{Kind, Measure, Unit};
use crate::nouns::{Axis, BuildUpRule, Condition, Policy};
use crate::state::{Rung, State};

static STEP: Rule = Rule::against_release(
    "build-up-step-too-large",
    "No target goes further beyond what was shown than the programme's step on that axis.",
);
static TOGETHER: Rule = Rule::against_release(
    "build-up-on-two-axes",
    "A point goes beyond what was shown on one axis at a time, unless its approved plan says otherwise.",
);

pub(super) static RULES: &[&Rule] = &[&STEP, &TOGETHER];

/// A target that goes too far.
#[derive(Debug, Clone, PartialEq)]
pub enum BuildUp {
    /// Further than shown plus the step.
    TooFar {
        /// On which axis.
        axis: Axis,
        /// The target.
        target: Measure,
        /// What was shown; absent: nothing.
        shown: Option<Measure>,
        /// What would be allowed, in the target's unit; absent where the rule's units do not fit the axis.
        allowed: Option<Measure>,
        /// The place of the rule in the policy.
        rule: usize,
    },
    /// Beyond what was shown on several axes.
    Together {
        /// Which.
        axes: Vec<Axis>,
    },
}

/// The place of the rule that holds on an axis for what was shown: the one with the greatest `from` not above it.
fn rule_for(policy: &Policy, axis: Axis, shown: Option<Measure>) -> Option<usize> {
    let from =
        |rule: &BuildUpRule| rule.from.map_or(f64::NEG_INFINITY, |from| from.in_kinds_unit());
    let shown = shown.map_or(f64::NEG_INFINITY, Measure::in_kinds_unit);
    let of_axis = || policy.build_up.iter().enumerate().filter(|(_, rule)| rule.axis == axis);
    of_axis()
        .filter(|(_, rule)| from(rule) <= shown)
        .max_by(|(_, one), (_, other)| from(one).total_cmp(&from(other)))
        // Where no rule holds yet, the lowest one says what a first point may reach.
        .or_else(|| of_axis().min_by(|(_, one), (_, other)| from(one).total_cmp(&from(other))))
        .map(|(place, _)| place)
}

/// A difference of temperatures steps along an axis of temperatures.
fn steps_along(step: Unit, axis: Axis) -> bool {
    step.kind() == axis.kind()
        || (axis.kind() == Kind::Temperature && step.kind() == Kind::TemperatureDifference)
}

struct Judged {
    beyond: bool,
    too_far: Option<BuildUp>,
}

/// What may be reached on an axis, in one unit.
struct Reach {
    /// Without going beyond what was shown.
    free: f64,
    /// With the step.
    allowed: f64,
}

/// What a rule lets reach; absent where its units do not fit the axis.
fn of_rule(rule: &BuildUpRule, shown: Option<f64>, unit: Unit) -> Option<Reach> {
    let first = rule.first.in_unit(unit)?;
    let step = if rule.step.unit.kind() == Kind::TemperatureDifference {
        Some(rule.step.in_kinds_unit())
    } else {
        rule.step.in_unit(unit)
    };
    let step =
        step.filter(|_| unit.kind() == rule.axis.kind() && steps_along(rule.step.unit, rule.axis))?;
    Some(Reach {
        free: shown.map_or(first, |shown| shown.max(first)),
        allowed: shown.map_or(first, |shown| (shown + step).max(first)),
    })
}

/// What may be reached by the rule that holds, and by those that will hold once more was shown: who has shown less never
/// gets further than who has shown more. With the place of the rule that bounds it.
///
/// # Errors
///
/// The place of a rule whose units do not fit the axis.
fn reach(
    policy: &Policy,
    place: usize,
    shown: Option<Measure>,
    unit: Unit,
) -> Result<(Reach, usize), usize> {
    let rule = &policy.build_up[place];
    let shown_figure = shown.and_then(|shown| shown.in_unit(unit));
    let mut reach = of_rule(rule, shown_figure, unit).ok_or(place)?;
    let mut bounds = place;
    for (ahead, later) in policy.build_up.iter().enumerate() {
        let Some(from) = later.from.filter(|_| later.axis == rule.axis) else { continue };
        if shown.is_some_and(|shown| from.in_kinds_unit() <= shown.in_kinds_unit()) {
            continue;
        }
        let there = from.in_unit(unit).and_then(|from| of_rule(later, Some(from), unit));
        let there = there.ok_or(ahead)?;
        reach.free = reach.free.min(there.free);
        if there.allowed < reach.allowed {
            reach.allowed = there.allowed;
            bounds = ahead;
        }
    }
    Ok((reach, bounds))
}

/// Figures are compared in the unit of all of them where they share one, so that decimal edges stay what was typed.
fn judge(
    axis: Axis,
    condition: Condition,
    shown: Option<Measure>,
    policy: &Policy,
    place: usize,
) -> Judged {
    let unit = condition.unit;
    let too_far = |allowed: Option<f64>, place| {
        Some(BuildUp::TooFar {
            axis,
            target: condition.target(),
            shown,
            allowed: allowed.map(|figure| Measure::new(figure, unit)),
            rule: place,
        })
    };
    let (Reach { free, allowed }, bounds) = match reach(policy, place, shown, unit) {
        Ok(reach) => reach,
        Err(unfit) => return Judged { beyond: true, too_far: too_far(None, unfit) },
    };
    let inside = is_at_most(condition.target, allowed);
    Judged {
        beyond: !is_at_most(condition.target, free),
        too_far: if inside { None } else { too_far(Some(allowed), bounds) },
    }
}

pub(super) fn collect(rung: &Rung, state: &State, _: DateTime<Utc>, found: &mut Vec<Reason>) {
    // Without a policy the policy itself is a hold.
    let Some(policy) = &state.policy else { return };
    let mut beyond = Vec::new();
    for (axis, condition) in &rung.point.conditions {
        let shown = state.envelope.greatest.get(axis).map(|shown| shown.reached);
        let Some(place) = rule_for(policy, *axis, shown) else { continue };
        let judged = judge(*axis, *condition, shown, policy, place);
        found.extend(judged.too_far.map(Reason::BuildUp));
        if judged.beyond {
            beyond.push(*axis);
        }
    }
    // A plan that is not approved is held for that, so only what it says matters here.
    if beyond.len() > 1 && !rung.point.axes_together {
        found.push(Reason::BuildUp(BuildUp::Together { axes: beyond }));
    }
}

impl Explained for BuildUp {
    fn rule(&self) -> &'static Rule {
        match self {
            BuildUp::TooFar { .. } => &STEP,
            BuildUp::Together { .. } => &TOGETHER,
        }
    }

    fn subject(&self, rung: &Rung) -> Subject {
        match self {
            BuildUp::TooFar { axis, .. } => Subject::new("axis", axis),
            BuildUp::Together { .. } => Subject::new("point", &rung.point.code),
        }
    }

    fn why(&self, _: &Rung, state: &State) -> String {
        match self {
            BuildUp::TooFar { axis, target, shown, allowed, rule } => {
                let axis = words::axis(*axis);
                let policy = state.policy.as_ref();
                let Some(rule) = policy.and_then(|policy| policy.build_up.get(*rule)) else {
                    return format!("The target {target} in {axis} goes beyond what was shown.");
                };
                let Some(allowed) = allowed else {
                    return format!(
                        "The build-up rule for {axis} (first {}, step {}) cannot be compared with the target {target}.",
                        rule.first, rule.step
                    );
                };
                match shown {
                    None => format!(
                        "The target is {target} in {axis}; nothing was shown yet, and a first point may reach {}.",
                        rule.first
                    ),
                    Some(shown) => {
                        let shown_figure = shown.in_unit(target.unit).unwrap_or(f64::NAN);
                        let distance = Measure::new(target.value - shown_figure, target.unit);
                        format!(
                            "The target is {target} in {axis}, {distance} beyond the {shown} that was shown; with \
                             the step of {} it may be at most {allowed}.",
                            rule.step
                        )
                    }
                }
            }
            BuildUp::Together { axes } => format!(
                "The point goes beyond what was shown on {} axes at once: {}.",
                axes.len(),
                listed(axes.iter().map(|axis| words::axis(*axis)))
            ),
        }
    }

    fn clears(&self, rung: &Rung, _: &State) -> String {
        let code = &rung.point.code;
        match self {
            BuildUp::TooFar { axis, allowed: Some(allowed), .. } => format!(
                "A point in between, at up to {allowed} in {}, is shown and accepted; or the target of {code} is \
                 brought down to that.",
                words::axis(*axis)
            ),
            BuildUp::TooFar { axis, allowed: None, .. } => format!(
                "The policy gives a step and a first value for {} in units of that axis.",
                words::axis(*axis)
            ),
            BuildUp::Together { axes } => format!(
                "All but one of {} are shown first by other points; or the plan of {code} says that it means to go \
                 beyond on several axes together, and is approved so.",
                listed(axes.iter().map(|axis| words::axis(*axis)))
            ),
        }
    }

    fn source(&self, _: &Rung, state: &State) -> String {
        match self {
            BuildUp::TooFar { rule, .. } => {
                let rule = state.policy.as_ref().and_then(|policy| policy.build_up.get(*rule));
                rule.map_or_else(
                    || "the programme's policy".to_owned(),
                    |rule| format!("the programme's policy: {}", rule.source),
                )
            }
            BuildUp::Together { .. } => "Rungbook rule: one axis at a time".to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic)]
    use super::*;
    use crate::record::PolicySet;
    use crate::story::{Story, condition, point, policy};

    fn at(story: &mut Story, name: &str, targets: &[(Axis, f64, Unit)]) {
        let mut planned = point(name);
        planned.conditions = targets
            .iter()
            .map(|(axis, target, unit)| (*axis, condition(*target, 1.0, *unit)))
            .collect();
        story.plan(planned).approve(name);
    }

    fn shown(speed_kt: f64) -> Story {
        let mut story = Story::team();
        at(&mut story, "S", &[(Axis::Speed, speed_kt, Unit::Knot)]);
        story.show_and_accept("S");
        story
    }

    #[test]
    fn a_first_point_may_reach_the_first_value_and_no_more() {
        let mut story = Story::team();
        for (target, held) in [(19.9, false), (20.0, false), (20.1, true)] {
            at(&mut story, "B", &[(Axis::Speed, target, Unit::Knot)]);
            assert_eq!(!story.rules("B").is_empty(), held, "{target}");
        }
        let why = story.hold("B", "build-up-step-too-large").why;
        assert_eq!(
            why,
            "The target is 20.1 kt in speed; nothing was shown yet, and a first point may reach 20 kt."
        );
    }

    #[test]
    fn a_target_exactly_at_shown_plus_step_is_allowed_and_beyond_it_the_step_between_is_named() {
        let mut story = shown(40.0);
        for (target, held) in [(49.9, false), (50.0, false), (50.1, true), (62.0, true)] {
            at(&mut story, "B", &[(Axis::Speed, target, Unit::Knot)]);
            assert_eq!(!story.rules("B").is_empty(), held, "{target}");
        }
        let hold = story.hold("B", "build-up-step-too-large");
        assert_eq!(
            hold.why,
            "The target is 62 kt in speed, 22 kt beyond the 40 kt that was shown; with the step of 10 kt it may be at \
             most 50 kt."
        );
        assert!(hold.clears.starts_with("A point in between, at up to 50 kt in speed"));
        assert_eq!(hold.source, "the programme's policy: the team's build-up in speed");
    }

    #[test]
    fn a_target_in_another_unit_is_compared_as_a_quantity() {
        // One knot is 1.852 km/h by definition: 50 kt are 92.6 km/h.
        let mut story = shown(40.0);
        for (target, held) in [(92.6, false), (92.7, true)] {
            at(&mut story, "B", &[(Axis::Speed, target, Unit::KilometrePerHour)]);
            assert_eq!(!story.rules("B").is_empty(), held, "{target}");
        }
    }

    #[test]
    fn a_decimal_edge_is_the_edge_that_was_typed() {
        let mut story = shown(0.7);
        let mut fine = policy();
        fine.build_up[0].step = Measure::new(0.1, Unit::Knot);
        fine.build_up[0].first = Measure::new(0.0, Unit::Knot);
        story.record("lead", PolicySet { policy: fine });
        for (target, held) in [(0.8, false), (0.801, true)] {
            at(&mut story, "B", &[(Axis::Speed, target, Unit::Knot)]);
            assert_eq!(!story.rules("B").is_empty(), held, "{target}");
        }
    }

    #[test]
    fn the_rule_with_the_greatest_from_that_was_shown_holds() {
        let mut finer = policy();
        finer.build_up.push(BuildUpRule {
            axis: Axis::Speed,
            from: Some(Measure::new(40.0, Unit::Knot)),
            step: Measure::new(5.0, Unit::Knot),
            first: Measure::new(20.0, Unit::Knot),
            source: "finer above 40 kt".to_owned(),
        });
        for (speed, target, held) in [(34.9, 44.9, false), (40.0, 45.0, false), (40.0, 45.1, true)]
        {
            let mut story = shown(speed);
            story.record("lead", PolicySet { policy: finer.clone() });
            at(&mut story, "B", &[(Axis::Speed, target, Unit::Knot)]);
            assert_eq!(!story.rules("B").is_empty(), held, "{speed} {target}");
        }
    }

    #[test]
    fn two_axes_at_once_are_held_unless_the_plan_means_it() {
        let mut story = shown(40.0);
        let two = [(Axis::Speed, 45.0, Unit::Knot), (Axis::Power, 10.1, Unit::Kilowatt)];
        let one = [(Axis::Speed, 45.0, Unit::Knot), (Axis::Power, 10.0, Unit::Kilowatt)];
        at(&mut story, "B", &one);
        assert!(story.rules("B").is_empty());
        at(&mut story, "P", &[(Axis::Power, 10.0, Unit::Kilowatt)]);
        story.show_and_accept("P");
        at(&mut story, "B", &two);
        assert_eq!(story.rules("B"), ["build-up-on-two-axes"]);
        let mut meant = (*story.rung("B").point).clone();
        meant.axes_together = true;
        story.plan(meant);
        assert_eq!(story.rules("B"), ["plan-changed-since-approval"]);
        story.approve("B");
        assert!(story.rules("B").is_empty());
    }

    #[test]
    fn what_was_shown_shrinks_when_the_result_is_recorded_anew_or_lapses() {
        let mut story = shown(40.0);
        at(&mut story, "B", &[(Axis::Speed, 50.0, Unit::Knot)]);
        assert!(story.rules("B").is_empty());
        let mut lapsed = story.clone();
        lapsed.fit("motor", "2");
        assert_eq!(lapsed.rules("B"), ["build-up-step-too-large"]);
        story.result(crate::codes::RunNumber(1), "S", Vec::new(), Default::default());
        assert_eq!(story.rules("B"), ["build-up-step-too-large"]);
    }

    #[test]
    fn a_temperature_steps_by_a_difference_of_temperatures() {
        let mut story = Story::team();
        let mut warm = policy();
        warm.build_up.push(BuildUpRule {
            axis: Axis::PackTemperature,
            from: None,
            step: Measure::new(5.0, Unit::Kelvin),
            first: Measure::new(30.0, Unit::Celsius),
            source: "the team's build-up in temperature".to_owned(),
        });
        story.record("lead", PolicySet { policy: warm });
        at(&mut story, "S", &[(Axis::PackTemperature, 30.0, Unit::Celsius)]);
        story.show_and_accept("S");
        for (target, held) in [(35.0, false), (35.1, true)] {
            at(&mut story, "B", &[(Axis::PackTemperature, target, Unit::Celsius)]);
            assert_eq!(!story.rules("B").is_empty(), held, "{target}");
        }
    }

    #[test]
    fn a_rule_whose_units_do_not_fit_its_axis_is_unknown_and_holds() {
        let mut story = Story::team();
        let mut odd = policy();
        odd.build_up[0].step = Measure::new(10.0, Unit::Kilogram);
        story.record("lead", PolicySet { policy: odd });
        at(&mut story, "B", &[(Axis::Speed, 5.0, Unit::Knot)]);
        assert!(story.hold("B", "build-up-step-too-large").why.contains("cannot be compared"));
    }

    #[test]
    fn having_shown_less_never_allows_more() {
        let mut story = Story::team();
        let mut finer = policy();
        finer.build_up.push(BuildUpRule {
            from: Some(Measure::new(40.0, Unit::Knot)),
            step: Measure::new(5.0, Unit::Knot),
            ..finer.build_up[0].clone()
        });
        story.record("lead", PolicySet { policy: finer });
        for (speed, allowed) in
            [(20.0, 30), (34.0, 44), (35.0, 45), (39.0, 45), (40.0, 45), (41.0, 46)]
        {
            at(&mut story, "S", &[(Axis::Speed, speed, Unit::Knot)]);
            story.show_and_accept("S");
            at(&mut story, "B", &[(Axis::Speed, 60.0, Unit::Knot)]);
            let clears = story.hold("B", "build-up-step-too-large").clears;
            assert!(clears.contains(&format!("at up to {allowed} kt")), "{speed} kt: {clears}");
        }
    }

    #[test]
    fn a_figure_beyond_all_numbers_shows_nothing() {
        let mut story = Story::team();
        let run = story.run_for(&["A"], 10);
        let reached = [(Axis::PressureAltitude, Measure::new(1e308, Unit::Kilometre))].into();
        let values =
            vec![crate::story::typed("winding", crate::nouns::Statistic::Max, 50.0, Unit::Celsius)];
        story.result(run, "A", values, reached).accept("A", run);
        assert!(story.state.accepted_result(&"A".parse().unwrap()).is_some());
        assert!(!story.state.envelope.greatest.contains_key(&Axis::PressureAltitude));
    }
}
