//! A component that is meant to reach its limit late must not be the first that reaches it: whoever watches the one that
//! is meant to be first would see nothing coming. Which order is meant is the policy's; common practice for electric
//! powerplants, no source, is motor, controller, cables, battery.
//!
//! A run that showed the order wrong holds ground runs and all that comes later. Where the order is not known any more,
//! ground runs may go ahead, for they are how it is found out; what comes later is held.

use chrono::{DateTime, Utc};

use super::words::listed;
use super::{Explained, Reason, Rule, Subject};
use crate::codes::{LimitCode, RunNumber};
use crate::nouns::Phase;
use crate::state::{HeatingTrouble, Rung, State};

static OUT_OF_ORDER: Rule = Rule::against_release(
    "heating-order",
    "Of ground runs and later: the last run that showed in which order components heat, with what is fitted now, showed the order of the policy.",
);
static UNKNOWN: Rule = Rule::against_release(
    "heating-order-unknown",
    "Of taxi runs and later: the last run that was judged for the order of heating shows it for the limits, the policy and the items as they are now.",
);

pub(super) static RULES: &[&Rule] = &[&OUT_OF_ORDER, &UNKNOWN];

/// The order in which components heat is wrong or not known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heating {
    /// Whether a run showed it wrong; else it is not known.
    pub out_of_order: bool,
    /// The run that was judged.
    pub run: RunNumber,
    /// The limit that would be reached first.
    pub first: Option<LimitCode>,
}

pub(super) fn collect(rung: &Rung, state: &State, _: DateTime<Utc>, found: &mut Vec<Reason>) {
    if rung.point.phase < Phase::GroundRun {
        return;
    }
    let (out_of_order, judgement) = match state.heating_trouble() {
        Some(HeatingTrouble::OutOfOrder(judgement)) => (true, judgement),
        Some(HeatingTrouble::Unknown(judgement)) if rung.point.phase > Phase::GroundRun => {
            (false, judgement)
        }
        Some(HeatingTrouble::Unknown(_)) | None => return,
    };
    let (run, first) = (judgement.run, judgement.first.clone());
    found.push(Reason::Heating(Heating { out_of_order, run, first }));
}

