//! Releases a point to be run; the safety officer, and nobody in their place.

use chrono::{DateTime, TimeDelta, Utc};
use serde::Deserialize;

use super::given::{Given, one};
use super::held::unless_held;
use super::signed::{as_seen, signable};
use super::{Command, Stamp, digests, known, step};
use crate::codes::PointCode;
use crate::entry::Draft;
use crate::holds::{self, Stage};
use crate::people::Act;
use crate::record::{Digest, Part, PartSigned, ReleaseWindow};
use crate::refusal::Refusal;
use crate::state::State;

/// What the safety officer gives to release a point.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReleaseTerms {
    /// Of the card with what is fitted, as the safety officer saw it.
    pub digest: Digest,
    /// Good from then on; absent: from now.
    #[serde(default)]
    pub valid_from: Option<DateTime<Utc>>,
    /// Good up to, not including, this moment; at most as long after `valid_from` as the policy allows.
    pub valid_until: DateTime<Utc>,
    /// Under these conditions besides the plan's.
    #[serde(default)]
    pub conditions: Option<String>,
}

/// Asks for a point to be released.
#[derive(Debug, Clone)]
pub struct ReleasePoint {
    /// Which point.
    pub point: PointCode,
    /// What was given.
    pub terms: ReleaseTerms,
}

impl ReleaseTerms {
    fn window(&self, now: DateTime<Utc>) -> ReleaseWindow {
        ReleaseWindow {
            valid_from: self.valid_from.unwrap_or(now),
            valid_until: self.valid_until,
            conditions: self.conditions.clone(),
        }
    }
}

/// Refuses a window that is over, that lies in the past, or that is longer than the policy allows.
fn sound(window: &ReleaseWindow, state: &State, stamp: &Stamp) -> Result<(), Refusal> {
    let ReleaseWindow { valid_from, valid_until, conditions } = window;
    let mut given = Given::new(state, stamp)
        .optional_text("conditions", conditions.as_ref())
        .must(
            // Taken from now, for the moment that is given can lie at the end of the calendar.
            *valid_from >= stamp.now - TimeDelta::minutes(2),
            "valid_from",
            "is in the past: a release is good from now on, or from a later moment",
        )
        .must(valid_until > valid_from, "valid_until", "must be after valid_from")
        .must(*valid_until > stamp.now, "valid_until", "is in the past");
    if let Some(policy) = &state.policy {
        let longest = TimeDelta::hours(i64::from(policy.longest_release_h));
        given = given.must(
            *valid_until - *valid_from <= longest,
            "valid_until",
            format!(
                "is more than {} hours after valid_from, and no release of this programme may last longer",
                policy.longest_release_h
            ),
        );
    }
    given.settled()
}

impl Command for ReleasePoint {
    fn act(&self) -> Act {
        Act::ReleasePoints
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let rung = known::rung(state, &self.point)?;
        let window = self.terms.window(stamp.now);
        sound(&window, state, stamp)?;
        let card = signable(digests::card(state, rung))?;
        as_seen(&card, &self.terms.digest, "the card")?;
        let part = Part::Release {};
        let mut holds = holds::against(state, rung, stamp.now, Stage::Release);
        holds.extend(step::against(state, rung, part, &stamp.by));
        unless_held(holds)?;
        let digest = signable(digests::release(state, rung, &window))?;
        let point = self.point.clone();
        Ok(one(PartSigned { point, part, window: Some(window), digest }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, held, no_permission, not_now};
    use crate::story::{Story, code};

    fn release(story: &Story, hours: i64) -> ReleasePoint {
        let digest = digests::card(&story.state, story.rung("A")).unwrap();
        let valid_until = story.now + TimeDelta::hours(hours);
        let terms = ReleaseTerms { digest, valid_from: None, valid_until, conditions: None };
        ReleasePoint { point: code("A"), terms }
    }

    #[test]
    fn the_safety_officer_releases_a_point_that_nothing_holds() {
        let mut story = Story::team();
        let command = release(&story, 8);
        story.when("safety", &command).unwrap();
        assert_eq!(story.rules_against("A", Stage::Run), ["acknowledgement-missing"]);
    }

    #[test]
    fn only_the_safety_officer_releases() {
        let mut story = Story::team();
        let command = release(&story, 8);
        no_permission(&mut story, &command, &["lead", "pilot", "engineer", "crew", "viewer"]);
    }

    #[test]
    fn a_release_is_refused_with_every_hold_at_once() {
        let mut story = Story::team();
        story.stand_down().snag(true, None, &[]).check("C-torque", false);
        let command = release(&story, 8);
        let rules: Vec<_> =
            held(story.when("safety", &command)).into_iter().map(|hold| hold.rule).collect();
        assert!(rules.len() >= 3 && rules.contains(&"stand-down"), "{rules:?}");
    }

    #[test]
    fn whoever_wrote_the_plan_or_approved_it_does_not_release_it() {
        let mut story = Story::team();
        story.has_roles("engineer", &[crate::nouns::Role::Engineer, crate::nouns::Role::Safety]);
        story.has_roles("lead", &[crate::nouns::Role::Lead, crate::nouns::Role::Safety]);
        let command = release(&story, 8);
        for person in ["engineer", "lead"] {
            let holds = held(story.when(person, &command));
            assert_eq!(holds.len(), 1);
            assert_eq!(holds[0].rule, "one-person-two-parts");
        }
    }

    #[test]
    fn a_card_that_changed_since_it_was_read_is_not_released() {
        let mut story = Story::team();
        let command = release(&story, 8);
        story.fit("motor", "2");
        assert_eq!(not_now(story.when("safety", &command)), "card-changed");
    }

    #[test]
    fn a_release_lasts_as_long_as_the_policy_allows_and_no_longer() {
        let mut story = Story::team();
        let mut command = release(&story, 24);
        story.clone().when("safety", &command).unwrap();
        command.terms.valid_until += TimeDelta::seconds(1);
        assert_eq!(faults(story.when("safety", &command)), ["valid_until"]);
    }

    #[test]
    fn a_release_for_the_past_is_refused() {
        let mut story = Story::team();
        let mut command = release(&story, 8);
        command.terms.valid_from = Some(story.now - TimeDelta::hours(1));
        assert_eq!(faults(story.when("safety", &command)), ["valid_from"]);
        command.terms.valid_until = story.now - TimeDelta::minutes(10);
        assert_eq!(faults(story.when("safety", &command)), ["valid_from", "valid_until"]);
        command.terms.valid_from = Some(story.now + TimeDelta::hours(1));
        command.terms.valid_until = story.now + TimeDelta::hours(1);
        assert_eq!(faults(story.when("safety", &command)), ["valid_until"]);
    }

    #[test]
    fn a_point_that_does_not_exist_is_not_released() {
        let mut story = Story::team();
        let mut command = release(&story, 8);
        command.point = code("Z");
        let refusal = story.when("safety", &command).unwrap_err();
        assert_eq!(refusal, Refusal::Unknown { what: "point", code: "Z".to_owned() });
    }

    #[test]
    fn a_moment_at_the_end_of_the_calendar_is_refused_and_breaks_nothing() {
        let mut story = Story::team();
        let mut command = release(&story, 8);
        command.terms.valid_from = Some(DateTime::<Utc>::MAX_UTC);
        command.terms.valid_until = DateTime::<Utc>::MAX_UTC;
        assert_eq!(faults(story.when("safety", &command)), ["valid_until"]);
        command.terms.valid_from = Some(DateTime::<Utc>::MIN_UTC);
        assert_eq!(faults(story.when("safety", &command)), ["valid_from", "valid_until"]);
    }
}
