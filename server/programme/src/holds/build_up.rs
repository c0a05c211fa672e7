//! Steps: how far a point may go beyond what was shown.
//!
//! What was shown, and how far a target goes beyond it, is told by [`crate::envelope`]. A point that goes beyond what was
//! shown (or beyond `first`) on two axes at once must say in its plan that it means to. A deviation that the test lead and
//! the safety officer have signed lifts the hold on the steps that it names, and no other hold.

use chrono::{DateTime, Utc};

use super::words::{self, listed};
use super::{Explained, Reason, Rule, Subject};
use crate::envelope::{self, Step};
use crate::measure::Measure;
use crate::nouns::{Axis, BuildUpRule, Direction};
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
        /// The step that is too large.
        step: Box<Step>,
        /// What the program proposes to show before, in order, and last the target; empty where it knows no way.
        way: Vec<Measure>,
    },
    /// Beyond what was shown on several axes.
    Together {
        /// Which.
        axes: Vec<Axis>,
    },
}

pub(super) fn collect(rung: &Rung, state: &State, _: DateTime<Utc>, found: &mut Vec<Reason>) {
    // Without a policy the policy itself is a hold.
    if state.policy.is_none() {
        return;
    }
    let mut beyond = Vec::new();
    for step in envelope::steps(&rung.point, state) {
        if step.beyond && !beyond.contains(&step.axis) {
            beyond.push(step.axis);
        }
        if !step.within && state.deviation_for(rung, &step).is_none() {
            let way = envelope::way_to(&step, &rung.point, state);
            found.push(Reason::BuildUp(BuildUp::TooFar { step: Box::new(step), way }));
        }
    }
    // A plan that is not approved is held for that, so only what it says matters here.
    if beyond.len() > 1 && !rung.point.axes_together {
        found.push(Reason::BuildUp(BuildUp::Together { axes: beyond }));
    }
}

fn rule_of<'a>(step: &Step, state: &'a State) -> Option<&'a BuildUpRule> {
    state.policy.as_ref().and_then(|policy| policy.build_up.get(step.rule))
}

fn why_too_far(step: &Step, state: &State) -> String {
    let Step { target, .. } = step;
    let axis = words::axis(step.axis);
    let Some(rule) = rule_of(step, state) else {
        return format!("The target {target} in {axis} goes beyond what was shown.");
    };
    let Some(allowed) = step.allowed else {
        if let Some(share) = rule.from_share {
            return format!(
                "The build-up rule for {axis} begins at {} % of {}, which nobody has stated, so the target {target} cannot \
                 be compared with it.",
                share.percent,
                share.of.in_words()
            );
        }
        return format!(
            "The build-up rule for {axis} (first {}, step {}) cannot be compared with the target {target}.",
            rule.first, rule.step
        );
    };
    let (beyond, bound) = match step.direction {
        Direction::Up => ("beyond", "at most"),
        Direction::Down => ("below", "no less than"),
    };
    match (step.shown, step.distance()) {
        (Some(shown), Some(distance)) => format!(
            "The target is {target} in {axis}, {distance} {beyond} the {} that was shown; with the step of {} it may be \
             {bound} {allowed}.",
            shown.reached, rule.step
        ),
        _ => format!(
            "The target is {target} in {axis}; nothing was shown yet, and a first point may reach {}.",
            rule.first
        ),
    }
}

