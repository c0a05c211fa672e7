//! Takes a point out of the plan. Its history stays, and it can be planned again.

use serde::Deserialize;

use super::given::{Given, at_revision, one};
use super::held::{hold, unless_held};
use super::plan_point::not_in_open_run;
use super::{Command, Stamp, known};
use crate::codes::PointCode;
use crate::entry::Draft;
use crate::holds::Hold;
use crate::people::Act;
use crate::record::PointDropped;
use crate::refusal::Refusal;
use crate::state::{Amendable, State};

/// What a person gives to take a point out of the plan.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DroppingTerms {
    /// Why.
    pub reason: String,
}

/// Asks for a point to be taken out of the plan.
#[derive(Debug, Clone)]
pub struct DropPoint {
    /// Which.
    pub point: PointCode,
    /// What was given.
    pub terms: DroppingTerms,
    /// The revision of the plan that the person saw.
    pub expected: Option<u64>,
}

impl Command for DropPoint {
    fn act(&self) -> Act {
        Act::Plan
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let Self { point, terms: DroppingTerms { reason }, expected } = self;
        known::standing_rung(state, point)?;
        at_revision(state, &Amendable::Point(point.clone()), *expected)?;
        Given::new(state, stamp).text("reason", reason).settled()?;
        not_in_open_run(state, point)?;
        unless_held(waiting_for(state, point))?;
        Ok(one(PointDropped { point: point.clone(), reason: reason.clone() }))
    }
}

/// A hold for each point that waits for this one: without it they could never go ahead.
fn waiting_for(state: &State, point: &PointCode) -> Vec<Hold> {
    let waiting = state.ladder.dependents(point).iter().filter(|code| {
        state
            .rung(code)
            .is_some_and(|rung| rung.dropped.is_none() && rung.point.after_points.contains(point))
    });
    waiting
        .map(|code| {
            hold(
                "point-waited-for",
                ("point", code),
                format!("{code} waits for {point} and could not go ahead without it."),
                format!("{code} is planned without {point} before it, or dropped first."),
                "Rungbook rule: no rung is taken from under another",
            )
        })
        .collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, held, no_permission, not_now, stale, unknown};
    use crate::nouns::Point;
    use crate::story::{Story, code, point};

    fn dropping(name: &str) -> DropPoint {
        let terms = DroppingTerms { reason: "Covered by another.".to_owned() };
        DropPoint { point: code(name), terms, expected: None }
    }

    fn after(name: &str, before: &str) -> Point {
        Point { after_points: vec![code(before)], ..point(name) }
    }

    #[test]
    fn a_point_that_nothing_waits_for_is_dropped_with_a_reason() {
        let mut story = Story::team();
        let mut command = dropping("A");
        command.terms.reason = String::new();
        assert_eq!(faults(story.when("lead", &command)), ["reason"]);
        story.when("engineer", &dropping("A")).unwrap();
        assert_eq!(story.rung("A").dropped.as_ref().unwrap().reason, "Covered by another.");
        assert_eq!(not_now(story.when("lead", &dropping("A"))), "point-dropped");
    }

    #[test]
    fn a_point_that_others_wait_for_is_not_dropped_and_each_of_them_is_named() {
        let mut story = Story::team();
        story.plan(after("B", "A")).plan(after("C", "A")).plan(after("D", "B"));
        let holds = held(story.when("lead", &dropping("A")));
        let named: Vec<_> = holds.iter().map(|hold| hold.subject.code.as_str()).collect();
        assert_eq!(named, ["B", "C"]);
        assert!(holds.iter().all(|hold| hold.rule == "point-waited-for"));
        for name in ["D", "B"] {
            story.when("lead", &dropping(name)).unwrap();
        }
        story.plan(point("C"));
        story.when("lead", &dropping("A")).unwrap();
    }

    #[test]
    fn a_point_is_not_dropped_while_it_is_run_or_by_whoever_saw_another_plan() {
        let mut story = Story::team();
        let run = story.open_run(&["A"]);
        assert_eq!(not_now(story.when("lead", &dropping("A"))), "point-being-run");
        story.close_run(run);
        let present = story.state.revision(&Amendable::Point(code("A")));
        let command = DropPoint { expected: Some(1), ..dropping("A") };
        assert_eq!(stale(story.when("lead", &command)), (present, 1));
        assert_eq!(unknown(story.when("lead", &dropping("Z"))), "point");
    }

    #[test]
    fn whoever_does_not_plan_does_not_drop() {
        let mut story = Story::team();
        no_permission(&mut story, &dropping("A"), &["pilot", "safety", "crew", "viewer"]);
    }
}
