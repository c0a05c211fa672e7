//! Closes a run that is over.

use serde::Deserialize;

use super::given::{Given, not_now, one};
use super::{Command, Stamp, known, times};
use crate::codes::RunNumber;
use crate::entry::Draft;
use crate::people::Act;
use crate::record::RunClosed;
use crate::refusal::Refusal;
use crate::state::State;

/// What a person gives to close a run.
#[derive(Debug, Clone, Default, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ClosingTerms {
    /// What is worth saying about it.
    #[serde(default)]
    pub debrief: Option<String>,
}

/// Asks for a run to be closed.
#[derive(Debug, Clone)]
pub struct CloseRun {
    /// Which run.
    pub run: RunNumber,
    /// What was given.
    pub terms: ClosingTerms,
}

impl Command for CloseRun {
    fn act(&self) -> Act {
        Act::ConductRuns
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let debrief = self.terms.debrief.as_ref();
        Given::new(state, stamp).optional_text("debrief", debrief).settled()?;
        let run = known::open_run(state, self.run)?;
        let unfinished = times::unfinished(&run.times);
        if !unfinished.is_empty() {
            let whys: Vec<_> = unfinished.into_iter().map(|fault| fault.why).collect();
            return Err(not_now(
                "run-unfinished",
                format!("run {} is not over: {}", self.run, whys.join("; ")),
                "Note what is missing, with the moment at which it was seen.",
            ));
        }
        Ok(one(RunClosed { run: self.run, debrief: debrief.cloned() }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now};
    use crate::record::RunEvent;
    use crate::story::Story;

    fn closing(run: RunNumber) -> CloseRun {
        CloseRun { run, terms: ClosingTerms::default() }
    }

    #[test]
    fn a_run_is_closed_once_power_is_off_and_everything_is_down() {
        use RunEvent::{Landing, OffBlocks, PowerOff, PowerOn, TakeOff};
        let mut story = Story::team();
        let run = story.open_run(&["A"]);
        story.moment(run, PowerOn).moment(run, OffBlocks).moment(run, TakeOff);
        assert_eq!(not_now(story.when("lead", &closing(run))), "run-unfinished");
        story.moment(run, Landing);
        assert_eq!(not_now(story.when("lead", &closing(run))), "run-unfinished");
        story.moment(run, PowerOff);
        story.when("lead", &closing(run)).unwrap();
        assert!(story.state.run(run).unwrap().closed.is_some());
        assert_eq!(not_now(story.when("lead", &closing(run))), "run-closed");
    }

    #[test]
    fn a_run_that_was_never_under_power_is_closed_at_once() {
        let mut story = Story::team();
        let run = story.open_run(&["A"]);
        let mut command = closing(run);
        no_permission(&mut story, &command, &["safety", "viewer"]);
        command.terms.debrief = Some(" ".to_owned());
        assert_eq!(faults(story.when("lead", &command)), ["debrief"]);
        story.when("lead", &closing(run)).unwrap();
    }
}
