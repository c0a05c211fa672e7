//! Where the clock stands before the last record, nobody knows what has run out: releases, checks, medicals, papers.

use chrono::{DateTime, Utc};

use super::words::{moment, span};
use super::{Explained, Reason, Rule, Subject};
use crate::state::{CLOCKS_APART, Furthest, Rung, State};

static BEHIND: Rule = Rule::against_release(
    "clock-behind",
    "No point goes ahead while the server's clock stands before what was recorded already.",
);

pub(super) static RULES: &[&Rule] = &[&BEHIND];

/// A clock that stands before the ledger.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Clock {
    /// The record that was made furthest on.
    pub furthest: Furthest,
}

pub(super) fn collect(_: &Rung, state: &State, now: DateTime<Utc>, found: &mut Vec<Reason>) {
    found.extend(state.keeping.ahead_of(now).map(|furthest| Reason::Clock(Clock { furthest })));
}

impl Explained for Clock {
    fn rule(&self) -> &'static Rule {
        &BEHIND
    }

    fn subject(&self, _: &Rung) -> Subject {
        Subject::new("clock", "server")
    }

    fn why(&self, _: &Rung, _: &State) -> String {
        let Furthest { seq, at } = self.furthest;
        format!(
            "Record {seq} was made at {}, and the server's clock stands more than {} before that: one of the two times is wrong, so nobody knows what has run out.",
            moment(at),
            span(CLOCKS_APART)
        )
    }

    fn clears(&self, _: &Rung, _: &State) -> String {
        "Set the server's clock right. If it is right now, and was wrong when that record was made, the safety officer compares it with another clock and records that.".to_owned()
    }

    fn source(&self, _: &Rung, _: &State) -> String {
        "Rungbook rule: what is not known is a hold, and times are known only by a clock that is right"
            .to_owned()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use chrono::TimeDelta;

    use super::*;
    use crate::holds::holds;
    use crate::story::Story;

    fn behind(story: &Story, by: TimeDelta) -> bool {
        let furthest = story.state.keeping.furthest.unwrap();
        let held = holds(&story.state, story.rung("A"), furthest.at - by);
        held.iter().any(|hold| hold.rule == "clock-behind")
    }

    #[test]
    fn a_clock_may_be_a_minute_behind_the_last_record_and_no_more() {
        let story = Story::team();
        for in_order in [TimeDelta::zero(), -TimeDelta::hours(1), CLOCKS_APART] {
            assert!(!behind(&story, in_order), "{in_order}");
        }
        assert!(behind(&story, CLOCKS_APART + TimeDelta::microseconds(1)));
        assert!(behind(&story, TimeDelta::days(400)));
    }

    #[test]
    fn a_record_made_by_a_clock_that_is_behind_does_not_set_the_ledger_back() {
        let mut story = Story::team();
        let furthest = story.state.keeping.furthest.unwrap();
        story.now = furthest.at - TimeDelta::days(1);
        story.stand_down();
        assert_eq!(story.state.keeping.furthest, Some(furthest));
        assert!(story.rules("A").contains(&"clock-behind"));
        story.now = furthest.at;
        assert!(!story.rules("A").contains(&"clock-behind"));
    }
}
