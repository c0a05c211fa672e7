//! Steps of two axes at once: how far a target lies outside of what was shown of both, though each alone was shown.

use super::pairs::{Pair, PairShown, Quarter};
use super::standing_results;
use crate::holds::edge::is_at_most;
use crate::nouns::{CoupledRule, Point};
use crate::state::State;

/// A target that lies too far outside of what was shown of two axes at once. All figures are in the pair's units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoupledStep {
    /// The pair.
    pub pair: Pair,
    /// The target, across and upwards.
    pub target: [f64; 2],
    /// What was shown, or may be reached first, that comes nearest to it, counted in steps.
    pub nearest: [f64; 2],
    /// How far the target goes beyond that, across and upwards.
    pub distance: [f64; 2],
    /// How far it may, on one of both.
    pub allowed: [f64; 2],
    /// What the program proposes to show first.
    pub propose: [f64; 2],
}

/// How far a target goes beyond a state on each axis, as demands; never below zero.
fn beyond(quarter: Quarter, target: [f64; 2], shown: [f64; 2]) -> [f64; 2] {
    let (asked, reached) = (quarter.demand(target), quarter.demand(shown));
    [(asked[0] - reached[0]).max(0.0), (asked[1] - reached[1]).max(0.0)]
}

fn judge(rule: &CoupledRule, point: &Point, shown: &PairShown) -> Option<CoupledStep> {
    let pair = rule.pair;
    let ((x, x_unit), (y, y_unit)) = (pair.across(), pair.upwards());
    let figure = |axis, unit| point.conditions.get(&axis)?.target().in_unit(unit);
    let target = [figure(x, x_unit)?, figure(y, y_unit)?];
    let quarter = *pair.quarters().iter().find(|quarter| quarter.takes(target))?;
    // A step that does not compare with its axis lets nothing go beyond.
    let allowed =
        [rule.across.in_unit(x_unit).unwrap_or(0.0), rule.upwards.in_unit(y_unit).unwrap_or(0.0)];
    // What a first point may reach counts as shown, so that what lapses never lets more be asked.
    let first = rule.first_across.in_unit(x_unit).zip(rule.first_upwards.in_unit(y_unit));
    let reached = shown.evidence.iter().map(|it| it.at).filter(|at| quarter.takes(*at));
    let states: Vec<[f64; 2]> = first.map(|(x, y)| [x, y]).into_iter().chain(reached).collect();
    let within = |at: &[f64; 2]| {
        let by = beyond(quarter, target, *at);
        (is_at_most(by[0], allowed[0]) && is_at_most(by[1], 0.0))
            || (is_at_most(by[0], 0.0) && is_at_most(by[1], allowed[1]))
    };
    if states.iter().any(within) {
        return None;
    }
    let far = |at: &[f64; 2]| {
        let by = beyond(quarter, target, *at);
        // In steps; where no step is allowed the distance itself.
        let steps = |axis: usize| by[axis] / if allowed[axis] > 0.0 { allowed[axis] } else { 1.0 };
        steps(0) + steps(1)
    };
    let nearest = states.iter().min_by(|one, other| far(one).total_cmp(&far(other)));
    let nearest = nearest.copied().unwrap_or([quarter.x_from, quarter.y_from]);
    let distance = beyond(quarter, target, nearest);
    // One axis at a time: the one on which the target is beyond, across first.
    let mut demand = quarter.demand(nearest);
    let axis = usize::from(distance[0] <= 0.0);
    demand[axis] += distance[axis].min(allowed[axis]);
    Some(CoupledStep { pair, target, nearest, distance, allowed, propose: quarter.demand(demand) })
}

