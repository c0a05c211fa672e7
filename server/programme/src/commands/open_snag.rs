//! Opens a snag: a defect or anomaly that somebody found.

use chrono::{DateTime, Utc};
use serde::Deserialize;

use super::given::{Given, one_seen};
use super::{Command, Stamp};
use crate::codes::{ItemCode, RunNumber, SnagNumber};
use crate::entry::Draft;
use crate::nouns::{Phase, Severity};
use crate::people::Act;
use crate::record::SnagOpened;
use crate::refusal::Refusal;
use crate::state::State;

/// What a person gives to open a snag.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SnagTerms {
    /// What was found.
    pub title: String,
    /// Whether it grounds the aircraft.
    pub grounding: bool,
    /// How bad it could be.
    pub severity: Severity,
    /// On which item.
    #[serde(default)]
    pub item: Option<ItemCode>,
    /// In which run.
    #[serde(default)]
    pub run: Option<RunNumber>,
    /// Phases that it grounds; none: all.
    #[serde(default)]
    pub phases: Vec<Phase>,
    /// When it was found; absent: now.
    #[serde(default)]
    pub observed_at: Option<DateTime<Utc>>,
}

/// Asks for a snag to be opened.
#[derive(Debug, Clone)]
pub struct OpenSnag {
    /// What was given.
    pub terms: SnagTerms,
}

impl Command for OpenSnag {
    fn act(&self) -> Act {
        Act::OpenSnags
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let SnagTerms { title, grounding, severity, item, run, phases, observed_at } =
            self.terms.clone();
        let mut given = Given::new(state, stamp).observed(observed_at).title("title", &title);
        given.judging.no_repeats("phases", &phases);
        if let Some(item) = &item {
            let was_fitted = state.configuration.knows(item);
            given = given.must(was_fitted, "item", format!("there is no item {item}"));
        }
        if let Some(run) = run {
            given = given.must(state.run(run).is_some(), "run", format!("there is no run {run}"));
        }
        given.settled()?;
        let opened = u32::try_from(state.snags.len()).unwrap_or(u32::MAX);
        let snag = SnagNumber(opened.saturating_add(1));
        Ok(one_seen(
            observed_at,
            SnagOpened { snag, title, grounding, severity, item, run, phases },
        ))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission};
    use crate::story::{Story, code};

    fn snag(grounding: bool) -> OpenSnag {
        let terms = SnagTerms {
            title: "Chafed cable at the battery box".to_owned(),
            grounding,
            severity: Severity::Critical,
            item: Some(code("pack")),
            run: None,
            phases: vec![Phase::GroundRun],
            observed_at: None,
        };
        OpenSnag { terms }
    }

    #[test]
    fn anyone_who_takes_part_opens_snags_also_during_a_stand_down() {
        let mut story = Story::team();
        story.stand_down();
        for person in ["crew", "pilot", "safety", "engineer", "lead"] {
            story.when(person, &snag(true)).unwrap();
        }
        assert_eq!(story.state.open_snags().count(), 5);
        assert!(story.rules("A").iter().any(|rule| rule.contains("snag")));
        no_permission(&mut story, &snag(true), &["viewer"]);
    }

    #[test]
    fn a_snag_says_what_was_found_and_names_what_exists() {
        let mut story = Story::team();
        let mut command = snag(false);
        command.terms.title = String::new();
        command.terms.item = Some(code("wing"));
        command.terms.run = Some(RunNumber(3));
        command.terms.phases.push(Phase::GroundRun);
        command.terms.observed_at = Some(story.now + chrono::TimeDelta::hours(1));
        assert_eq!(
            faults(story.when("crew", &command)),
            ["observed_at", "title", "phases[1]", "item", "run"]
        );
    }
}
