//! What may or could be done next, in the order in which it is worth looking at.
//!
//! Points that nothing holds come first, then those that can be released, then the others; among these what is held by the
//! fewest things that are easiest to clear, and of equals what opens more of the ladder. It advises: it clears nobody to
//! fly, and how easily something is cleared never softens the hold itself.

use std::sync::Arc;

use chrono::{DateTime, Utc};
use serde::Serialize;

use crate::board::Board;
use crate::holds::{BuildUp, Hold, Reason, Stage};
use crate::measure::Measure;
use crate::nouns::{Axis, Direction};
use crate::state::{Rung, State};

/// How far a point is from going ahead.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Readiness {
    /// All stated conditions are met.
    Open,
    /// It can be released, or is, and is held against the run.
    HeldForRun,
    /// It can be neither released nor run.
    Held,
}

/// A smaller step that the program proposes to show before.
#[derive(Debug, Clone, PartialEq)]
pub struct ProposedStep {
    /// On which axis.
    pub axis: Axis,
    /// Which way.
    pub direction: Direction,
    /// What was shown; absent: nothing.
    pub shown: Option<Measure>,
    /// The target that is too far.
    pub target: Measure,
    /// What to show next; absent where the rule cannot be compared with the axis.
    pub propose: Option<Measure>,
    /// What would be shown after that, in order, the target last; empty where no way is known.
    pub then: Vec<Measure>,
}

/// A point that may or could be done next.
#[derive(Debug, Clone, PartialEq)]
pub struct NextStep<'a> {
    /// The point.
    pub rung: &'a Rung,
    /// How far it is from going ahead.
    pub readiness: Readiness,
    /// Everything that holds it.
    pub reasons: Arc<[Reason]>,
    /// How much it takes to clear all that; no unit, to compare with others only.
    pub effort: u32,
    /// How many points that are still to be shown wait for it, directly or by others.
    pub opens: usize,
}

impl NextStep<'_> {
    /// What holds it, in words.
    pub fn holds(&self, state: &State) -> Vec<Hold> {
        self.reasons.iter().map(|reason| reason.told(self.rung, state)).collect()
    }

    /// The smaller steps that are proposed where a step of the build-up is too large.
    pub fn proposals(&self) -> Vec<ProposedStep> {
        let too_far = self.reasons.iter().filter_map(|reason| match reason {
            Reason::BuildUp(BuildUp::TooFar { step, way }) => Some((step, way)),
            _ => None,
        });
        too_far
            .map(|(step, way)| ProposedStep {
                axis: step.axis,
                direction: step.direction,
                shown: step.shown.map(|shown| shown.reached),
                target: step.target,
                propose: way.first().copied().or(step.allowed),
                then: way.iter().skip(1).copied().collect(),
            })
            .collect()
    }
}

/// How much it takes to clear a reason, from a signature to work on the aircraft: our own order, no source.
const fn effort(reason: &Reason) -> u32 {
    match reason {
        // A signature, or waiting.
        Reason::Plan(_) | Reason::Release(_) | Reason::Weather(_) => 1,
        // Something that the team does on the day.
        Reason::Check(_) | Reason::Crew(_) => 2,
        // Paper and decisions.
        Reason::ModelNeedsReview(_)
        | Reason::DampingStep(_)
        | Reason::Policy(_)
        | Reason::Hazard(_)
        | Reason::Document(_)
        | Reason::Refused(_) => 3,
        // Work on the aircraft, or an explanation.
        Reason::Configuration(_)
        | Reason::Quarantined(_)
        | Reason::OpenExceedance(_)
        | Reason::Heating(_)
        | Reason::Snag(_) => 4,
        // Another point first, or this one again.
        Reason::Prerequisite(_)
        | Reason::BuildUp(_)
        | Reason::Coupled(_)
        | Reason::BadResult(_)
        | Reason::PredictedLimit(_)
        | Reason::PredictedReserve(_)
        | Reason::PredictionMissing(_) => 5,
        // Nothing goes ahead at all.
        Reason::StandDown(_) | Reason::Clock(_) => 8,
        // Not as it is planned.
        Reason::BeyondDesign(_) => 12,
    }
}

/// Which points wait for a point, directly or by others.
struct Waiting {
    /// By place in the ladder the places of the points still to be shown that name it.
    directly: Vec<Vec<usize>>,
    /// By place the number of the count in which it was met last.
    met_in: Vec<usize>,
}

impl Waiting {
    fn new(state: &State, to_be_shown: &[usize]) -> Self {
        let rungs = state.ladder.rungs();
        let mut directly = vec![Vec::new(); rungs.len()];
        for place in to_be_shown {
            for before in &rungs[*place].point.after_points {
                if let Some(before) = state.ladder.place(before) {
                    directly[before].push(*place);
                }
            }
        }
        Self { directly, met_in: vec![usize::MAX; rungs.len()] }
    }

    /// Each point counts once, also where it waits by several ways or, wrongly, for itself.
    fn count(&mut self, place: usize) -> usize {
        let mut open = vec![place];
        self.met_in[place] = place;
        let mut count = 0;
        while let Some(next) = open.pop() {
            for waits in &self.directly[next] {
                if self.met_in[*waits] != place {
                    self.met_in[*waits] = place;
                    count += 1;
                    open.push(*waits);
                }
            }
        }
        count
    }
}

