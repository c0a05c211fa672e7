//! Steps of the build-up: how far beyond what was shown a point goes, how far it may, and what lies between.
//!
//! An axis counts where the programme's policy has a rule for it. What may be reached on it is the rule's `first`
//! before anything was shown, and what was shown plus the rule's step afterwards, never less than `first`, and never
//! further than a rule that holds from more on would let reach there. A target exactly there is allowed. Where less is
//! more demanding everything is counted the other way. Rules for other phases stand beside each other: all of them
//! must let a point go ahead.

use super::axes::Shown;
use super::design;
use crate::holds::edge::is_at_most;
use crate::measure::{Kind, Measure, Unit};
use crate::nouns::{Axis, BuildUpRule, Condition, Direction, Point, Policy, RuleStart};
use crate::state::State;

/// Further apart than so many steps no way is told.
const MOST_STEPS: usize = 24;

/// What a point's target on one axis asks for beyond what was shown.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// On which axis.
    pub axis: Axis,
    /// Which way.
    pub direction: Direction,
    /// The target.
    pub target: Measure,
    /// What was shown; absent: nothing.
    pub shown: Option<Shown>,
    /// What would be allowed, in the target's unit; absent where the rule cannot be compared with the axis.
    pub allowed: Option<Measure>,
    /// The place in the policy of the rule that bounds it.
    pub rule: usize,
    /// Whether the target goes beyond what was shown, or beyond what a first point may reach.
    pub beyond: bool,
    /// Whether the target is not further than what is allowed.
    pub within: bool,
}

impl Step {
    /// How far the target lies beyond what was shown, in the target's unit; absent where nothing was shown.
    pub fn distance(&self) -> Option<Measure> {
        let shown = self.shown?.reached.in_unit(self.target.unit)?;
        let distance = self.direction.demand(self.target.value) - self.direction.demand(shown);
        Some(Measure::new(distance, self.target.unit))
    }
}

/// A figure with where it begins to hold.
struct Start(f64);

/// Rules of one axis, one direction and the same phases.
struct Rules<'a> {
    policy: &'a Policy,
    direction: Direction,
    unit: Unit,
    /// Place in the policy, and from which demand on it holds; absent: not known.
    members: Vec<(usize, Option<Start>)>,
}

/// What may be reached on an axis, as a demand in one unit.
struct Reach {
    /// Without going beyond what was shown.
    free: f64,
    /// With the step.
    allowed: f64,
}

/// A difference of temperatures steps along an axis of temperatures.
fn steps_along(step: Unit, axis: Axis) -> bool {
    step.kind() == axis.kind()
        || (axis.kind() == Kind::Temperature && step.kind() == Kind::TemperatureDifference)
}

impl Rules<'_> {
    fn rule(&self, place: usize) -> &BuildUpRule {
        &self.policy.build_up[place]
    }

    /// What a rule lets reach; absent where its units do not fit the axis.
    fn of_rule(&self, rule: &BuildUpRule, shown: Option<f64>) -> Option<Reach> {
        let first = self.direction.demand(rule.first.in_unit(self.unit)?);
        let step = if rule.step.unit.kind() == Kind::TemperatureDifference {
            Some(rule.step.in_kinds_unit())
        } else {
            rule.step.in_unit(self.unit)
        };
        let fits = self.unit.kind() == rule.axis.kind() && steps_along(rule.step.unit, rule.axis);
        let step = step.filter(|_| fits)?;
        Some(Reach {
            free: shown.map_or(first, |shown| shown.max(first)),
            allowed: shown.map_or(first, |shown| (shown + step).max(first)),
        })
    }

    /// The place of the rule that holds for what was shown: the one with the most demanding start not above it.
    fn holding(&self, shown: Option<f64>) -> Option<usize> {
        let shown = shown.unwrap_or(f64::NEG_INFINITY);
        let known = || {
            let members = self.members.iter();
            members.filter_map(|(place, start)| start.as_ref().map(|start| (*place, start.0)))
        };
        known()
            .filter(|(_, start)| *start <= shown)
            .max_by(|(_, one), (_, other)| one.total_cmp(other))
            // Where no rule holds yet, the lowest one says what a first point may reach.
            .or_else(|| known().min_by(|(_, one), (_, other)| one.total_cmp(other)))
            .map(|(place, _)| place)
    }

    /// What may be reached by the rule that holds, and by those that will hold once more was shown: who has shown less
    /// never gets further than who has shown more. With the place of the rule that bounds it.
    ///
    /// # Errors
    ///
    /// The place of a rule that cannot be compared with the axis.
    fn reach(&self, shown: Option<f64>) -> Result<(Reach, usize), usize> {
        if let Some((unknown, _)) = self.members.iter().find(|(_, start)| start.is_none()) {
            return Err(*unknown);
        }
        let place = self.holding(shown).unwrap_or(self.members[0].0);
        let mut reach = self.of_rule(self.rule(place), shown).ok_or(place)?;
        let mut bounds = place;
        for (ahead, start) in &self.members {
            let Some(Start(start)) = start.as_ref().filter(|start| start.0.is_finite()) else {
                continue;
            };
            if shown.is_some_and(|shown| *start <= shown) {
                continue;
            }
            let there = self.of_rule(self.rule(*ahead), Some(*start)).ok_or(*ahead)?;
            reach.free = reach.free.min(there.free);
            if there.allowed < reach.allowed {
                reach.allowed = there.allowed;
                bounds = *ahead;
            }
        }
        Ok((reach, bounds))
    }
}

