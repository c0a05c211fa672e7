//! Calls knock-it-off in an open run.

use chrono::{DateTime, Utc};
use serde::Deserialize;

use super::given::{Given, one_seen};
use super::{Command, Stamp, known};
use crate::codes::RunNumber;
use crate::entry::Draft;
use crate::people::Act;
use crate::record::KnockedOff;
use crate::refusal::Refusal;
use crate::state::State;

/// What a person gives to call knock-it-off.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct KnockOffTerms {
    /// Why.
    pub reason: String,
    /// When it was called; absent: now.
    #[serde(default)]
    pub observed_at: Option<DateTime<Utc>>,
}

/// Asks for a knock-it-off to be recorded. Whoever calls it twice, or after another, is not refused.
#[derive(Debug, Clone)]
pub struct KnockOffRun {
    /// Of which run.
    pub run: RunNumber,
    /// What was given.
    pub terms: KnockOffTerms,
}

impl Command for KnockOffRun {
    fn act(&self) -> Act {
        Act::KnockOff
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let KnockOffTerms { reason, observed_at } = &self.terms;
        known::open_run(state, self.run)?;
        Given::new(state, stamp).observed(*observed_at).text("reason", reason).settled()?;
        Ok(one_seen(*observed_at, KnockedOff { run: self.run, reason: reason.clone() }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now};
    use crate::story::Story;

    fn knock_off(run: RunNumber, reason: &str) -> KnockOffRun {
        let terms = KnockOffTerms { reason: reason.to_owned(), observed_at: None };
        KnockOffRun { run, terms }
    }

    #[test]
    fn anyone_who_takes_part_knocks_off_a_run_and_the_first_call_stands() {
        let mut story = Story::team();
        let run = story.open_run(&["A"]);
        for person in ["crew", "pilot", "safety", "engineer", "lead"] {
            story.when(person, &knock_off(run, "Smoke.")).unwrap();
        }
        let knocked_off = story.state.run(run).unwrap().knocked_off.clone().unwrap();
        assert_eq!((knocked_off.by.as_str(), knocked_off.reason.as_str()), ("crew", "Smoke."));
    }

    #[test]
    fn a_knock_off_says_why_and_is_of_an_open_run() {
        let mut story = Story::team();
        let run = story.open_run(&["A"]);
        no_permission(&mut story, &knock_off(run, "Smoke."), &["viewer"]);
        assert_eq!(faults(story.when("crew", &knock_off(run, ""))), ["reason"]);
        story.close_run(run);
        assert_eq!(not_now(story.when("crew", &knock_off(run, "Smoke."))), "run-closed");
    }
}
