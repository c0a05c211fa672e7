//! Open snags: one that grounds holds every point of its phases; one on an item holds every point that depends on the
//! item.

use chrono::{DateTime, Utc};

use super::words::said;
use super::{Explained, Reason, Rule, Subject};
use crate::codes::{ItemCode, SnagNumber};
use crate::nouns::Point;
use crate::state::{Rung, State};

static GROUNDING: Rule = Rule::against_release(
    "snag-grounding",
    "No snag that grounds the aircraft in the phase of the point is open.",
);
static ON_ITEM: Rule = Rule::against_release(
    "snag-on-item",
    "No snag is open on an item that the point requires or is sensitive to.",
);

pub(super) static RULES: &[&Rule] = &[&GROUNDING, &ON_ITEM];

/// An open snag.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Snag {
    /// Which.
    pub snag: SnagNumber,
    /// Whether it grounds in the phase; else it is on an item that the point depends on.
    pub grounding: bool,
}

pub(super) fn collect(rung: &Rung, state: &State, _: DateTime<Utc>, found: &mut Vec<Reason>) {
    let point = &rung.point;
    for snag in state.open_snags() {
        let grounding = snag.grounds(point.phase);
        if grounding || snag.item.as_ref().is_some_and(|item| depends_on(point, item)) {
            found.push(Reason::Snag(Snag { snag: snag.number, grounding }));
        }
    }
}

fn depends_on(point: &Point, item: &ItemCode) -> bool {
    point.sensitive_to.contains(item)
        || point.configuration.iter().any(|required| required.item == *item)
}

impl Explained for Snag {
    fn rule(&self) -> &'static Rule {
        if self.grounding { &GROUNDING } else { &ON_ITEM }
    }

    fn subject(&self, _: &Rung) -> Subject {
        Subject::new("snag", self.snag)
    }

    fn why(&self, rung: &Rung, state: &State) -> String {
        let number = self.snag;
        let Some(snag) = state.snag(number) else { return format!("Snag {number} is open.") };
        let on = snag.item.as_ref().map_or_else(String::new, |item| format!(" on {item}"));
        let title = said(&snag.title);
        if self.grounding {
            format!("Snag {number}{on} is open and grounds the phase {}: {title}", rung.point.phase)
        } else {
            format!("Snag {number}{on} is open, and {} depends on it: {title}", rung.point.code)
        }
    }

    fn clears(&self, _: &Rung, _: &State) -> String {
        format!("An engineer closes snag {} with its cause and what was done.", self.snag)
    }

    fn source(&self, rung: &Rung, _: &State) -> String {
        if self.grounding {
            "Rungbook rule: an open grounding snag keeps the aircraft on the ground".to_owned()
        } else {
            format!("the plan of {}", rung.point.code)
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::codes::SnagNumber;
    use crate::nouns::{Phase, Point, RequiredItem};
    use crate::record::{SnagClosed, SnagWorked};
    use crate::story::{Story, any_digest, code, point};

    #[test]
    fn a_grounding_snag_holds_its_phases_until_it_is_closed() {
        let mut story = Story::team();
        story.snag(true, None, &[Phase::Taxi]);
        assert!(story.rules("A").is_empty());
        story.snag(true, None, &[Phase::GroundRun]);
        assert_eq!(story.hold("A", "snag-grounding").subject.code, "2");
        let closed = SnagClosed {
            snag: SnagNumber(2),
            cause: "Fatigue.".to_owned(),
            action: "Exchanged, looked at with dye.".to_owned(),
            digest: any_digest(),
        };
        story.record("engineer", closed);
        assert!(story.rules("A").is_empty());
        story.snag(true, None, &[]);
        assert_eq!(story.rules("A"), ["snag-grounding"], "without phases it grounds all");
    }

    #[test]
    fn a_snag_that_is_found_to_ground_holds_from_then_on() {
        let mut story = Story::team();
        story.snag(false, None, &[]);
        assert!(story.rules("A").is_empty());
        let worked =
            SnagWorked { snag: SnagNumber(1), cause: None, action: None, grounds_now: true };
        story.record("crew", worked);
        assert_eq!(story.rules("A"), ["snag-grounding"]);
    }

    #[test]
    fn a_snag_on_an_item_holds_the_points_that_depend_on_the_item() {
        let mut story = Story::team();
        let required = RequiredItem { item: code("pack"), version: None };
        story.plan(Point { configuration: vec![required], ..point("B") }).approve("B");
        story.snag(false, Some("pack"), &[]);
        assert!(story.rules("A").is_empty());
        assert_eq!(story.rules("B"), ["snag-on-item"]);
        story.snag(false, Some("motor"), &[]);
        assert_eq!(story.rules("A"), ["snag-on-item"], "it is sensitive to the motor");
    }
}
