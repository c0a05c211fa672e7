//! The point must be released for what the plan and the aircraft are now, within the release's time, and the pilot must
//! have acknowledged the card after it. A release is good for one result.

use chrono::{DateTime, Utc};

use super::plan::changed_since;
use super::words::{listed, moment};
use super::{Explained, Reason, Rule, Subject};
use crate::state::{Rung, SignedRelease, State};

static MISSING: Rule =
    Rule::against_run("release-missing", "The safety officer has released the point.");
static USED_UP: Rule = Rule::against_run(
    "release-used-up",
    "No result of the point was recorded since it was released; a repeat is released again.",
);
static PLAN_CHANGED: Rule = Rule::against_run(
    "release-plan-changed",
    "The plan, its limits and its hazards are what they were when the point was released.",
);
static CONFIGURATION_CHANGED: Rule = Rule::against_run(
    "release-configuration-changed",
    "The aircraft is what it was when the point was released.",
);
static EXPIRED: Rule = Rule::against_run("release-expired", "The time of the release is not over.");
static NOT_YET: Rule =
    Rule::against_run("release-not-yet-valid", "The time of the release has begun.");
static UNACKNOWLEDGED: Rule =
    Rule::against_run("acknowledgement-missing", "A pilot has acknowledged the card.");
static ACKNOWLEDGED_BEFORE: Rule = Rule::against_run(
    "acknowledgement-older-than-release",
    "A pilot has acknowledged the card after the last release.",
);

pub(super) static RULES: &[&Rule] = &[
    &MISSING,
    &USED_UP,
    &PLAN_CHANGED,
    &CONFIGURATION_CHANGED,
    &EXPIRED,
    &NOT_YET,
    &UNACKNOWLEDGED,
    &ACKNOWLEDGED_BEFORE,
];

/// What is missing before the point may be run. Of the release the first that applies; each is cleared by another
/// release, or by waiting.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Release {
    /// There is none.
    Missing,
    /// A result was recorded after it.
    UsedUp,
    /// Plan, limits or hazards changed after it.
    PlanChanged {
        /// The record of the release.
        signed: u64,
    },
    /// The configuration changed after it.
    ConfigurationChanged {
        /// The record of the release.
        signed: u64,
    },
    /// Its time is over; it was good up to, not including, this moment.
    Expired(DateTime<Utc>),
    /// It is good from this moment on.
    NotYet(DateTime<Utc>),
    /// Nobody has acknowledged the card.
    Unacknowledged,
    /// The card was acknowledged before the last release.
    AcknowledgedBefore,
}

pub(super) fn collect(rung: &Rung, state: &State, now: DateTime<Utc>, found: &mut Vec<Reason>) {
    let against = of_release(rung, state, now);
    found.extend(against.map(Reason::Release));
    let released = rung.release.as_ref().map_or(0, |release| release.signature.seq);
    match &rung.acknowledgement {
        None => found.push(Reason::Release(Release::Unacknowledged)),
        Some(signature) if signature.seq < released => {
            found.push(Reason::Release(Release::AcknowledgedBefore));
        }
        Some(_) => {}
    }
}

fn of_release(rung: &Rung, state: &State, now: DateTime<Utc>) -> Option<Release> {
    let Some(SignedRelease { signature, valid_from, valid_until, .. }) = &rung.release else {
        return Some(Release::Missing);
    };
    let signed = signature.seq;
    if rung.last_result().is_some_and(|id| state.results[id.0].seq > signed) {
        Some(Release::UsedUp)
    } else if !state.plan_signature_stands(rung, signature) {
        Some(Release::PlanChanged { signed })
    } else if !state.release_signature_stands(rung, signature) {
        Some(Release::ConfigurationChanged { signed })
    } else if *valid_until <= now {
        Some(Release::Expired(*valid_until))
    } else if now < *valid_from {
        Some(Release::NotYet(*valid_from))
    } else {
        None
    }
}

/// The next moment at which the release alone, without another record, begins or ends to be good.
pub(crate) fn next_change(rung: &Rung, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
    let release = rung.release.as_ref()?;
    [release.valid_from, release.valid_until].into_iter().filter(|moment| *moment > now).min()
}