/// Where a rule begins, as a demand in a unit; absent where that is not known.
fn start(rule: &BuildUpRule, state: &State, unit: Unit) -> Option<Start> {
    match rule.start(state.aircraft.as_ref()) {
        RuleStart::Always => Some(Start(f64::NEG_INFINITY)),
        RuleStart::At(from) => from.in_unit(unit).map(|from| Start(rule.direction.demand(from))),
        RuleStart::Unknown => None,
    }
}

/// The rules that hold for a point on an axis, those beside each other together, by the first of them.
fn groups<'a>(
    policy: &'a Policy,
    point: &Point,
    axis: Axis,
    unit: Unit,
    state: &State,
) -> Vec<Rules<'a>> {
    let mut groups: Vec<Rules<'a>> = Vec::new();
    for (place, rule) in policy.build_up.iter().enumerate() {
        let concerned = rule.phases.is_empty() || rule.phases.contains(&point.phase);
        if rule.axis != axis || !concerned {
            continue;
        }
        let member = (place, start(rule, state, unit));
        match groups.iter_mut().find(|group| group.rule(group.members[0].0).is_beside(rule)) {
            Some(group) => group.members.push(member),
            None => groups.push(Rules {
                policy,
                direction: rule.direction,
                unit,
                members: vec![member],
            }),
        }
    }
    groups
}

/// Figures are compared in the unit of all of them where they share one, so that decimal edges stay what was typed.
fn judge(rules: &Rules<'_>, axis: Axis, condition: Condition, state: &State) -> Step {
    let direction = rules.direction;
    let phases = &rules.rule(rules.members[0].0).phases;
    let shown = state.envelope.furthest(axis, direction, phases);
    let figure = shown.and_then(|shown| shown.reached.in_unit(rules.unit));
    let target = direction.demand(condition.target);
    let mut step = Step {
        axis,
        direction,
        target: condition.target(),
        shown,
        allowed: None,
        rule: rules.members[0].0,
        beyond: true,
        within: false,
    };
    match rules.reach(figure.map(|figure| direction.demand(figure))) {
        Ok((reach, bounds)) => {
            step.allowed = Some(Measure::new(direction.demand(reach.allowed), rules.unit));
            step.rule = bounds;
            step.beyond = !is_at_most(target, reach.free);
            step.within = is_at_most(target, reach.allowed);
        }
        Err(unfit) => step.rule = unfit,
    }
    step
}

/// What each target of a point asks for, on every axis for which the policy has a rule.
pub fn steps(point: &Point, state: &State) -> Vec<Step> {
    let Some(policy) = &state.policy else { return Vec::new() };
    let mut found = Vec::new();
    for (axis, condition) in &point.conditions {
        let groups = groups(policy, point, *axis, condition.unit, state);
        found.extend(groups.iter().map(|rules| judge(rules, *axis, *condition, state)));
    }
    found
}

/// The steps that lead from what was shown to the target of a step that is too large: the first is what the program
/// proposes to show next, the last is the target. Each is as large as the rules let it be once the one before was shown
/// exactly, and none lies beyond the design boundary.
///
/// Empty where the rules cannot be compared with the axis, where the target is beyond the design boundary, or where it
/// would take more than 24 steps.
pub fn way_to(step: &Step, point: &Point, state: &State) -> Vec<Measure> {
    let (Some(policy), Some(allowed)) = (&state.policy, step.allowed) else { return Vec::new() };
    let unit = step.target.unit;
    let target = step.direction.demand(step.target.value);
    if design::is_beyond(state, step.axis, step.target) {
        return Vec::new();
    }
    let groups = groups(policy, point, step.axis, unit, state);
    let bounding = &policy.build_up[step.rule];
    let Some(rules) = groups.iter().find(|it| it.rule(it.members[0].0).is_beside(bounding)) else {
        return Vec::new();
    };
    let mut way = Vec::new();
    let mut reached = step.direction.demand(allowed.value);
    while !is_at_most(target, reached) {
        way.push(Measure::new(step.direction.demand(reached), unit));
        let Ok((next, _)) = rules.reach(Some(reached)) else { return Vec::new() };
        if way.len() >= MOST_STEPS || next.allowed <= reached {
            return Vec::new();
        }
        reached = next.allowed;
    }
    way.push(step.target);
    way
}