/// Every point that is still to be shown, what is worth looking at first first.
pub fn next_steps<'a>(state: &'a State, board: &Board, now: DateTime<Utc>) -> Vec<NextStep<'a>> {
    let rungs = state.ladder.rungs();
    let to_be_shown: Vec<usize> = (0..rungs.len())
        .filter(|place| {
            let rung = &rungs[*place];
            rung.dropped.is_none() && state.accepted_result_of(rung).is_none()
        })
        .collect();
    let mut waiting = Waiting::new(state, &to_be_shown);
    let mut steps: Vec<NextStep<'a>> = to_be_shown
        .iter()
        .map(|place| {
            let reasons = board.reasons(*place, state, now);
            let readiness = if reasons.is_empty() {
                Readiness::Open
            } else if reasons.iter().all(|reason| reason.stage() == Stage::Run) {
                Readiness::HeldForRun
            } else {
                Readiness::Held
            };
            NextStep {
                rung: &rungs[*place],
                readiness,
                effort: reasons.iter().map(effort).fold(0, u32::saturating_add),
                opens: waiting.count(*place),
                reasons,
            }
        })
        .collect();
    // Stable, so that of equals the first of the ladder stays first.
    steps.sort_by(|one, other| {
        let key = |step: &NextStep<'_>| (step.readiness, step.effort, step.reasons.len());
        key(one).cmp(&key(other)).then(other.opens.cmp(&one.opens))
    });
    steps
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use proptest::prelude::*;

    use super::*;
    use crate::measure::Unit;
    use crate::nouns::Point;
    use crate::story::chance::steps;
    use crate::story::{Story, code, condition, point};

    fn told(story: &Story) -> Vec<(String, Readiness, usize)> {
        let board = Board::new(&story.state, story.now);
        let steps = next_steps(&story.state, &board, story.now).into_iter();
        steps.map(|it| (it.rung.point.code.to_string(), it.readiness, it.opens)).collect()
    }

    #[test]
    fn open_points_come_first_then_what_is_easiest_to_clear_then_what_opens_more() {
        let mut story = Story::team();
        for (name, after) in [("B", "A"), ("C", "B"), ("D", "B")] {
            story.plan(Point { after_points: vec![code(after)], ..point(name) }).approve(name);
        }
        story.plan(point("E")).approve("E");
        story.plan(point("F"));
        story.release("E").acknowledge("E");
        let told = told(&story);
        let codes: Vec<_> = told.iter().map(|(name, _, _)| name.as_str()).collect();
        assert_eq!(codes, ["E", "A", "F", "B", "C", "D"]);
        assert_eq!(told[0].1, Readiness::Open);
        assert_eq!(told[1], ("A".to_owned(), Readiness::HeldForRun, 3));
        assert_eq!(told[2].1, Readiness::Held);
        assert_eq!(told[3], ("B".to_owned(), Readiness::Held, 2));
    }

    #[test]
    fn a_step_that_is_too_large_comes_with_the_smaller_ones() {
        let mut story = Story::team();
        let mut bold = point("B");
        bold.conditions.insert(Axis::Speed, condition(35.0, 1.0, Unit::Knot));
        story.plan(bold).approve("B");
        let board = Board::new(&story.state, story.now);
        let steps = next_steps(&story.state, &board, story.now);
        let bold = steps.iter().find(|it| it.rung.point.code.as_str() == "B").unwrap();
        let kt = |speed| Measure::new(speed, Unit::Knot);
        assert_eq!(
            bold.proposals(),
            [ProposedStep {
                axis: Axis::Speed,
                direction: Direction::Up,
                shown: None,
                target: kt(35.0),
                propose: Some(kt(20.0)),
                then: vec![kt(30.0), kt(35.0)],
            }]
        );
        assert_eq!(bold.holds(&story.state)[0].rule, "build-up-step-too-large");
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn every_point_still_to_be_shown_is_told_once_and_open_ones_are_those_of_the_board(
            steps in steps(60)
        ) {
            let mut story = Story::ladder();
            for step in steps {
                story.step(step);
            }
            let board = Board::new(&story.state, story.now);
            let next = board.next(&story.state, story.now);
            let told = told(&story);
            let of = |wanted: Readiness| {
                let mut codes: Vec<_> = told
                    .iter()
                    .filter(|(_, readiness, _)| *readiness == wanted)
                    .map(|(name, _, _)| name.clone())
                    .collect();
                codes.sort();
                codes
            };
            let sorted = |codes: &[crate::codes::PointCode]| {
                let mut codes: Vec<_> = codes.iter().map(ToString::to_string).collect();
                codes.sort();
                codes
            };
            prop_assert_eq!(of(Readiness::Open), sorted(&next.unheld));
            prop_assert_eq!(of(Readiness::HeldForRun), sorted(&next.held_for_run));
            let mut codes: Vec<_> = told.iter().map(|(name, _, _)| name).collect();
            codes.sort();
            codes.dedup();
            prop_assert_eq!(codes.len(), told.len());
        }
    }
}