impl Explained for Release {
    fn rule(&self) -> &'static Rule {
        match self {
            Release::Missing => &MISSING,
            Release::UsedUp => &USED_UP,
            Release::PlanChanged { .. } => &PLAN_CHANGED,
            Release::ConfigurationChanged { .. } => &CONFIGURATION_CHANGED,
            Release::Expired(_) => &EXPIRED,
            Release::NotYet(_) => &NOT_YET,
            Release::Unacknowledged => &UNACKNOWLEDGED,
            Release::AcknowledgedBefore => &ACKNOWLEDGED_BEFORE,
        }
    }

    fn subject(&self, rung: &Rung) -> Subject {
        Subject::new("point", &rung.point.code)
    }

    fn why(&self, rung: &Rung, state: &State) -> String {
        let code = &rung.point.code;
        match self {
            Release::Missing => format!("{code} is not released."),
            Release::UsedUp => {
                let run = rung.last_result().map(|id| state.results[id.0].run);
                let run = run.map_or_else(String::new, |run| format!(" of run {run}"));
                format!("The release of {code} is used up by the result{run}.")
            }
            Release::PlanChanged { signed } => {
                let changed = changed_since(*signed, rung, state);
                format!("Changed since {code} was released: {changed}.")
            }
            Release::ConfigurationChanged { signed } => {
                let changes = &state.configuration.changes;
                let since = changes.iter().rev().take_while(|change| change.seq > *signed);
                let mut items: Vec<_> = since.map(|change| change.item.as_str()).collect();
                items.sort_unstable();
                items.dedup();
                format!("Changed on the aircraft since {code} was released: {}.", listed(items))
            }
            Release::Expired(until) => {
                format!("The release of {code} was good until {}.", moment(*until))
            }
            Release::NotYet(from) => {
                format!("The release of {code} is good from {} on.", moment(*from))
            }
            Release::Unacknowledged => format!("No pilot has acknowledged the card of {code}."),
            Release::AcknowledgedBefore => {
                format!("The card of {code} was acknowledged before its last release.")
            }
        }
    }

    fn clears(&self, rung: &Rung, _: &State) -> String {
        let code = &rung.point.code;
        match self {
            Release::Missing => {
                format!("The safety officer releases {code}, once nothing else stands against it.")
            }
            Release::UsedUp
            | Release::PlanChanged { .. }
            | Release::ConfigurationChanged { .. }
            | Release::Expired(_) => format!("The safety officer releases {code} again."),
            Release::NotYet(from) => format!("The time comes, at {}.", moment(*from)),
            Release::Unacknowledged => {
                "A pilot reads the released card and acknowledges it.".to_owned()
            }
            Release::AcknowledgedBefore => {
                "A pilot reads the card as released now and acknowledges it.".to_owned()
            }
        }
    }

    fn source(&self, _: &Rung, _: &State) -> String {
        match self {
            Release::PlanChanged { .. } | Release::ConfigurationChanged { .. } => {
                "Rungbook rule: a signature stands for exactly what was signed"
            }
            Release::Missing
            | Release::UsedUp
            | Release::Expired(_)
            | Release::NotYet(_) => {
                "Rungbook rule: the safety officer releases every step, for a stated time and configuration"
            }
            Release::Unacknowledged | Release::AcknowledgedBefore => {
                "Rungbook rule: the pilot acknowledges the card as it was released"
            }
        }
        .to_owned()
    }
}

#[cfg(test)]
mod tests {
    use chrono::TimeDelta;

    use crate::holds::Stage;
    use crate::story::{Story, point};

    fn against_run(story: &Story) -> Vec<&'static str> {
        story.rules_against("A", Stage::Run)
    }

    #[test]
    fn a_point_is_run_only_when_released_and_acknowledged_in_this_order() {
        let mut story = Story::team();
        assert_eq!(against_run(&story), ["release-missing", "acknowledgement-missing"]);
        story.acknowledge("A");
        assert_eq!(against_run(&story), ["release-missing"]);
        story.release("A");
        assert_eq!(against_run(&story), ["acknowledgement-older-than-release"]);
        story.acknowledge("A");
        assert!(against_run(&story).is_empty());
        assert!(story.rules_against("A", Stage::Release).is_empty());
    }

    #[test]
    fn a_release_is_good_from_its_first_moment_up_to_its_last() {
        let mut story = Story::team();
        let from = story.now + TimeDelta::hours(1);
        let until = story.now + TimeDelta::hours(2);
        story.release_within("A", from, until).acknowledge("A");
        let second = TimeDelta::seconds(1);
        for (now, rules) in [
            (from - second, vec!["release-not-yet-valid"]),
            (from, vec![]),
            (until - second, vec![]),
            (until, vec!["release-expired"]),
        ] {
            story.now = now;
            assert_eq!(against_run(&story), rules, "{now}");
        }
    }

    #[test]
    fn a_release_is_used_up_by_a_result() {
        let mut story = Story::team();
        story.release("A").acknowledge("A");
        story.show("A", 50.0);
        assert_eq!(against_run(&story), ["release-used-up"]);
        story.release("A").acknowledge("A");
        assert!(against_run(&story).is_empty());
    }

    #[test]
    fn a_change_of_plan_or_configuration_voids_a_release_and_is_named() {
        let mut story = Story::team();
        story.release("A").acknowledge("A").fit("pack", "2");
        let why = story.hold("A", "release-configuration-changed").why;
        assert_eq!(why, "Changed on the aircraft since A was released: pack.");
        story.release("A").acknowledge("A");
        assert!(against_run(&story).is_empty());
        let mut changed = point("A");
        changed.title = "Another".to_owned();
        story.plan(changed).approve("A");
        assert_eq!(against_run(&story), ["release-plan-changed"]);
    }
}
