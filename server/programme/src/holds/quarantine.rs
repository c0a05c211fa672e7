//! Nothing that a point is sensitive to, or requires, is in quarantine.

use chrono::{DateTime, Utc};

use super::words::{listed, moment};
use super::{Explained, Reason, Rule, Subject};
use crate::codes::ItemCode;
use crate::state::{Quarantine, Rung, State};

static QUARANTINED: Rule = Rule::against_release(
    "item-quarantined",
    "No item that the point requires or is sensitive to is in quarantine after something that may have harmed it.",
);

pub(super) static RULES: &[&Rule] = &[&QUARANTINED];

/// An item of which nobody knows whether it came through what happened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Quarantined {
    /// Which.
    pub item: ItemCode,
}

pub(super) fn collect(rung: &Rung, state: &State, _: DateTime<Utc>, found: &mut Vec<Reason>) {
    let required = rung.point.configuration.iter().map(|required| &required.item);
    let mut told: Vec<&ItemCode> = Vec::new();
    for item in rung.point.sensitive_to.iter().chain(required) {
        if !told.contains(&item) && state.quarantine(item).is_some() {
            told.push(item);
            found.push(Reason::Quarantined(Quarantined { item: item.clone() }));
        }
    }
}

impl Explained for Quarantined {
    fn rule(&self) -> &'static Rule {
        &QUARANTINED
    }

    fn subject(&self, _: &Rung) -> Subject {
        Subject::new("item", &self.item)
    }

    fn why(&self, _: &Rung, state: &State) -> String {
        state.quarantine(&self.item).map_or_else(
            || format!("{} is in quarantine.", self.item),
            |it| {
                format!(
                    "{} \"{}\" is in quarantine since {} at {}: nobody knows whether it was harmed.",
                    it.item,
                    it.version,
                    it.event,
                    moment(it.at)
                )
            },
        )
    }

    fn clears(&self, _: &Rung, state: &State) -> String {
        let item = &self.item;
        let exchanged = format!("{item} is exchanged for another version");
        let open = state.quarantine(item).map(Quarantine::open_checks).unwrap_or_default();
        if open.is_empty() {
            return format!("{exchanged}: no check ends this quarantine.");
        }
        let are = if open.len() == 1 { "is" } else { "are" };
        format!("{} {are} passed with {item} fitted as it is, or {exchanged}.", listed(open))
    }

    fn source(&self, _: &Rung, state: &State) -> String {
        let known = state.quarantine(&self.item);
        known.map_or_else(|| "the policy".to_owned(), |it| it.source.clone())
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use chrono::TimeDelta;

    use crate::nouns::{Point, Policy, QuarantineRule, Validity};
    use crate::record::{CheckDefined, CheckDone, EventHappened, ItemRemoved};
    use crate::story::{Story, check, code, point, policy};

    /// A is accepted and minds the pack, which a drop puts into quarantine until C-pack; B comes after A and minds nothing.
    fn dropped(until: &[&str]) -> Story {
        let mut story = Story::team();
        let rule = QuarantineRule {
            event: code("pack-drop"),
            items: vec![code("pack")],
            until_checks: until.iter().map(|it| code(it)).collect(),
            source: "the pack's handbook".to_owned(),
        };
        story.record(
            "safety",
            crate::record::PolicySet { policy: Policy { quarantine: vec![rule], ..policy() } },
        );
        for name in ["C-pack", "C-iso"] {
            let mut looked_at = check(name, Validity { days: Some(300), ..Validity::default() });
            looked_at.phases.clear();
            story.record("engineer", CheckDefined { check: looked_at });
        }
        story.plan(Point { sensitive_to: vec![code("pack")], ..point("M") }).approve("M");
        story.plan(Point { after_points: vec![code("M")], ..point("N") }).approve("N");
        story.show_and_accept("M");
        assert!(story.rules("N").is_empty());
        story
    }

    #[test]
    fn every_check_must_be_passed_and_a_failure_takes_a_pass_back() {
        let mut story = dropped(&["C-pack", "C-iso"]);
        story.happens("pack-drop");
        story.check("C-pack", true);
        assert!(story.hold("M", "item-quarantined").clears.starts_with("C-iso is passed"));
        story.check("C-pack", false).check("C-iso", true);
        assert!(story.hold("M", "item-quarantined").clears.starts_with("C-pack is passed"));
    }

    #[test]
    fn what_is_in_quarantine_holds_what_minds_it_and_takes_back_what_was_shown_until_its_checks_are_passed()
     {
        let mut story = dropped(&["C-pack"]);
        story.happens("pack-drop");
        assert_eq!(story.rules("M"), ["item-quarantined"]);
        assert_eq!(story.rules("N"), ["prerequisite-lapsed"]);
        let hold = story.hold("M", "item-quarantined");
        assert!(hold.clears.starts_with("C-pack is passed with pack fitted as it is"), "{hold:?}");
        assert_eq!(hold.source, "the pack's handbook");
        let why = story.hold("N", "prerequisite-lapsed").why;
        assert!(why.contains("pack \"1\" is in quarantine since pack-drop"), "{why}");
        story.check("C-pack", false);
        assert_eq!(story.rules("N"), ["prerequisite-lapsed"]);
        story.check("C-pack", true);
        assert!(story.rules("M").is_empty() && story.rules("N").is_empty());
    }

    #[test]
    fn another_version_is_in_no_quarantine_and_the_same_one_fitted_again_still_is() {
        let mut story = dropped(&["C-pack"]);
        story.happens("pack-drop");
        story.fit("pack", "2");
        assert!(story.rules("M").is_empty());
        assert_eq!(story.rules("N"), ["prerequisite-lapsed"], "another pack was shown");
        // Looked at is the other pack.
        story.check("C-pack", true);
        story.fit("pack", "1");
        assert_eq!(story.rules("M"), ["item-quarantined"]);
        let reason = "Sent to the maker.".to_owned();
        story.record("engineer", ItemRemoved { item: code("pack"), reason });
        assert!(!story.rules("M").contains(&"item-quarantined"));
    }

    #[test]
    fn without_checks_that_end_it_only_another_version_does() {
        let mut story = dropped(&[]);
        story.happens("pack-drop");
        story.check("C-pack", true);
        let clears = story.hold("M", "item-quarantined").clears;
        assert_eq!(clears, "pack is exchanged for another version: no check ends this quarantine.");
    }

    #[test]
    fn a_happening_told_late_is_of_what_was_fitted_then_and_a_check_before_it_answers_nothing() {
        let mut story = dropped(&["C-pack"]);
        let then = story.now;
        story.now += TimeDelta::hours(1);
        story.fit("pack", "2");
        let body = EventHappened { event: code("pack-drop"), account: "Told late.".to_owned() };
        story.observed("crew", then, body);
        assert_eq!(story.rules("M"), ["item-quarantined"], "it may have been either");
        let passed =
            CheckDone { check: code("C-pack"), passed: true, findings: "Looked.".to_owned() };
        story.observed("crew", then - TimeDelta::minutes(1), passed);
        assert_eq!(story.rules("M"), ["item-quarantined"], "done before it happened");
        story.check("C-pack", true);
        assert!(story.rules("M").is_empty());
        story.fit("pack", "1");
        assert_eq!(story.rules("M"), ["item-quarantined"]);
    }
}
