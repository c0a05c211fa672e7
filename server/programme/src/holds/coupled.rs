//! Pairs of axes: a target that lies outside of what was shown of both at once, also where each alone was shown.
//!
//! 100 kt shown at 2 000 ft and 60 kt shown at 8 000 ft do not show 100 kt at 8 000 ft. For pairs of which the policy has a
//! step, a target may go beyond what was shown of both by the step on one of the axes; exactly there it is allowed.

use chrono::{DateTime, Utc};

use super::words;
use super::{Explained, Reason, Rule, Subject};
use crate::envelope::{CoupledStep, coupled_steps};
use crate::measure::Measure;
use crate::state::{Rung, State};

static OUTSIDE: Rule = Rule::against_release(
    "coupled-step-too-large",
    "A target on two axes lies within a step of what was shown of both at once, also where each alone was shown.",
);

pub(super) static RULES: &[&Rule] = &[&OUTSIDE];

/// A target outside of what was shown of two axes at once.
#[derive(Debug, Clone, PartialEq)]
pub struct Coupled {
    /// The step that is too large.
    pub step: CoupledStep,
}

pub(super) fn collect(rung: &Rung, state: &State, _: DateTime<Utc>, found: &mut Vec<Reason>) {
    let steps = coupled_steps(&rung.point, state).into_iter();
    found.extend(steps.map(|step| Reason::Coupled(Coupled { step })));
}

fn both(step: &CoupledStep, at: [f64; 2]) -> String {
    let ((x, x_unit), (y, y_unit)) = (step.pair.across(), step.pair.upwards());
    format!(
        "{} in {} with {} in {}",
        Measure::new(at[0], x_unit),
        words::axis(x),
        Measure::new(at[1], y_unit),
        words::axis(y)
    )
}

impl Explained for Coupled {
    fn rule(&self) -> &'static Rule {
        &OUTSIDE
    }

    fn subject(&self, _: &Rung) -> Subject {
        Subject::new("pair", self.step.pair)
    }

    fn why(&self, _: &Rung, _: &State) -> String {
        let step = &self.step;
        let units = (step.pair.across().1, step.pair.upwards().1);
        format!(
            "{}: both at once were not shown, whatever was shown of each alone. The nearest that was shown, or may be reached \
             first, is {}, so that it is {} and {} beyond; it may be {} beyond on the one, or {} on the other.",
            both(step, step.target),
            both(step, step.nearest),
            Measure::new(step.distance[0], units.0),
            Measure::new(step.distance[1], units.1),
            Measure::new(step.allowed[0], units.0),
            Measure::new(step.allowed[1], units.1)
        )
    }

    fn clears(&self, rung: &Rung, _: &State) -> String {
        format!(
            "{} is shown and accepted first; or the targets of {} are brought back to that.",
            both(&self.step, self.step.propose),
            rung.point.code
        )
    }

    fn source(&self, _: &Rung, state: &State) -> String {
        let rules = state.policy.as_ref().map_or(&[][..], |policy| &policy.build_up_pairs);
        rules.iter().find(|rule| rule.pair == self.step.pair).map_or_else(
            || "the programme's policy".to_owned(),
            |rule| format!("the programme's policy: {}", rule.source),
        )
    }
}
