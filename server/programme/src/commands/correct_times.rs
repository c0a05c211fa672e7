//! Corrects the times of a run; the times before stay on record.

use serde::Deserialize;

use super::given::{Given, at_revision, changes, one};
use super::{Command, Stamp, known, times};
use crate::codes::RunNumber;
use crate::entry::Draft;
use crate::people::Act;
use crate::record::{RunTimes, RunTimesCorrected};
use crate::refusal::Refusal;
use crate::state::{Amendable, State};

/// What a person gives to correct the times of a run.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CorrectionTerms {
    /// All the times as they were; what is left out was not noted.
    pub times: RunTimes,
    /// Why they were wrong, and where the right ones come from.
    pub reason: String,
}

/// Asks for the times of a run to be corrected.
#[derive(Debug, Clone)]
pub struct CorrectTimes {
    /// Of which run.
    pub run: RunNumber,
    /// What was given.
    pub terms: CorrectionTerms,
    /// The revision of the run that the person saw.
    pub expected: Option<u64>,
}

impl Command for CorrectTimes {
    fn act(&self) -> Act {
        Act::CorrectTimes
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let CorrectionTerms { times, reason } = &self.terms;
        let run = known::run(state, self.run)?;
        at_revision(state, &Amendable::Run(self.run), self.expected)?;
        let mut given = Given::new(state, stamp).text("reason", reason);
        let single = [
            ("times.power_on", times.power_on),
            ("times.off_blocks", times.off_blocks),
            ("times.on_blocks", times.on_blocks),
            ("times.power_off", times.power_off),
        ];
        for (field, at) in single {
            given = given.seen_at(field, at);
        }
        for (name, moments) in [("take_offs", &times.take_offs), ("landings", &times.landings)] {
            for (place, at) in moments.iter().enumerate() {
                given = given.seen_at(&format!("times.{name}[{place}]"), Some(*at));
            }
        }
        let mut faults = times::disorder(times);
        if run.closed.is_some() {
            faults.extend(times::unfinished(times));
        }
        for fault in &mut faults {
            fault.field.insert_str(0, "times.");
        }
        given.faults(faults).settled()?;
        changes(run.times != *times, format_args!("the times of run {}", self.run))?;
        let (times, reason) = (times.clone(), reason.clone());
        Ok(one(RunTimesCorrected { run: self.run, times, reason }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use chrono::TimeDelta;

    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, stale};
    use crate::story::Story;

    /// A run of ten minutes under power, and a correction that makes them twenty.
    fn corrected() -> (Story, CorrectTimes) {
        let mut story = Story::team();
        story.later(TimeDelta::hours(1));
        let run = story.run_for(&["A"], 10);
        let mut times = story.state.run(run).unwrap().times.clone();
        times.power_on = times.power_on.map(|at| at - TimeDelta::minutes(10));
        let reason = "The watch stood.".to_owned();
        (story, CorrectTimes { run, terms: CorrectionTerms { times, reason }, expected: None })
    }

    #[test]
    fn corrected_times_hold_and_the_earlier_ones_stay_on_record() {
        let (mut story, command) = corrected();
        story.when("lead", &command).unwrap();
        let run = story.state.run(command.run).unwrap();
        assert_eq!(run.powered_minutes(), Some(20));
        assert_eq!(run.corrections.len(), 1);
        assert_eq!(not_now(story.when("lead", &command)), "nothing-changes");
    }

    #[test]
    fn times_that_cannot_have_been_are_refused() {
        let (mut story, mut command) = corrected();
        let founded = story.state.founded_at.unwrap();
        command.terms.times.power_on = Some(founded - TimeDelta::minutes(1));
        command.terms.times.power_off = None;
        command.terms.times.landings = vec![story.now + TimeDelta::hours(1)];
        command.terms.reason = String::new();
        assert_eq!(
            faults(story.when("lead", &command)),
            [
                "reason",
                "times.power_on",
                "times.landings[0]",
                "times.landings[0]",
                "times.power_off"
            ]
        );
    }

    #[test]
    fn a_correction_of_times_that_have_changed_since_is_refused() {
        let (mut story, mut command) = corrected();
        let present = story.state.length();
        command.expected = Some(present - 1);
        assert_eq!(stale(story.when("lead", &command)), (present, present - 1));
        command.expected = Some(present);
        story.when("lead", &command).unwrap();
    }

    #[test]
    fn lead_and_engineer_correct_times_and_nobody_else() {
        let (mut story, command) = corrected();
        no_permission(&mut story, &command, &["pilot", "safety", "crew", "viewer"]);
    }
}