impl Explained for Heating {
    fn rule(&self) -> &'static Rule {
        if self.out_of_order { &OUT_OF_ORDER } else { &UNKNOWN }
    }

    fn subject(&self, _: &Rung) -> Subject {
        Subject::new("programme", "heating-order")
    }

    fn why(&self, _: &Rung, state: &State) -> String {
        let order = state.policy.as_ref().map_or(&[][..], |policy| &policy.heating_order);
        let (run, order) = (self.run, listed(order));
        if !self.out_of_order {
            return format!(
                "Whether limits {order} would be reached in this order is not known since run {run}: its recording does not show it or was set aside, or limits, policy or items have changed since."
            );
        }
        let first = self.first.as_ref().map_or_else(String::new, |code| {
            let title = state.limits.by_code.get(code).map(|known| &known.limit.title);
            let title = title.map_or_else(String::new, |title| format!(" ({title})"));
            format!("; {code}{title} would be reached first")
        });
        format!("Run {run} showed that limits {order} would not be reached in this order{first}.")
    }

    fn clears(&self, _: &Rung, _: &State) -> String {
        let shown = "a recording of this run or a later one is attached and shows the order";
        if self.out_of_order {
            format!(
                "The cause is dealt with by changing an item, or two people change a limit; then {shown}."
            )
        } else {
            format!("A ground run may find it out: {shown}.")
        }
    }

    fn source(&self, _: &Rung, _: &State) -> String {
        "the programme's policy: order of heating".to_owned()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use crate::codes::RunNumber;
    use crate::nouns::{Limit, LimitKind, Phase, Point, Policy};
    use crate::record::HeatingOutcome::{InOrder, OutOfOrder, Unknown};
    use crate::record::{Digest, LimitSet, PolicySet};
    use crate::story::{Story, code, limit, point, policy};

    /// A static point, a ground run and a taxi run, an order of two limits, and a run with a recording.
    fn story() -> (Story, Digest, RunNumber) {
        let mut story = Story::team();
        story.record("engineer", LimitSet { limit: limit("L-second") });
        set_order(&mut story, &["L-winding", "L-second"]);
        story.plan(Point { phase: Phase::Static, ..point("S") });
        story.plan(Point { phase: Phase::Taxi, ..point("T") });
        let (recording, run) = story.recorded_run("A");
        (story, recording, run)
    }

    fn set_order(story: &mut Story, limits: &[&str]) {
        let heating_order = limits.iter().map(|name| code(name)).collect();
        story.record("safety", PolicySet { policy: Policy { heating_order, ..policy() } });
    }

    /// What holds the static point, the ground run and the taxi run about the order.
    fn held(story: &Story) -> [Option<&'static str>; 3] {
        ["S", "A", "T"].map(|name| {
            let mut rules = story.rules(name).into_iter();
            rules.find(|rule| rule.starts_with("heating-order"))
        })
    }

    const NOTHING: [Option<&str>; 3] = [None, None, None];
    const WRONG: [Option<&str>; 3] = [None, Some("heating-order"), Some("heating-order")];
    const NOT_KNOWN: [Option<&str>; 3] = [None, None, Some("heating-order-unknown")];

    #[test]
    fn a_wrong_order_holds_ground_runs_and_later_until_a_later_run_shows_it_right() {
        let (mut story, recording, run) = story();
        assert_eq!(held(&story), NOTHING, "nothing was judged");
        story.judged(&recording, run, InOrder);
        assert_eq!(held(&story), NOTHING);
        story.judged(&recording, run, OutOfOrder);
        assert_eq!(held(&story), WRONG);
        let hold = story.hold("A", "heating-order");
        assert_eq!(
            hold.why,
            "Run 1 showed that limits L-winding and L-second would not be reached in this order; L-second (Winding temperature) would be reached first."
        );
        let (later, later_run) = story.recorded_run("A");
        assert_eq!(held(&story), WRONG, "a run that nobody judged shows nothing");
        story.judged(&later, later_run, InOrder);
        assert_eq!(held(&story), NOTHING);
    }

    #[test]
    fn an_order_that_is_not_known_lets_ground_runs_find_it_out_and_holds_what_comes_later() {
        let (mut story, recording, run) = story();
        story.judged(&recording, run, Unknown);
        assert_eq!(held(&story), NOT_KNOWN);
        story.judged(&recording, run, InOrder);
        assert_eq!(held(&story), NOTHING);
    }

    #[test]
    fn a_run_for_which_it_is_not_known_does_not_hide_a_wrong_order() {
        let (mut story, recording, run) = story();
        story.judged(&recording, run, OutOfOrder).judged(&recording, run, Unknown);
        assert_eq!(held(&story), WRONG, "judged anew by the same recording");
        let (later, later_run) = story.recorded_run("A");
        story.judged(&later, later_run, Unknown);
        assert_eq!(held(&story), WRONG);
        let second = story.recorded(1);
        story.attach(&second, run).judged(&second, run, InOrder);
        assert_eq!(held(&story), WRONG, "one recording of the run shows it wrong still");
        story.judged(&recording, run, InOrder);
        assert_eq!(held(&story), NOT_KNOWN, "only the later run is left");
    }

    #[test]
    fn another_configuration_makes_a_wrong_order_unknown_and_brings_it_back_with_the_items() {
        let (mut story, recording, run) = story();
        story.judged(&recording, run, OutOfOrder).fit("motor", "2");
        assert_eq!(held(&story), NOT_KNOWN);
        let (later, later_run) = story.recorded_run("A");
        story.judged(&later, later_run, InOrder);
        assert_eq!(held(&story), NOTHING);
        story.fit("motor", "1");
        assert_eq!(held(&story), WRONG, "what was shown with the other motor says nothing of this");
    }

    #[test]
    fn a_wrong_order_that_was_shown_right_with_the_same_items_stays_settled_when_items_change() {
        let (mut story, recording, run) = story();
        story.judged(&recording, run, OutOfOrder);
        let (later, later_run) = story.recorded_run("A");
        story.judged(&later, later_run, InOrder).fit("motor", "2");
        assert_eq!(
            held(&story),
            NOTHING,
            "with motor 1 it was put right, with motor 2 nothing was wrong"
        );
        story.set_aside(&later);
        assert_eq!(held(&story), NOT_KNOWN, "what put it right shows nothing any more");
        story.fit("motor", "1");
        assert_eq!(held(&story), WRONG);
        let (later, later_run) = story.recorded_run("A");
        story.judged(&later, later_run, InOrder).fit("motor", "2");
        let (last, last_run) = story.recorded_run("A");
        story.judged(&last, last_run, OutOfOrder);
        assert_eq!(held(&story), WRONG, "another motor is another order");
    }

    #[test]
    fn a_changed_limit_or_another_order_must_be_judged_anew() {
        let (mut story, recording, run) = story();
        story.judged(&recording, run, InOrder);
        let kind = LimitKind::Maximum { caution: None, limit: 79.0 };
        story.record("engineer", LimitSet { limit: Limit { kind, ..limit("L-second") } });
        assert_eq!(held(&story), NOT_KNOWN);
        story.judged(&recording, run, InOrder);
        assert_eq!(held(&story), NOTHING);
        set_order(&mut story, &["L-second", "L-winding"]);
        assert_eq!(held(&story), NOT_KNOWN);
        let heating_order = ["L-winding", "L-second"].map(code).to_vec();
        let horizon = Policy { heating_order, heating_horizon_min: Some(30), ..policy() };
        story.record("safety", PolicySet { policy: horizon });
        assert_eq!(held(&story), NOT_KNOWN, "judged without this horizon");
        story.judged(&recording, run, InOrder);
        assert_eq!(held(&story), NOTHING);
        set_order(&mut story, &[]);
        assert_eq!(held(&story), NOTHING, "the policy has no order");
    }

    #[test]
    fn a_recording_that_was_set_aside_shows_nothing_any_more() {
        let (mut story, recording, run) = story();
        story.judged(&recording, run, InOrder).set_aside(&recording);
        assert_eq!(held(&story), NOT_KNOWN);
        let second = story.recorded(1);
        story.attach(&second, run).judged(&second, run, InOrder);
        assert_eq!(held(&story), NOTHING, "another recording of the same run");
        story.judged(&second, run, OutOfOrder).set_aside(&second);
        assert_eq!(held(&story), NOT_KNOWN, "what was wrong by mistake is not known");
    }

    #[test]
    fn an_order_that_several_recorders_showed_together_is_not_known_without_one_of_them() {
        let (mut story, recording, run) = story();
        let second = story.recorded(1);
        story.attach(&second, run).judged(&recording, run, Unknown).judged(&second, run, InOrder);
        assert_eq!(held(&story), NOTHING);
        story.set_aside(&recording);
        assert_eq!(held(&story), NOT_KNOWN);
        story.judged(&second, run, InOrder);
        assert_eq!(held(&story), NOTHING, "judged anew without it");
    }
}
