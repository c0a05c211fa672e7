//! Takes an item off, and puts nothing in its place; an engineer.

use serde::Deserialize;

use super::fit_item::not_during_run;
use super::given::{Given, at_revision, not_now, one, unknown};
use super::{Command, Stamp};
use crate::codes::ItemCode;
use crate::entry::Draft;
use crate::people::Act;
use crate::record::ItemRemoved;
use crate::refusal::Refusal;
use crate::state::{Amendable, State};

/// What an engineer gives to take an item off.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RemovalTerms {
    /// Why.
    pub reason: String,
}

/// Asks for an item to be taken off.
#[derive(Debug, Clone)]
pub struct RemoveItem {
    /// Which.
    pub item: ItemCode,
    /// What was given.
    pub terms: RemovalTerms,
    /// The revision of the item that the person saw.
    pub expected: Option<u64>,
}

impl Command for RemoveItem {
    fn act(&self) -> Act {
        Act::Configure
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let Self { item, terms: RemovalTerms { reason }, expected } = self;
        let configuration = &state.configuration;
        if !configuration.knows(item) {
            return Err(unknown("item", item));
        }
        at_revision(state, &Amendable::Item(item.clone()), *expected)?;
        Given::new(state, stamp).text("reason", reason).settled()?;
        if configuration.version(item).is_none() {
            return Err(not_now(
                "not-fitted",
                format!("item {item} is not fitted"),
                "Nothing needs to be done.",
            ));
        }
        not_during_run(state)?;
        Ok(one(ItemRemoved { item: item.clone(), reason: reason.clone() }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, stale, unknown};
    use crate::story::{Story, code};

    fn removal(item: &str) -> RemoveItem {
        let terms = RemovalTerms { reason: "Sent to the maker.".to_owned() };
        RemoveItem { item: code(item), terms, expected: None }
    }

    #[test]
    fn an_engineer_takes_an_item_off_and_what_was_shown_with_it_lapses() {
        let mut story = Story::team();
        story.show_and_accept("A");
        story.when("engineer", &removal("motor")).unwrap();
        assert_eq!(story.state.configuration.version(&code("motor")), None);
        assert_eq!(story.state.accepted_result(&code("A")), None);
        assert_eq!(not_now(story.when("engineer", &removal("motor"))), "not-fitted");
    }

    #[test]
    fn only_engineers_take_items_off() {
        let mut story = Story::team();
        let others = ["lead", "pilot", "safety", "crew", "viewer"];
        no_permission(&mut story, &removal("motor"), &others);
    }

    #[test]
    fn an_item_is_taken_off_for_a_reason_when_no_run_is_open() {
        let mut story = Story::team();
        let mut command = removal("motor");
        command.terms.reason = String::new();
        assert_eq!(faults(story.when("engineer", &command)), ["reason"]);
        assert_eq!(unknown(story.when("engineer", &removal("wing"))), "item");
        let run = story.open_run(&["A"]);
        assert_eq!(not_now(story.when("engineer", &removal("motor"))), "run-open");
        story.close_run(run);
        let present = story.state.revision(&Amendable::Item(code("motor")));
        let command = RemoveItem { expected: Some(1), ..removal("motor") };
        assert_eq!(stale(story.when("engineer", &command)), (present, 1));
    }
}
