//! Fits an item, or exchanges it for another version; an engineer. What the change touches is void or lapses then.

use serde::Deserialize;

use super::given::{Given, at_revision, changes, not_now, one};
use super::{Command, Stamp};
use crate::codes::ItemCode;
use crate::entry::Draft;
use crate::nouns::{Item, ItemKind};
use crate::people::Act;
use crate::record::ItemFitted;
use crate::refusal::Refusal;
use crate::state::{Amendable, State};

/// What an engineer gives to fit an item.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FittingTerms {
    /// What it is.
    pub title: String,
    /// Part or software.
    pub kind: ItemKind,
    /// Version, part and serial number, or parameter set as fitted now.
    pub version: String,
    /// Why; needed where another version was fitted before.
    #[serde(default)]
    pub reason: Option<String>,
}

/// Asks for an item to be fitted.
#[derive(Debug, Clone)]
pub struct FitItem {
    /// Which.
    pub item: ItemCode,
    /// What was given.
    pub terms: FittingTerms,
    /// The revision of the item that the person saw; 0: it was never fitted.
    pub expected: Option<u64>,
}

impl Command for FitItem {
    fn act(&self) -> Act {
        Act::Configure
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let Self { item: code, expected, .. } = self;
        let FittingTerms { title, kind, version, reason } = self.terms.clone();
        let item = Item { code: code.clone(), title, kind, version };
        at_revision(state, &Amendable::Item(code.clone()), *expected)?;
        let fitted = state.configuration.items.get(code).map(|fitted| &fitted.item);
        let exchanged = fitted.is_some_and(|fitted| fitted.version != item.version);
        Given::new(state, stamp)
            .faults(item.faults(""))
            .optional_text("reason", reason.as_ref())
            .must(
                reason.is_some() || !exchanged,
                "reason",
                format!("must say why {code} is exchanged"),
            )
            .settled()?;
        changes(fitted != Some(&item), format_args!("item {code}"))?;
        not_during_run(state)?;
        Ok(one(ItemFitted { item, reason }))
    }
}

/// Refuses while a run is open: its results stand for what was fitted when it was opened.
pub(super) fn not_during_run(state: &State) -> Result<(), Refusal> {
    match state.open_run() {
        Some(run) => Err(not_now(
            "run-open",
            format!("the configuration cannot change while run {} is open", run.number),
            "Close the run, and change the configuration afterwards.",
        )),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, stale};
    use crate::story::{Story, code};

    fn fitting(item: &str, version: &str) -> FitItem {
        let terms = FittingTerms {
            title: item.to_owned(),
            kind: ItemKind::Part,
            version: version.to_owned(),
            reason: Some("The bearing was worn.".to_owned()),
        };
        FitItem { item: code(item), terms, expected: None }
    }

    #[test]
    fn an_engineer_fits_items_and_others_do_not() {
        let mut story = Story::team();
        let mut first = fitting("propeller", "1");
        first.terms.reason = None;
        story.when("engineer", &first).unwrap();
        assert_eq!(story.state.configuration.version(&code("propeller")), Some("1"));
        assert_eq!(not_now(story.when("engineer", &first)), "nothing-changes");
        let others = ["lead", "pilot", "safety", "crew", "viewer"];
        no_permission(&mut story, &fitting("motor", "2"), &others);
    }

    #[test]
    fn an_exchanged_item_makes_what_was_shown_with_it_lapse_and_says_why() {
        let mut story = Story::team();
        story.show_and_accept("A");
        let mut command = fitting("motor", "2");
        command.terms.reason = None;
        command.terms.title = String::new();
        assert_eq!(faults(story.when("engineer", &command)), ["reason", "title"]);
        story.when("engineer", &fitting("motor", "2")).unwrap();
        assert_eq!(story.state.accepted_result(&code("A")), None);
    }

    #[test]
    fn an_exchanged_item_voids_releases() {
        let mut story = Story::team();
        story.release("A").acknowledge("A");
        story.when("engineer", &fitting("pack", "2")).unwrap();
        let rules = story.rules_against("A", crate::holds::Stage::Run);
        assert_eq!(rules, ["release-configuration-changed"]);
    }

    #[test]
    fn a_better_title_voids_nothing_and_needs_no_reason() {
        let mut story = Story::team();
        story.release("A").acknowledge("A");
        let mut command = fitting("motor", "1");
        command.terms.title = "Motor, left-hand winding".to_owned();
        command.terms.reason = None;
        story.when("engineer", &command).unwrap();
        assert!(story.rules_against("A", crate::holds::Stage::Run).is_empty());
    }

    #[test]
    fn nothing_is_fitted_while_a_run_is_open_or_over_a_change_that_was_not_seen() {
        let mut story = Story::team();
        let run = story.open_run(&["A"]);
        assert_eq!(not_now(story.when("engineer", &fitting("motor", "2"))), "run-open");
        story.close_run(run);
        let present = story.state.revision(&Amendable::Item(code("motor")));
        let command = FitItem { expected: Some(1), ..fitting("motor", "2") };
        assert_eq!(stale(story.when("engineer", &command)), (present, 1));
    }
}
