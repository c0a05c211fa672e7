//! Reports a happening that ends the validity of checks or puts items into quarantine, such as a hard landing; anyone who takes
//! part.
//!
//! The kind of happening must be one that a check or the policy names: a misspelt one would end nothing, and nobody would know.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use serde::Deserialize;

use super::given::{Given, one_seen};
use super::{Command, Stamp};
use crate::codes::EventCode;
use crate::entry::Draft;
use crate::people::Act;
use crate::record::EventHappened;
use crate::refusal::Refusal;
use crate::state::State;

/// What a person gives to report a happening.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct EventReport {
    /// What kind of happening; one that a check's validity or a rule of quarantine names.
    pub event: EventCode,
    /// What happened.
    pub account: String,
    /// When; absent: now.
    #[serde(default)]
    pub observed_at: Option<DateTime<Utc>>,
}

/// Asks for a happening to be recorded.
#[derive(Debug, Clone)]
pub struct ReportEvent {
    /// What was given.
    pub terms: EventReport,
}

impl Command for ReportEvent {
    fn act(&self) -> Act {
        Act::ReportEvents
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let EventReport { event, account, observed_at } = self.terms.clone();
        let known = state.known_events();
        Given::new(state, stamp)
            .observed(observed_at)
            .must(known.contains(&event), "event", ends_nothing(&event, &known))
            .text("account", &account)
            .settled()?;
        Ok(one_seen(observed_at, EventHappened { event, account }))
    }
}

fn ends_nothing(event: &EventCode, known: &BTreeSet<&EventCode>) -> String {
    let known: Vec<_> = known.iter().map(|event| event.as_str()).collect();
    let instead = if known.is_empty() {
        "open a snag for it".to_owned()
    } else {
        format!("use {}, or open a snag for it", known.join(", "))
    };
    format!("no check ends with {event}, and it puts nothing into quarantine: {instead}")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use chrono::TimeDelta;

    use super::*;
    use crate::commands::asked::{faults, no_permission};
    use crate::nouns::Validity;
    use crate::record::CheckDefined;
    use crate::story::{Story, check, code};

    fn hard_landing() -> ReportEvent {
        let terms = EventReport {
            event: code("hard-landing"),
            account: "Bounced twice.".to_owned(),
            observed_at: None,
        };
        ReportEvent { terms }
    }

    fn with_check() -> Story {
        let mut story = Story::team();
        let validity = Validity { until: vec![code("hard-landing")], ..Validity::default() };
        story.record("engineer", CheckDefined { check: check("C-gear", validity) });
        story.check("C-gear", true);
        story
    }

    #[test]
    fn anyone_who_takes_part_reports_a_happening_and_the_checks_that_it_ends_are_due() {
        for person in ["lead", "pilot", "safety", "engineer", "crew"] {
            let mut story = with_check();
            assert!(story.rules("A").is_empty());
            story.when(person, &hard_landing()).unwrap();
            assert_eq!(story.rules("A").len(), 1, "{:?}", story.rules("A"));
        }
        no_permission(&mut with_check(), &hard_landing(), &["viewer"]);
    }

    #[test]
    fn a_happening_that_ends_no_check_is_told_with_those_that_do() {
        let mut story = with_check();
        let mut command = hard_landing();
        command.terms.event = code("hard-landign");
        let Err(Refusal::Invalid { faults: told }) = story.when("pilot", &command) else {
            unreachable!("it ends no check")
        };
        assert_eq!(told[0].field, "event");
        assert!(told[0].why.contains("use hard-landing"), "{}", told[0].why);
        assert_eq!(faults(Story::team().when("pilot", &hard_landing())), ["event"]);
    }

    #[test]
    fn a_happening_says_what_happened_and_not_in_the_future() {
        let mut story = with_check();
        let mut command = hard_landing();
        command.terms.account = String::new();
        command.terms.observed_at = Some(story.now + TimeDelta::hours(1));
        assert_eq!(faults(story.when("pilot", &command)), ["observed_at", "account"]);
    }
}
