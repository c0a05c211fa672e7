//! Defines a recurring check, or defines it anew. What was done under the old definition is judged by the new one.

use super::given::{Given, at_revision, changes, one};
use super::{Command, Stamp};
use crate::document::unknown_items;
use crate::entry::Draft;
use crate::nouns::Check;
use crate::people::Act;
use crate::record::CheckDefined;
use crate::refusal::Refusal;
use crate::state::{Amendable, State};

/// Asks for a check to be defined.
#[derive(Debug, Clone)]
pub struct DefineCheck {
    /// The check as it is to be.
    pub check: Check,
    /// The revision that the person saw; 0: there was no such check.
    pub expected: Option<u64>,
}

impl Command for DefineCheck {
    fn act(&self) -> Act {
        Act::DefineChecks
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let Self { check, expected } = self;
        let code = &check.code;
        at_revision(state, &Amendable::Check(code.clone()), *expected)?;
        Given::new(state, stamp)
            .faults(check.faults(""))
            .faults(unknown_items(check, |item| state.configuration.knows(item)))
            .settled()?;
        let known = state.checks.by_code.get(code);
        changes(known.is_none_or(|known| known.check != *check), format_args!("check {code}"))?;
        Ok(one(CheckDefined { check: check.clone() }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use chrono::TimeDelta;

    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, stale};
    use crate::nouns::{Role, Validity};
    use crate::story::{Story, check, code};

    #[test]
    fn a_check_that_ends_with_the_change_of_an_item_nobody_knows_is_refused() {
        let mut command = definition("C-new", 7);
        command.check.validity.until_changed = vec![code("motor"), code("mortor")];
        let told = faults(Story::team().when("engineer", &command));
        assert_eq!(told, ["validity.until_changed[1]"]);
    }

    fn definition(name: &str, days: u32) -> DefineCheck {
        let validity = Validity { days: Some(days), ..Validity::default() };
        DefineCheck { check: check(name, validity), expected: None }
    }

    #[test]
    fn engineers_and_leads_define_checks_and_points_of_their_phases_need_them() {
        let mut story = Story::team();
        story.when("engineer", &definition("C-new", 5)).unwrap();
        story.when("lead", &definition("C-other", 5)).unwrap();
        assert_eq!(story.rules("A"), ["check-not-passed", "check-not-passed"]);
        let others = ["pilot", "safety", "crew", "viewer"];
        no_permission(&mut story, &definition("C-third", 5), &others);
    }

    #[test]
    fn a_shorter_validity_holds_for_what_was_done_before_too() {
        let mut story = Story::team();
        story.later(TimeDelta::days(10));
        assert!(story.rules("A").is_empty());
        story.when("engineer", &definition("C-torque", 5)).unwrap();
        assert_eq!(story.rules("A"), ["check-overdue"]);
        assert_eq!(not_now(story.when("lead", &definition("C-torque", 5))), "nothing-changes");
    }

    #[test]
    fn a_check_says_what_ends_it_and_who_may_do_it() {
        let mut story = Story::team();
        let mut command = definition("C-new", 5);
        command.check.validity = Validity::default();
        command.check.by = vec![Role::Safety];
        assert_eq!(faults(story.when("engineer", &command)), ["validity", "by[0]"]);
        let present = story.state.revision(&Amendable::Check(code("C-torque")));
        let command = DefineCheck { expected: Some(0), ..definition("C-torque", 5) };
        assert_eq!(stale(story.when("engineer", &command)), (present, 0));
    }
}
