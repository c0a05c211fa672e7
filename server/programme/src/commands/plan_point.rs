//! Plans a point, changes its plan, or brings back one that was taken out of the plan.
//!
//! Whoever plans it last is its author and signs no part of that step. A changed plan voids what was signed for it.

use super::given::{Given, at_revision, changes, not_now, one};
use super::{Command, Stamp};
use crate::document::ProgrammeDocument;
use crate::entry::Draft;
use crate::nouns::Point;
use crate::people::Act;
use crate::record::PointPlanned;
use crate::refusal::Refusal;
use crate::state::{Amendable, State};

/// Asks for a point to be planned.
#[derive(Debug, Clone)]
pub struct PlanPoint {
    /// The point as it is to be.
    pub point: Point,
    /// The revision of the plan that the person saw; 0: there was no such point.
    pub expected: Option<u64>,
}

impl Command for PlanPoint {
    fn act(&self) -> Act {
        Act::Plan
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let Self { point, expected } = self;
        let code = &point.code;
        at_revision(state, &Amendable::Point(code.clone()), *expected)?;
        not_in_open_run(state, code)?;
        let document =
            ProgrammeDocument { points: vec![point.clone()], ..ProgrammeDocument::default() };
        Given::new(state, stamp).noun(point.faults(""), &document, "points").settled()?;
        let differs =
            state.rung(code).is_none_or(|rung| rung.dropped.is_some() || *rung.point != *point);
        changes(differs, format_args!("the plan of {code}"))?;
        Ok(one(PointPlanned { point: point.clone() }))
    }
}

/// Refuses where the point is being run: what was released is flown, and nothing else.
pub(super) fn not_in_open_run(
    state: &State,
    point: &crate::codes::PointCode,
) -> Result<(), Refusal> {
    match state.open_run() {
        Some(run) if run.points.contains(point) => Err(not_now(
            "point-being-run",
            format!("{point} is being run in run {}", run.number),
            "Close the run, and change the plan afterwards.",
        )),
        Some(_) | None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, held, no_permission, not_now, stale};
    use crate::commands::{ApprovalTerms, ApprovePlan, digests};
    use crate::holds::Stage;
    use crate::story::{Story, code, point};

    fn plan(point: Point) -> PlanPoint {
        PlanPoint { point, expected: None }
    }

    fn changed() -> Point {
        Point { title: "Changed".to_owned(), ..point("A") }
    }

    #[test]
    fn lead_and_engineer_plan_points_and_others_do_not() {
        let mut story = Story::team();
        story.when("lead", &plan(point("B"))).unwrap();
        story.when("engineer", &plan(point("C"))).unwrap();
        assert_eq!(story.rules("B"), ["plan-not-approved"]);
        assert_eq!(story.rung("C").planned_by.as_str(), "engineer");
        no_permission(&mut story, &plan(point("D")), &["pilot", "safety", "crew", "viewer"]);
    }

    #[test]
    fn a_changed_plan_voids_its_approval_and_its_release() {
        let mut story = Story::team();
        story.release("A").acknowledge("A");
        assert!(story.rules_against("A", Stage::Run).is_empty());
        story.when("lead", &plan(changed())).unwrap();
        let rules = story.rules_against("A", Stage::Run);
        for rule in ["plan-changed-since-approval", "release-plan-changed"] {
            assert!(rules.contains(&rule), "{rule}: {rules:?}");
        }
    }

    #[test]
    fn whoever_changed_the_plan_last_does_not_approve_it() {
        let mut story = Story::team();
        story.when("engineer", &plan(changed())).unwrap();
        let digest = digests::plan(&story.state, story.rung("A")).unwrap();
        let command = ApprovePlan { point: code("A"), terms: ApprovalTerms { digest } };
        assert_eq!(held(story.when("engineer", &command))[0].rule, "one-person-two-parts");
        story.when("lead", &command).unwrap();
    }

    #[test]
    fn a_plan_that_somebody_changed_since_it_was_read_is_not_overwritten() {
        let mut story = Story::team();
        let seen = story.state.revision(&Amendable::Point(code("A")));
        let command = PlanPoint { point: changed(), expected: Some(seen) };
        story.when("lead", &command).unwrap();
        let present = story.state.length();
        assert_eq!(stale(story.when("engineer", &command)), (present, seen));
        let anew = PlanPoint { point: point("A"), expected: Some(0) };
        assert_eq!(stale(story.when("lead", &anew)), (present, 0));
        let first = PlanPoint { point: point("B"), expected: Some(0) };
        story.when("lead", &first).unwrap();
    }

    #[test]
    fn every_fault_of_a_point_is_told_at_once_alone_and_against_the_programme() {
        let mut story = Story::team();
        let mut wrong = point("B");
        wrong.title = String::new();
        wrong.data_required = vec![code("nothing")];
        wrong.hazards = vec![code("H-none")];
        wrong.after_points = vec![code("A"), code("Z")];
        wrong.most_on_board = 3;
        assert_eq!(
            faults(story.when("lead", &plan(wrong))),
            ["title", "data_required[0]", "most_on_board", "hazards[0]", "after_points[1]"]
        );
    }

    #[test]
    fn points_that_would_wait_for_each_other_are_refused_with_the_path_of_the_cycle() {
        let mut story = Story::team();
        let after =
            |name: &str, before: &str| Point { after_points: vec![code(before)], ..point(name) };
        story.when("lead", &plan(after("B", "A"))).unwrap();
        story.when("lead", &plan(after("C", "B"))).unwrap();
        let Err(Refusal::Invalid { faults }) = story.when("lead", &plan(after("A", "C"))) else {
            unreachable!("a cycle is a fault")
        };
        assert_eq!(faults[0].field, "after_points");
        assert!(faults[0].why.contains("A → C → B → A"), "{}", faults[0].why);
    }

    #[test]
    fn the_same_plan_again_is_no_change_but_for_a_point_that_was_dropped() {
        let mut story = Story::team();
        assert_eq!(not_now(story.when("lead", &plan(point("A")))), "nothing-changes");
        story.drop_point("A");
        story.when("lead", &plan(point("A"))).unwrap();
        assert!(story.rung("A").dropped.is_none());
    }

    #[test]
    fn the_plan_of_a_point_does_not_change_while_it_is_run() {
        let mut story = Story::team();
        let run = story.open_run(&["A"]);
        assert_eq!(not_now(story.when("lead", &plan(changed()))), "point-being-run");
        story.close_run(run);
        story.when("lead", &plan(changed())).unwrap();
    }
}