fn clears_too_far(step: &Step, way: &[Measure], code: &impl std::fmt::Display) -> String {
    let axis = words::axis(step.axis);
    let Some(allowed) = step.allowed else {
        return format!(
            "The policy gives a step and a first value for {axis} that can be compared with that axis."
        );
    };
    let up_to = match step.direction {
        Direction::Up => "up to",
        Direction::Down => "down to",
    };
    match way {
        [] => format!(
            "A point in between, at {up_to} {allowed} in {axis}, is shown and accepted; or the target of {code} is \
             brought back to that."
        ),
        [between @ .., _] => {
            let proposed = match between {
                [] | [_] => String::new(),
                [_, later @ ..] => format!(", then {}", listed(later)),
            };
            format!(
                "A point in between, at {up_to} {allowed} in {axis}, is shown and accepted{proposed}; or the target of \
                 {code} is brought back to {allowed}; or the test lead and the safety officer sign a deviation for this \
                 plan."
            )
        }
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
            BuildUp::TooFar { step, .. } => Subject::new("axis", step.axis),
            BuildUp::Together { .. } => Subject::new("point", &rung.point.code),
        }
    }

    fn why(&self, _: &Rung, state: &State) -> String {
        match self {
            BuildUp::TooFar { step, .. } => why_too_far(step, state),
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
            BuildUp::TooFar { step, way } => clears_too_far(step, way, code),
            BuildUp::Together { axes } => format!(
                "All but one of {} are shown first by other points; or the plan of {code} says that it means to go \
                 beyond on several axes together, and is approved so.",
                listed(axes.iter().map(|axis| words::axis(*axis)))
            ),
        }
    }

    fn source(&self, _: &Rung, state: &State) -> String {
        match self {
            BuildUp::TooFar { step, .. } => rule_of(step, state).map_or_else(
                || "the programme's policy".to_owned(),
                |rule| format!("the programme's policy: {}", rule.source),
            ),
            BuildUp::Together { .. } => "Rungbook rule: one axis at a time".to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic)]
    use super::*;
    use crate::measure::Unit;
    use crate::nouns::{DesignFigure, Phase, ShareOfDesign};
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
            direction: Direction::Up,
            phases: Vec::new(),
            from_share: None,
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
            direction: Direction::Up,
            phases: Vec::new(),
            from_share: None,
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
        assert!(!story.state.envelope.axes().any(|axis| axis == Axis::PressureAltitude));
    }

    #[test]
    fn the_way_to_a_bold_target_is_told_step_by_step() {
        let mut story = shown(40.0);
        at(&mut story, "B", &[(Axis::Speed, 72.0, Unit::Knot)]);
        let hold = story.hold("B", "build-up-step-too-large");
        assert_eq!(
            hold.clears,
            "A point in between, at up to 50 kt in speed, is shown and accepted, then 60 kt and 70 kt; or the target of B \
             is brought back to 50 kt; or the test lead and the safety officer sign a deviation for this plan."
        );
    }

    /// 10 kt at a time up to 80 % of the never-exceed speed, then 5, from 95 % on 2.5; the never-exceed speed is 100 kt.
    fn by_share(never_exceed_kt: Option<f64>) -> Story {
        let mut story = Story::team();
        let mut aircraft = story.state.aircraft.clone().unwrap();
        aircraft.never_exceed_speed = never_exceed_kt.map(|speed| Measure::new(speed, Unit::Knot));
        story.record("lead", crate::record::AircraftDescribed { aircraft });
        let mut finer = policy();
        finer.build_up[0].first = Measure::new(75.0, Unit::Knot);
        for (percent, step) in [(80.0, 5.0), (95.0, 2.5)] {
            finer.build_up.push(BuildUpRule {
                from_share: Some(ShareOfDesign { percent, of: DesignFigure::NeverExceedSpeed }),
                step: Measure::new(step, Unit::Knot),
                source: format!("the team's build-up from {percent} % on"),
                ..finer.build_up[0].clone()
            });
        }
        story.record("lead", PolicySet { policy: finer });
        story
    }

    #[test]
    fn steps_get_smaller_towards_the_never_exceed_speed_and_each_has_its_source() {
        let mut story = by_share(Some(100.0));
        for (shown, allowed, source) in [
            (70.0, "80 kt", "in speed"),
            (75.0, "85 kt", "in speed"),
            (76.0, "85 kt", "from 80 % on"),
            (80.0, "85 kt", "from 80 % on"),
            (90.0, "95 kt", "from 80 % on"),
            (95.0, "97.5 kt", "from 95 % on"),
        ] {
            at(&mut story, "S", &[(Axis::Speed, shown, Unit::Knot)]);
            story.show_and_accept("S");
            at(&mut story, "B", &[(Axis::Speed, 100.0, Unit::Knot)]);
            let hold = story.hold("B", "build-up-step-too-large");
            assert!(
                hold.why.contains(allowed) && hold.source.ends_with(source),
                "{shown}: {hold:?}"
            );
        }
    }

    #[test]
    fn a_share_of_a_figure_that_nobody_has_stated_holds() {
        let mut story = by_share(None);
        at(&mut story, "B", &[(Axis::Speed, 5.0, Unit::Knot)]);
        let hold = story.hold("B", "build-up-step-too-large");
        assert!(hold.why.contains("80 % of the never-exceed speed, which nobody has stated"));
    }

    #[test]
    fn no_step_is_proposed_towards_a_target_beyond_the_never_exceed_speed() {
        let mut story = by_share(Some(100.0));
        at(&mut story, "B", &[(Axis::Speed, 101.0, Unit::Knot)]);
        let hold = story.hold("B", "build-up-step-too-large");
        assert!(!hold.clears.contains("then") && !hold.clears.contains("deviation"), "{hold:?}");
    }

    /// Towards the stall in steps of 2 kt in flights, which may begin at 50 kt.
    fn downwards() -> Story {
        let mut story = Story::team();
        let mut slow = policy();
        slow.build_up.push(BuildUpRule {
            direction: Direction::Down,
            phases: vec![Phase::GroundRun],
            step: Measure::new(2.0, Unit::Knot),
            first: Measure::new(50.0, Unit::Knot),
            source: "the team's build-up towards the stall".to_owned(),
            ..slow.build_up[0].clone()
        });
        slow.build_up[0].first = Measure::new(60.0, Unit::Knot);
        story.record("lead", PolicySet { policy: slow });
        story
    }

    #[test]
    fn where_less_is_more_demanding_the_steps_go_down() {
        let mut story = downwards();
        for (target, held) in [(50.1, false), (50.0, false), (49.9, true)] {
            at(&mut story, "B", &[(Axis::Speed, target, Unit::Knot)]);
            assert_eq!(!story.rules("B").is_empty(), held, "{target}");
        }
        at(&mut story, "S", &[(Axis::Speed, 48.0, Unit::Knot)]);
        story.show_and_accept("S");
        for (target, held) in [(46.1, false), (46.0, false), (45.9, true)] {
            at(&mut story, "B", &[(Axis::Speed, target, Unit::Knot)]);
            assert_eq!(!story.rules("B").is_empty(), held, "{target}");
        }
        at(&mut story, "B", &[(Axis::Speed, 43.0, Unit::Knot)]);
        let hold = story.hold("B", "build-up-step-too-large");
        assert_eq!(
            hold.why,
            "The target is 43 kt in speed, 5 kt below the 48 kt that was shown; with the step of 2 kt it may be no less \
             than 46 kt."
        );
        assert!(hold.clears.starts_with(
            "A point in between, at down to 46 kt in speed, is shown and accepted, then 44 kt;"
        ));
        assert!(hold.source.ends_with("towards the stall"));
    }

    #[test]
    fn a_rule_of_some_phases_counts_only_what_was_shown_in_them() {
        let mut story = downwards();
        // Taxiing at 5 kt does not show flight at 5 kt.
        let mut taxi = point("T");
        taxi.phase = Phase::Taxi;
        taxi.limits = Vec::new();
        taxi.conditions.insert(Axis::Speed, condition(5.0, 1.0, Unit::Knot));
        story.plan(taxi).approve("T").show_and_accept("T");
        assert!(story.state.accepted_result(&"T".parse().unwrap()).is_some());
        at(&mut story, "B", &[(Axis::Speed, 30.0, Unit::Knot)]);
        let hold = story.hold("B", "build-up-step-too-large");
        assert!(hold.why.contains("nothing was shown yet, and a first point may reach 50 kt"));
    }
}
