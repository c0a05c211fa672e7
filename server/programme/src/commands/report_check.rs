//! Reports a check as done, passed or not; somebody in a role that the check names.

use chrono::{DateTime, Utc};
use serde::Deserialize;

use super::given::{Given, not_now, one_seen, unknown};
use super::{Command, Stamp};
use crate::codes::CheckCode;
use crate::entry::Draft;
use crate::people::Act;
use crate::record::CheckDone;
use crate::refusal::Refusal;
use crate::state::State;

/// What a person gives to report a check.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CheckReport {
    /// Whether it passed.
    pub passed: bool,
    /// Readings and what was seen.
    pub findings: String,
    /// When it was done; absent: now.
    #[serde(default)]
    pub observed_at: Option<DateTime<Utc>>,
}

/// Asks for a check to be recorded as done.
#[derive(Debug, Clone)]
pub struct ReportCheck {
    /// Which.
    pub check: CheckCode,
    /// What was given.
    pub terms: CheckReport,
}

impl Command for ReportCheck {
    fn act(&self) -> Act {
        Act::DoChecks
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let CheckReport { passed, findings, observed_at } = self.terms.clone();
        let code = &self.check;
        let known = state.checks.by_code.get(code).ok_or_else(|| unknown("check", code))?;
        Given::new(state, stamp).observed(observed_at).text("findings", &findings).settled()?;
        let by = &known.check.by;
        if !state.roles(&stamp.by).iter().any(|role| by.contains(role)) {
            let words: Vec<_> = by.iter().map(|role| role.in_words()).collect();
            return Err(not_now(
                "check-for-another-role",
                format!(
                    "check {code} is done by {}, and that is no role of yours",
                    words.join(" or ")
                ),
                "Somebody in such a role does the check. Whoever found something wrong opens a snag meanwhile.",
            ));
        }
        Ok(one_seen(observed_at, CheckDone { check: code.clone(), passed, findings }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use chrono::TimeDelta;

    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, unknown};
    use crate::story::{Story, code};

    fn report(passed: bool) -> ReportCheck {
        let terms =
            CheckReport { passed, findings: "41 Nm at all bolts.".to_owned(), observed_at: None };
        ReportCheck { check: code("C-torque"), terms }
    }

    #[test]
    fn the_crew_reports_a_check_and_a_failed_one_holds_until_it_is_passed() {
        let mut story = Story::team();
        story.stand_down();
        story.when("crew", &report(false)).unwrap();
        assert!(story.rules("A").contains(&"check-failed"));
        story.when("crew", &report(true)).unwrap();
        assert_eq!(story.rules("A"), ["stand-down"]);
    }

    #[test]
    fn a_check_is_good_from_the_moment_at_which_it_was_done() {
        let mut story = Story::team();
        story.later(TimeDelta::days(40));
        let mut late = report(true);
        late.terms.observed_at = Some(story.now - TimeDelta::days(31));
        story.when("crew", &late).unwrap();
        assert_eq!(story.rules("A"), ["check-overdue"]);
        late.terms.observed_at = Some(story.now - TimeDelta::days(29));
        story.when("crew", &late).unwrap();
        assert!(story.rules("A").is_empty());
    }

    #[test]
    fn a_check_is_reported_in_a_role_that_it_names() {
        let mut story = Story::team();
        for person in ["engineer", "pilot", "lead"] {
            assert_eq!(not_now(story.when(person, &report(true))), "check-for-another-role");
        }
        no_permission(&mut story, &report(true), &["safety", "viewer"]);
    }

    #[test]
    fn a_report_says_what_was_found_and_when_and_of_a_check_that_exists() {
        let mut story = Story::team();
        let mut command = report(true);
        command.terms.findings = String::new();
        command.terms.observed_at = Some(story.now + TimeDelta::hours(1));
        assert_eq!(faults(story.when("crew", &command)), ["observed_at", "findings"]);
        command.check = code("C-none");
        assert_eq!(unknown(story.when("crew", &command)), "check");
    }
}
