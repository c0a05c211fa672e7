//! Acknowledges a released card; a pilot.

use serde::Deserialize;

use super::given::{not_now, one};
use super::held::unless_held;
use super::signed::{as_seen, signable};
use super::{Command, Stamp, digests, known, step};
use crate::codes::PointCode;
use crate::entry::Draft;
use crate::holds::{self, Stage};
use crate::people::Act;
use crate::record::{Digest, Part, PartSigned};
use crate::refusal::Refusal;
use crate::state::State;

/// What a pilot gives to acknowledge a card.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AcknowledgementTerms {
    /// Of the card and its release, as the pilot saw them.
    pub digest: Digest,
}

/// Asks for a card to be acknowledged.
#[derive(Debug, Clone)]
pub struct AcknowledgeCard {
    /// Of which point.
    pub point: PointCode,
    /// What was given.
    pub terms: AcknowledgementTerms,
}

impl Command for AcknowledgeCard {
    fn act(&self) -> Act {
        Act::AcknowledgeCards
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let rung = known::rung(state, &self.point)?;
        let part = Part::Acknowledgement {};
        let mut holds: Vec<_> = holds::against(state, rung, stamp.now, Stage::Run)
            .into_iter()
            .filter(stands_against_acknowledging)
            .collect();
        holds.extend(step::against(state, rung, part, &stamp.by));
        unless_held(holds)?;
        let Some(release) = &rung.release else {
            return Err(not_now(
                "not-released",
                format!("{} is not released", self.point),
                "The safety officer releases the point.",
            ));
        };
        let digest = signable(digests::acknowledgement(state, rung, &release.signature.digest))?;
        as_seen(&digest, &self.terms.digest, "the card or its release")?;
        if let Some(acknowledged) = &rung.acknowledgement
            && acknowledged.by == stamp.by
            && acknowledged.digest == digest
        {
            return Err(not_now(
                "already-signed",
                format!("you have acknowledged the card of {} already", self.point),
                "Nothing needs to be done.",
            ));
        }
        Ok(one(PartSigned { point: self.point.clone(), part, window: None, digest }))
    }
}

/// Everything that stands against a release, and everything about the release itself. Weather, crew and what else
/// matters when the run is opened may still come.
pub(super) fn stands_against_acknowledging(hold: &holds::Hold) -> bool {
    // A pilot reads the card the evening before, when a release may not have begun to be good.
    hold.stage == Stage::Release
        || (hold.rule.starts_with("release-") && hold.rule != "release-not-yet-valid")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use chrono::TimeDelta;

    use super::*;
    use crate::commands::asked::{held, no_permission, not_now};
    use crate::nouns::Role;
    use crate::story::{Story, code};

    fn acknowledgement(story: &Story) -> AcknowledgeCard {
        let rung = story.rung("A");
        let release = &rung.release.as_ref().unwrap().signature.digest;
        let digest = digests::acknowledgement(&story.state, rung, release).unwrap();
        AcknowledgeCard { point: code("A"), terms: AcknowledgementTerms { digest } }
    }

    fn released() -> Story {
        let mut story = Story::team();
        story.release("A");
        story
    }

    #[test]
    fn a_pilot_acknowledges_a_released_card() {
        let mut story = released();
        let command = acknowledgement(&story);
        story.when("pilot", &command).unwrap();
        assert!(story.rules_against("A", Stage::Run).is_empty());
        assert_eq!(not_now(story.when("pilot", &command)), "already-signed");
    }

    #[test]
    fn a_card_is_acknowledged_the_evening_before_its_release_begins() {
        let mut story = Story::team();
        let from = story.now + TimeDelta::hours(10);
        story.release_within("A", from, from + TimeDelta::hours(4));
        let command = acknowledgement(&story);
        story.when("pilot", &command).unwrap();
    }

    #[test]
    fn a_card_without_a_standing_release_is_not_acknowledged() {
        let mut story = Story::team();
        let digest = crate::story::any_digest();
        let command = AcknowledgeCard { point: code("A"), terms: AcknowledgementTerms { digest } };
        assert_eq!(held(story.when("pilot", &command))[0].rule, "release-missing");
        let mut story = released();
        let command = acknowledgement(&story);
        story.later(TimeDelta::hours(9));
        assert_eq!(held(story.when("pilot", &command))[0].rule, "release-expired");
    }

    #[test]
    fn nothing_is_acknowledged_during_a_stand_down() {
        let mut story = released();
        let command = acknowledgement(&story);
        story.stand_down();
        assert_eq!(held(story.when("pilot", &command))[0].rule, "stand-down");
    }

    #[test]
    fn a_release_that_was_signed_anew_since_it_was_read_is_not_acknowledged() {
        let mut story = released();
        let command = acknowledgement(&story);
        let until = story.now + TimeDelta::hours(1);
        story.releases("safety", "A", until);
        assert_eq!(not_now(story.when("pilot", &command)), "card-changed");
    }

    #[test]
    fn whoever_released_a_point_does_not_acknowledge_its_card() {
        let mut story = released();
        story.has_roles("safety", &[Role::Safety, Role::Pilot]);
        let command = acknowledgement(&story);
        assert_eq!(held(story.when("safety", &command))[0].rule, "one-person-two-parts");
    }

    #[test]
    fn only_pilots_acknowledge() {
        let mut story = released();
        let command = acknowledgement(&story);
        no_permission(&mut story, &command, &["lead", "safety", "engineer", "crew", "viewer"]);
    }
}
