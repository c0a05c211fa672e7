//! Closes a snag; an engineer, and for a grounding snag one who did not do the last work on it. Work is what was done: a
//! cause that somebody found, or that the snag grounds, is none.

use serde::Deserialize;

use super::given::{Given, not_now, one};
use super::signed::{as_seen, signable};
use super::{Command, Stamp, digests, known};
use crate::codes::SnagNumber;
use crate::entry::Draft;
use crate::people::Act;
use crate::record::{Digest, SnagClosed};
use crate::refusal::Refusal;
use crate::state::State;

/// What an engineer gives to close a snag.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SnagClosing {
    /// Its cause.
    pub cause: String,
    /// What was done, and how it was seen to help.
    pub action: String,
    /// Of the snag with all the work on it, as the engineer saw it.
    pub digest: Digest,
}

/// Asks for a snag to be closed.
#[derive(Debug, Clone)]
pub struct CloseSnag {
    /// Which.
    pub snag: SnagNumber,
    /// What was given.
    pub terms: SnagClosing,
}

impl Command for CloseSnag {
    fn act(&self) -> Act {
        Act::CloseSnags
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let SnagClosing { cause, action, digest } = &self.terms;
        let snag = known::open_snag(state, self.snag)?;
        Given::new(state, stamp).text("cause", cause).text("action", action).settled()?;
        as_seen(&signable(digests::snag(snag))?, digest, "the snag")?;
        if snag.grounding {
            match snag.work.iter().rfind(|work| work.action.is_some()) {
                None => {
                    return Err(not_now(
                        "snag-not-worked",
                        format!("nobody has recorded work on snag {}, which grounds", self.snag),
                        "Whoever works on it records what was done; then an engineer who is another person closes it.",
                    ));
                }
                Some(work) if work.by == stamp.by => {
                    return Err(not_now(
                        "one-person-two-parts",
                        format!(
                            "you did the last work on snag {}, which grounds, and so cannot close it",
                            self.snag
                        ),
                        "Another engineer looks at the work and closes it.",
                    ));
                }
                Some(_) => {}
            }
        }
        let digest = signable(digests::snag_closing(snag, cause, action))?;
        let (cause, action) = (cause.clone(), action.clone());
        Ok(one(SnagClosed { snag: self.snag, cause, action, digest }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, unknown};
    use crate::story::Story;

    fn closing(story: &Story) -> CloseSnag {
        let digest = digests::snag(&story.state.snags[0]).unwrap();
        let terms = SnagClosing {
            cause: "Clip missing.".to_owned(),
            action: "Clip fitted; pulled by hand, holds.".to_owned(),
            digest,
        };
        CloseSnag { snag: SnagNumber(1), terms }
    }

    #[test]
    fn an_engineer_closes_a_snag_that_does_not_ground() {
        let mut story = Story::team();
        story.snag(false, None, &[]).snag_worked("engineer", 1);
        let command = closing(&story);
        story.when("engineer", &command).unwrap();
        assert_eq!(story.state.open_snags().count(), 0);
        assert_eq!(not_now(story.when("engineer", &command)), "snag-closed");
    }

    #[test]
    fn a_grounding_snag_is_closed_by_an_engineer_who_did_not_do_the_last_work() {
        let mut story = Story::team();
        story.snag(true, None, &[]);
        let command = closing(&story);
        assert_eq!(not_now(story.when("engineer", &command)), "snag-not-worked");
        story.snag_worked("engineer", 1);
        let command = closing(&story);
        assert_eq!(not_now(story.when("engineer", &command)), "one-person-two-parts");
        story.snag_worked("crew", 1);
        let command = closing(&story);
        story.when("engineer", &command).unwrap();
        assert!(story.rules("A").is_empty());
    }

    #[test]
    fn work_that_was_recorded_since_is_read_before_the_snag_is_closed() {
        let mut story = Story::team();
        story.snag(false, None, &[]);
        let command = closing(&story);
        story.snag_worked("crew", 1);
        assert_eq!(not_now(story.when("engineer", &command)), "card-changed");
    }

    #[test]
    fn a_closing_says_cause_and_action_and_is_for_engineers() {
        let mut story = Story::team();
        story.snag(false, None, &[]);
        let mut command = closing(&story);
        no_permission(&mut story, &command, &["lead", "pilot", "safety", "crew", "viewer"]);
        command.terms.cause = String::new();
        command.terms.action = String::new();
        assert_eq!(faults(story.when("engineer", &command)), ["cause", "action"]);
        command.snag = SnagNumber(2);
        assert_eq!(unknown(story.when("engineer", &command)), "snag");
    }

    #[test]
    fn only_an_action_is_work_after_which_another_closes_a_grounding_snag() {
        let mut story = Story::team();
        story.snag(false, None, &[]);
        let noted = |cause: Option<&str>, grounds_now| crate::record::SnagWorked {
            snag: SnagNumber(1),
            cause: cause.map(str::to_owned),
            action: None,
            grounds_now,
        };
        story.record("crew", noted(None, true));
        let command = closing(&story);
        assert_eq!(not_now(story.when("engineer", &command)), "snag-not-worked");
        story.snag_worked("engineer", 1).record("crew", noted(Some("Wear."), false));
        let command = closing(&story);
        assert_eq!(not_now(story.when("engineer", &command)), "one-person-two-parts");
    }
}