/// Targets of a point that lie too far outside of what was shown of two axes at once, for pairs of which the policy has a
/// step. Only results that stand count, so that having shown less never allows more.
pub fn coupled_steps(point: &Point, state: &State) -> Vec<CoupledStep> {
    let rules = state.policy.as_ref().map_or(&[][..], |policy| &policy.build_up_pairs);
    let concerned: Vec<&CoupledRule> = rules
        .iter()
        .filter(|rule| rule.phases.is_empty() || rule.phases.contains(&point.phase))
        .filter(|rule| {
            let (across, upwards) = (rule.pair.across().0, rule.pair.upwards().0);
            point.conditions.contains_key(&across) && point.conditions.contains_key(&upwards)
        })
        .collect();
    if concerned.is_empty() {
        return Vec::new();
    }
    let results = standing_results(state);
    concerned
        .into_iter()
        .filter_map(|rule| judge(rule, point, &PairShown::of(state, rule.pair, &results)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::{Measure, Unit};
    use crate::nouns::{Axis, Policy};
    use crate::record::PolicySet;
    use crate::story::{Story, code, condition, point, policy};

    fn at(story: &mut Story, name: &str, speed_kt: f64, altitude_ft: f64) {
        let mut planned = point(name);
        planned.conditions.insert(Axis::Speed, condition(speed_kt, 1.0, Unit::Knot));
        planned
            .conditions
            .insert(Axis::PressureAltitude, condition(altitude_ft, 100.0, Unit::Foot));
        story.plan(planned);
    }

    /// 100 kt at 2 000 ft and 60 kt at 8 000 ft were shown; 10 kt or 1 000 ft beyond are allowed.
    fn shown() -> Story {
        let mut story = Story::team();
        let rule = CoupledRule {
            pair: Pair::SpeedAltitude,
            phases: Vec::new(),
            first_across: Measure::new(20.0, Unit::Knot),
            first_upwards: Measure::new(500.0, Unit::Foot),
            across: Measure::new(10.0, Unit::Knot),
            upwards: Measure::new(1000.0, Unit::Foot),
            source: "the team's step of both".to_owned(),
        };
        let policy = Policy { build_up_pairs: vec![rule], ..policy() };
        story.record("safety", PolicySet { policy });
        at(&mut story, "S1", 100.0, 2000.0);
        at(&mut story, "S2", 60.0, 8000.0);
        story.show_and_accept("S1");
        story.show_and_accept("S2");
        story
    }

    fn held(story: &Story, name: &str) -> bool {
        story.rules(name).contains(&"coupled-step-too-large")
    }

    #[test]
    fn both_at_once_is_not_shown_by_each_alone() {
        let mut story = shown();
        for (speed, altitude, is_held) in [
            (100.0, 2000.0, false),
            (100.0, 3000.0, false),
            (100.0, 3010.0, true),
            (70.0, 8000.0, false),
            (70.1, 8000.0, true),
            (100.0, 8000.0, true),
            (70.0, 7000.0, false),
            // Who asks for more is held no less.
            (101.0, 8000.0, true),
            (110.0, 2000.0, false),
        ] {
            at(&mut story, "B", speed, altitude);
            assert_eq!(held(&story, "B"), is_held, "{speed} kt at {altitude} ft");
        }
        at(&mut story, "B", 90.0, 8000.0);
        let step = coupled_steps(&story.rung("B").point, &story.state)[0];
        assert_eq!((step.nearest, step.distance), ([60.0, 8000.0], [30.0, 0.0]));
        assert_eq!(step.propose, [70.0, 8000.0]);
        let hold = story.hold("B", "coupled-step-too-large");
        assert!(hold.why.contains("30 kt and 0 ft beyond"), "{}", hold.why);
        assert!(hold.clears.starts_with("70 kt in speed with 8000 ft in pressure altitude"));
    }

    #[test]
    fn what_lapses_lets_no_more_be_asked_and_a_policy_without_the_pair_asks_for_nothing() {
        let mut story = shown();
        at(&mut story, "B", 70.0, 8000.0);
        assert!(!held(&story, "B"));
        story.fit("motor", "2");
        assert!(held(&story, "B"), "nothing is shown any more");
        at(&mut story, "C", 30.0, 500.0);
        assert!(!held(&story, "C"), "a first point and a step");
        story.fit("motor", "1");
        story.record("safety", PolicySet { policy: policy() });
        at(&mut story, "B", 100.0, 8000.0);
        assert!(!held(&story, "B"));
        assert!(story.state.accepted_result(&code("S1")).is_some());
    }
}
