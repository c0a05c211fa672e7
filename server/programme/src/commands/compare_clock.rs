//! Compares the server's clock, which was wrong when something was recorded and is right now, with another one; the safety
//! officer, since every release and every check rests on it.

use chrono::{DateTime, TimeDelta, Utc};
use serde::Deserialize;

use super::given::{Given, not_now, one};
use super::{Command, Stamp};
use crate::entry::Draft;
use crate::people::Act;
use crate::record::ClockCompared;
use crate::refusal::Refusal;
use crate::state::State;

/// How far what was read of the other clock may be from the server's: clocks are read to the minute, and it takes a while to
/// write it down. A figure of our own, no source.
const READ_APART: TimeDelta = TimeDelta::minutes(2);

/// What the safety officer gives who compares the clocks.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ComparedClock {
    /// What the other clock shows now.
    pub shown: DateTime<Utc>,
    /// Which clock that is.
    #[schema(min_length = 1, max_length = 20000)]
    pub other: String,
}

/// Asks for the server's clock to be taken as right.
#[derive(Debug, Clone)]
pub struct CompareClock {
    /// What was given.
    pub terms: ComparedClock,
}

impl Command for CompareClock {
    fn act(&self) -> Act {
        Act::CompareClock
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let ComparedClock { shown, other } = &self.terms;
        Given::new(state, stamp).text("other", other).settled()?;
        if state.keeping.ahead_of(stamp.now).is_none() {
            return Err(not_now(
                "clock-not-behind",
                "the server's clock does not stand before what was recorded",
                "Nothing needs to be done.",
            ));
        }
        if (*shown - stamp.now).abs() > READ_APART {
            return Err(not_now(
                "clocks-differ",
                format!(
                    "the server's clock shows {}, more than two minutes from what you read",
                    stamp.now.format("%Y-%m-%d %H:%M:%S UTC")
                ),
                "Set the server's clock right. If it is, read the other clock again and send it at once.",
            ));
        }
        Ok(one(ClockCompared { shown: *shown, other: other.clone() }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now};
    use crate::story::Story;

    /// A team one of whose records was made a day ahead of the right time.
    fn after_a_jump() -> Story {
        let mut story = Story::team();
        let right = story.now;
        story.now += TimeDelta::days(1);
        story.stand_down();
        story.now = right;
        story
    }

    fn comparing(story: &Story) -> CompareClock {
        CompareClock {
            terms: ComparedClock { shown: story.now, other: "Radio time signal".to_owned() },
        }
    }

    #[test]
    fn the_safety_officer_says_that_the_clock_is_right_again() {
        let mut story = after_a_jump();
        assert!(story.rules("A").contains(&"clock-behind"));
        let command = comparing(&story);
        story.when("safety", &command).unwrap();
        assert!(!story.rules("A").contains(&"clock-behind"));
        assert_eq!(story.state.keeping.furthest.map(|it| it.at), Some(story.now));
        assert_eq!(not_now(story.when("safety", &command)), "clock-not-behind");
    }

    #[test]
    fn another_clock_that_shows_another_time_clears_nothing() {
        let mut story = after_a_jump();
        let mut command = comparing(&story);
        command.terms.other = " ".to_owned();
        assert_eq!(faults(story.when("safety", &command)), ["other"]);
        for apart in [TimeDelta::seconds(121), -TimeDelta::seconds(121), TimeDelta::days(1)] {
            let mut command = comparing(&story);
            command.terms.shown += apart;
            assert_eq!(not_now(story.when("safety", &command)), "clocks-differ");
        }
        assert!(story.rules("A").contains(&"clock-behind"));
        let mut command = comparing(&story);
        command.terms.shown += TimeDelta::seconds(120);
        story.when("safety", &command).unwrap();
    }

    #[test]
    fn nobody_but_the_safety_officer_says_so() {
        let mut story = after_a_jump();
        let command = comparing(&story);
        no_permission(&mut story, &command, &["lead", "pilot", "engineer", "crew", "viewer"]);
    }
}
