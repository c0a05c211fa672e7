//! Says what was found out about a snag, or done about it.

use chrono::{DateTime, Utc};
use serde::Deserialize;

use super::given::{Given, one_seen};
use super::{Command, Stamp, known};
use crate::codes::SnagNumber;
use crate::entry::Draft;
use crate::people::Act;
use crate::record::SnagWorked;
use crate::refusal::Refusal;
use crate::state::State;

/// What a person gives about work on a snag; cause, action or grounding at least.
#[derive(Debug, Clone, Default, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WorkTerms {
    /// Its cause, as far as known.
    #[serde(default)]
    pub cause: Option<String>,
    /// What was done.
    #[serde(default)]
    pub action: Option<String>,
    /// Whether it grounds the aircraft from now on; it can be made to, and never the other way round.
    #[serde(default)]
    pub grounds_now: bool,
    /// When it was done; absent: now.
    #[serde(default)]
    pub observed_at: Option<DateTime<Utc>>,
}

/// Asks for work on a snag to be recorded.
#[derive(Debug, Clone)]
pub struct WorkSnag {
    /// On which snag.
    pub snag: SnagNumber,
    /// What was given.
    pub terms: WorkTerms,
}

impl Command for WorkSnag {
    fn act(&self) -> Act {
        Act::WorkSnags
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let WorkTerms { cause, action, grounds_now, observed_at } = self.terms.clone();
        known::open_snag(state, self.snag)?;
        Given::new(state, stamp)
            .observed(observed_at)
            .optional_text("cause", cause.as_ref())
            .optional_text("action", action.as_ref())
            .must(
                cause.is_some() || action.is_some() || grounds_now,
                "action",
                "say what was found out, what was done, or that it grounds from now on",
            )
            .settled()?;
        Ok(one_seen(observed_at, SnagWorked { snag: self.snag, cause, action, grounds_now }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, unknown};
    use crate::story::Story;

    fn work(terms: WorkTerms) -> WorkSnag {
        WorkSnag { snag: SnagNumber(1), terms }
    }

    fn sleeve() -> WorkTerms {
        WorkTerms { action: Some("Sleeve put over it.".to_owned()), ..WorkTerms::default() }
    }

    #[test]
    fn crew_and_engineers_work_on_snags() {
        let mut story = Story::team();
        story.snag(false, None, &[]).stand_down();
        story.when("crew", &work(sleeve())).unwrap();
        story.when("engineer", &work(sleeve())).unwrap();
        assert_eq!(story.state.snags[0].work.len(), 2);
        no_permission(&mut story, &work(sleeve()), &["lead", "pilot", "safety", "viewer"]);
    }

    #[test]
    fn a_snag_can_be_made_to_ground_and_not_the_other_way_round() {
        let mut story = Story::team();
        story.snag(false, None, &[]);
        let terms = WorkTerms { grounds_now: true, ..WorkTerms::default() };
        story.when("crew", &work(terms)).unwrap();
        assert!(story.state.snags[0].grounding);
        story.when("crew", &work(sleeve())).unwrap();
        assert!(story.state.snags[0].grounding);
    }

    #[test]
    fn work_says_something_about_an_open_snag() {
        let mut story = Story::team();
        assert_eq!(unknown(story.when("crew", &work(sleeve()))), "snag");
        story.snag(false, None, &[]);
        assert_eq!(faults(story.when("crew", &work(WorkTerms::default()))), ["action"]);
        story.snag_closed(1);
        assert_eq!(not_now(story.when("crew", &work(sleeve()))), "snag-closed");
    }
}
