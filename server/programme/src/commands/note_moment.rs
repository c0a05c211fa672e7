//! Notes a moment of an open run: power on, off blocks, take-off, landing, on blocks, power off.

use chrono::{DateTime, Utc};
use serde::Deserialize;

use super::given::{Given, not_now, one_seen};
use super::{Command, Stamp, known, times};
use crate::codes::RunNumber;
use crate::entry::Draft;
use crate::people::Act;
use crate::record::{RunEvent, RunMomentNoted};
use crate::refusal::Refusal;
use crate::state::State;

/// What a person gives to note a moment.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MomentTerms {
    /// What happened.
    pub event: RunEvent,
    /// When it was seen; absent: now.
    #[serde(default)]
    pub observed_at: Option<DateTime<Utc>>,
}

/// Asks for a moment to be noted.
#[derive(Debug, Clone)]
pub struct NoteMoment {
    /// Of which run.
    pub run: RunNumber,
    /// What was given.
    pub terms: MomentTerms,
}

impl Command for NoteMoment {
    fn act(&self) -> Act {
        Act::ConductRuns
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let MomentTerms { event, observed_at } = self.terms;
        let run = known::open_run(state, self.run)?;
        Given::new(state, stamp).observed(observed_at).settled()?;
        if times::has(&run.times, event) {
            return Err(not_now(
                "moment-already-noted",
                format!("{} of run {} was noted already", event.in_words(), self.run),
                "A test lead or engineer corrects the times of the run, if the moment is wrong.",
            ));
        }
        let mut with_it = run.times.clone();
        with_it.put(event, observed_at.unwrap_or(stamp.now));
        let disorder = times::disorder(&with_it);
        if !disorder.is_empty() {
            let whys: Vec<_> =
                disorder.iter().map(|fault| format!("{} {}", fault.field, fault.why)).collect();
            return Err(not_now(
                "moment-out-of-order",
                format!("{} cannot have been then: {}", event.in_words(), whys.join("; ")),
                "Note the moment before it first, or correct the times of the run.",
            ));
        }
        Ok(one_seen(observed_at, RunMomentNoted { run: self.run, event }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use chrono::TimeDelta;

    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, unknown};
    use crate::story::Story;

    fn moment(run: RunNumber, event: RunEvent) -> NoteMoment {
        NoteMoment { run, terms: MomentTerms { event, observed_at: None } }
    }

    fn opened() -> (Story, RunNumber) {
        let mut story = Story::team();
        let run = story.open_run(&["A"]);
        (story, run)
    }

    #[test]
    fn the_moments_of_a_flight_with_a_touch_and_go_are_noted_in_order() {
        use RunEvent::{Landing, OffBlocks, OnBlocks, PowerOff, PowerOn, TakeOff};
        let (mut story, run) = opened();
        for event in [PowerOn, OffBlocks, TakeOff, Landing, TakeOff, Landing, OnBlocks, PowerOff] {
            story.later(TimeDelta::minutes(1));
            story.when("crew", &moment(run, event)).unwrap();
        }
        let times = &story.state.run(run).unwrap().times;
        assert_eq!((times.take_offs.len(), times.landings.len()), (2, 2));
    }

    #[test]
    fn moments_out_of_order_are_refused() {
        use RunEvent::{Landing, OffBlocks, OnBlocks, PowerOff, PowerOn, TakeOff};
        let (mut story, run) = opened();
        for event in [TakeOff, Landing, OnBlocks, PowerOff] {
            assert_eq!(not_now(story.when("crew", &moment(run, event))), "moment-out-of-order");
        }
        for event in [PowerOn, OffBlocks, TakeOff] {
            story.when("crew", &moment(run, event)).unwrap();
        }
        for event in [TakeOff, OnBlocks] {
            assert_eq!(not_now(story.when("crew", &moment(run, event))), "moment-out-of-order");
        }
    }

    #[test]
    fn a_moment_that_comes_once_is_not_noted_twice() {
        let (mut story, run) = opened();
        story.when("crew", &moment(run, RunEvent::PowerOn)).unwrap();
        let again = moment(run, RunEvent::PowerOn);
        assert_eq!(not_now(story.when("crew", &again)), "moment-already-noted");
    }

    #[test]
    fn a_moment_seen_earlier_keeps_its_time_and_cannot_lie_in_the_future() {
        let (mut story, run) = opened();
        story.later(TimeDelta::minutes(10));
        let mut command = moment(run, RunEvent::PowerOn);
        let seen = story.now - TimeDelta::minutes(5);
        command.terms.observed_at = Some(seen);
        story.when("crew", &command).unwrap();
        assert_eq!(story.state.run(run).unwrap().times.power_on, Some(seen));
        let mut command = moment(run, RunEvent::OffBlocks);
        command.terms.observed_at = Some(story.now + TimeDelta::minutes(3));
        assert_eq!(faults(story.when("crew", &command)), ["observed_at"]);
        command.terms.observed_at = story.state.founded_at.map(|at| at - TimeDelta::seconds(1));
        assert_eq!(faults(story.when("crew", &command)), ["observed_at"]);
    }

    #[test]
    fn moments_are_noted_during_a_stand_down() {
        let (mut story, run) = opened();
        story.stand_down();
        story.when("crew", &moment(run, RunEvent::PowerOn)).unwrap();
        story.when("crew", &moment(run, RunEvent::PowerOff)).unwrap();
    }

    #[test]
    fn a_closed_run_has_no_more_moments() {
        let (mut story, run) = opened();
        story.close_run(run);
        let command = moment(run, RunEvent::PowerOn);
        assert_eq!(not_now(story.when("crew", &command)), "run-closed");
        assert_eq!(unknown(story.when("crew", &moment(RunNumber(7), RunEvent::PowerOn))), "run");
    }

    #[test]
    fn neither_safety_officer_nor_inspector_notes_moments() {
        let (mut story, run) = opened();
        no_permission(&mut story, &moment(run, RunEvent::PowerOn), &["safety", "viewer"]);
    }
}
