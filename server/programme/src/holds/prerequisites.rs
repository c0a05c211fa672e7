//! The points that come before must have been shown, and their results must stand.

use chrono::{DateTime, Utc};

use super::words::listed;
use super::{Explained, Reason, Rule, Subject};
use crate::codes::{PointCode, RunNumber};
use crate::state::{Lapse, Rung, Standing, State};

static NOT_ACCEPTED: Rule = Rule::against_release(
    "prerequisite-not-accepted",
    "Every point that comes before has a result that an engineer and the safety officer accepted.",
);
static NOT_MET: Rule = Rule::against_release(
    "prerequisite-not-met",
    "The last result of every point that comes before was met, with nothing missing.",
);
static LAPSED: Rule = Rule::against_release(
    "prerequisite-lapsed",
    "The accepted results of the points that come before still stand for the aircraft, the plan and the limits as \
     they are now.",
);
static SET_ASIDE: Rule = Rule::against_release(
    "recording-set-aside",
    "No accepted result of the points that come before was filled from a recording that was set aside since.",
);
static DROPPED: Rule = Rule::against_release(
    "prerequisite-dropped",
    "Every point that comes before is part of the plan.",
);
static UNKNOWN: Rule = Rule::against_release(
    "prerequisite-unknown",
    "Every point that comes before exists in the programme.",
);

pub(super) static RULES: &[&Rule] =
    &[&NOT_ACCEPTED, &NOT_MET, &LAPSED, &SET_ASIDE, &DROPPED, &UNKNOWN];

/// A point that comes before and does not count.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Prerequisite {
    /// The point.
    pub point: PointCode,
    /// Why it does not count.
    pub because: NotShown,
}

/// Why a point does not count as shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotShown {
    /// There is no such point.
    Unknown,
    /// It was taken out of the plan.
    Dropped,
    /// It has no result.
    NoResult,
    /// Its last result waits for signatures.
    Waiting(RunNumber),
    /// Its last result was not met, or something was missing.
    NotMet(RunNumber),
    /// Its result was accepted and does not stand any more.
    Lapsed(RunNumber),
    /// Its result was accepted, and a recording that it was filled from was set aside.
    SetAside(RunNumber),
}

pub(super) fn collect(rung: &Rung, state: &State, _: DateTime<Utc>, found: &mut Vec<Reason>) {
    for code in &rung.point.after_points {
        if let Some(because) = not_shown(code, state) {
            found.push(Reason::Prerequisite(Prerequisite { point: code.clone(), because }));
        }
    }
}

fn not_shown(code: &PointCode, state: &State) -> Option<NotShown> {
    let Some(before) = state.rung(code) else { return Some(NotShown::Unknown) };
    if before.dropped.is_some() {
        return Some(NotShown::Dropped);
    }
    if state.accepted_result_of(before).is_some() {
        return None;
    }
    let results = before.results.iter().rev().map(|id| &state.results[id.0]);
    // One that was accepted and does not count is of an earlier run than the one that speaks against it.
    let last = results
        .into_iter()
        .find(|result| !matches!(result.standing, Standing::Replaced | Standing::Accepted));
    Some(match last {
        None => NotShown::NoResult,
        Some(result) => match result.standing {
            Standing::NotMet => NotShown::NotMet(result.run),
            Standing::Lapsed(Lapse::RecordingSetAside { .. }) => NotShown::SetAside(result.run),
            Standing::Lapsed(_) => NotShown::Lapsed(result.run),
            Standing::Open | Standing::Accepted | Standing::Replaced => {
                NotShown::Waiting(result.run)
            }
        },
    })
}

impl Explained for Prerequisite {
    fn rule(&self) -> &'static Rule {
        match self.because {
            NotShown::Unknown => &UNKNOWN,
            NotShown::Dropped => &DROPPED,
            NotShown::NoResult | NotShown::Waiting(_) => &NOT_ACCEPTED,
            NotShown::NotMet(_) => &NOT_MET,
            NotShown::Lapsed(_) => &LAPSED,
            NotShown::SetAside(_) => &SET_ASIDE,
        }
    }

    fn subject(&self, _: &Rung) -> Subject {
        Subject::new("point", &self.point)
    }

    fn why(&self, _: &Rung, state: &State) -> String {
        let code = &self.point;
        match self.because {
            NotShown::Unknown => format!("{code} must come before, and there is no such point."),
            NotShown::Dropped => format!("{code} must come before, and was taken out of the plan."),
            NotShown::NoResult => format!("{code} must come before, and has no result yet."),
            NotShown::Waiting(run) => {
                let waits_for = state.result(run, code).map(|(_, result)| {
                    let (engineer, safety) = ("an engineer", "the safety officer");
                    match (&result.engineering, &result.safety) {
                        (None, None) => listed([engineer, safety]),
                        (None, Some(_)) => engineer.to_owned(),
                        (Some(_), None) => safety.to_owned(),
                        // They have not signed the same.
                        (Some(first), Some(second)) => {
                            let again = if first.seq < second.seq { engineer } else { safety };
                            format!("{again} again, for it has changed")
                        }
                    }
                });
                format!(
                    "The result of {code} in run {run} waits for acceptance by {}.",
                    waits_for.unwrap_or_default()
                )
            }
            NotShown::NotMet(run) => {
                format!("The last result of {code}, in run {run}, was not met or lacks something.")
            }
            NotShown::Lapsed(run) | NotShown::SetAside(run) => {
                let standing = state.result(run, code).map(|(_, result)| &result.standing);
                let because = match standing {
                    Some(Standing::Lapsed(lapse)) => lapse.in_words(),
                    _ => "it does not stand any more".to_owned(),
                };
                format!("The accepted result of {code} in run {run} has lapsed: {because}.")
            }
        }
    }

    fn clears(&self, rung: &Rung, _: &State) -> String {
        let code = &self.point;
        match self.because {
            NotShown::Unknown | NotShown::Dropped => {
                format!("{code} is planned, or the plan of {} is changed.", rung.point.code)
            }
            NotShown::NoResult => format!("{code} is run, and its result is accepted."),
            NotShown::Waiting(_) => format!("The result of {code} is accepted."),
            NotShown::NotMet(_) => format!("{code} is run again, met, and accepted."),
            NotShown::Lapsed(_) => {
                format!(
                    "{code} is run again and its result accepted, or what changed is undone or found unharmed."
                )
            }
            NotShown::SetAside(_) => format!(
                "The result of {code} is recorded anew from what counts, or {code} is run again, and the result is accepted."
            ),
        }
    }

    fn source(&self, rung: &Rung, _: &State) -> String {
        format!("the plan of {}", rung.point.code)
    }
}

#[cfg(test)]
mod tests {
    use crate::measure::Unit;
    use crate::nouns::{Limit, LimitKind, Point, Statistic};
    use crate::record::{LimitSet, Part, PartSigned, PointDropped};
    use crate::story::{Story, any_digest, code, limit, point, recorded_value, typed};

    fn at_most(name: &str, highest: f64) -> LimitSet {
        let kind = LimitKind::Maximum { caution: None, limit: highest };
        LimitSet { limit: Limit { kind, ..limit(name) } }
    }

    fn after(name: &str, before: &str) -> Point {
        Point { after_points: vec![code(before)], ..point(name) }
    }

    fn two() -> Story {
        let mut story = Story::team();
        story.plan(after("B", "A")).approve("B");
        story
    }

    #[test]
    fn a_point_waits_until_both_have_accepted_the_one_before() {
        let mut story = two();
        assert_eq!(story.rules("B"), ["prerequisite-not-accepted"]);
        let run = story.show("A", 50.0);
        let why = story.hold("B", "prerequisite-not-accepted").why;
        assert!(why.ends_with("acceptance by an engineer and the safety officer."), "{why}");
        story.sign("engineer", "A", Part::EngineeringAcceptance { run });
        let why = story.hold("B", "prerequisite-not-accepted").why;
        assert!(why.ends_with("acceptance by the safety officer."), "{why}");
        story.sign("safety", "A", Part::SafetyAcceptance { run });
        assert!(story.rules("B").is_empty());
    }

    #[test]
    fn one_degree_too_hot_or_a_missing_reading_keeps_the_next_point_held() {
        for (winding, rules) in [
            (Some(59.9), vec![]),
            (Some(60.0), vec![]),
            (Some(60.1), vec!["prerequisite-not-met"]),
            (None, vec!["prerequisite-not-met"]),
        ] {
            let mut story = two();
            let run = story.show("A", winding);
            if rules.is_empty() {
                story.accept("A", run);
            }
            assert_eq!(story.rules("B"), rules, "{winding:?}");
        }
    }

    #[test]
    fn a_repeat_that_is_not_met_closes_what_was_open_until_it_is_shown_again() {
        let mut story = two();
        story.show_and_accept("A");
        story.show("A", 61.0);
        assert_eq!(story.rules("B"), ["prerequisite-not-met"]);
        story.show_and_accept("A");
        assert!(story.rules("B").is_empty());
    }

    #[test]
    fn a_result_lapses_with_the_item_it_is_sensitive_to_and_stands_again_with_it() {
        let mut story = two();
        story.show_and_accept("A");
        story.fit("pack", "2");
        assert!(story.rules("B").is_empty(), "nothing depends on the pack");
        story.fit("motor", "2");
        let hold = story.hold("B", "prerequisite-lapsed");
        assert!(hold.why.ends_with("motor was \"1\" and is \"2\" now."), "{}", hold.why);
        story.fit("motor", "1");
        assert!(story.rules("B").is_empty());
    }

    #[test]
    fn a_result_lapses_when_a_recording_that_it_was_filled_from_is_set_aside_and_no_other_does() {
        let mut story = two();
        story.plan(after("C", "B")).approve("C");
        let (recording, run) = story.show_recorded("A");
        story.show_and_accept("B");
        assert!(story.rules("B").is_empty());
        let other = story.recorded(1);
        story.attach(&other, run).set_aside(&other);
        assert!(story.rules("B").is_empty(), "nothing of the result comes from it");
        story.set_aside(&recording);
        let hold = story.hold("B", "recording-set-aside");
        let because = format!("values of it come from recording {recording}, which was set aside.");
        assert!(hold.why.ends_with(&because), "{}", hold.why);
        assert!(story.rules("C").is_empty(), "the result of B was typed in");
    }

    #[test]
    fn a_result_recorded_anew_from_what_counts_stands_again_and_the_file_taken_in_once_more_does_not_revive_it()
     {
        let mut story = two();
        let (recording, run) = story.show_recorded("A");
        story.set_aside(&recording);
        let again = story.file(100, story.now, 600.0);
        assert_eq!(again.recording, recording);
        story.record("crew", again).attach(&recording, run);
        assert_eq!(story.rules("B"), ["recording-set-aside"]);
        story.interval(&recording, run, "A");
        let values = vec![recorded_value(&recording, 2, 50.0)];
        story.result(run, "A", values, Default::default()).accept("A", run);
        assert!(story.rules("B").is_empty());
    }

    #[test]
    fn a_result_lapses_when_the_limits_it_is_held_against_become_tighter() {
        let mut story = two();
        story.show_and_accept("A");
        let mut tighter = limit("L-winding");
        tighter.kind = LimitKind::Maximum { caution: None, limit: 49.9 };
        story.record("engineer", LimitSet { limit: tighter.clone() });
        assert!(story.rules("B").contains(&"prerequisite-lapsed"));
        tighter.kind = LimitKind::Maximum { caution: None, limit: 50.0 };
        story.record("engineer", LimitSet { limit: tighter });
        assert!(!story.rules("B").contains(&"prerequisite-lapsed"));
    }

    #[test]
    fn a_dropped_or_unknown_point_before_holds() {
        let mut story = two();
        story.plan(after("C", "nowhere")).approve("C");
        assert_eq!(story.rules("C"), ["prerequisite-unknown"]);
        story.record("lead", PointDropped { point: code("A"), reason: "No need.".to_owned() });
        assert_eq!(story.rules("B"), ["prerequisite-dropped"]);
    }

    #[test]
    fn a_result_of_an_earlier_run_accepted_late_does_not_answer_for_a_later_one_that_was_not_met() {
        let mut story = two();
        let first = story.run_for(&["A"], 10);
        story.show("A", 61.0);
        let values = vec![typed("winding", Statistic::Max, 50.0, Unit::Celsius)];
        story.result(first, "A", values, Default::default()).accept("A", first);
        assert_eq!(story.rules("B"), ["prerequisite-not-met"]);
        story.show_and_accept("A");
        assert!(story.rules("B").is_empty(), "shown again by a later run");
    }

    #[test]
    fn a_repeat_that_waits_and_lies_beyond_a_tightened_limit_takes_away_what_was_shown() {
        let mut story = two();
        story.show_and_accept("A");
        story.show("A", 58.0);
        assert!(story.rules("B").is_empty(), "a met repeat that waits takes nothing away");
        story.record("engineer", at_most("L-winding", 55.0)).approve("B");
        assert_eq!(story.rules("B"), ["prerequisite-not-accepted"]);
    }

    #[test]
    fn a_result_lapses_for_a_tightened_limit_also_where_it_had_passed_another_when_recorded() {
        let mut story = two();
        story.record("engineer", at_most("L-second", 45.0)).approve("A").approve("B");
        let run = story.show("A", 50.0);
        story.exceedance(run, "L-second").explained_and_closed(1).accept("A", run);
        assert!(story.rules("B").is_empty(), "what it had passed was explained and closed");
        story.record("engineer", at_most("L-winding", 48.0)).approve("B");
        assert_eq!(story.rules("B"), ["prerequisite-lapsed"]);
    }

    #[test]
    fn who_signed_something_else_than_the_other_is_asked_again() {
        let mut story = two();
        let run = story.show("A", 50.0);
        story.accept("A", run);
        let (part, digest) = (Part::SafetyAcceptance { run }, any_digest());
        story.record("safety", PartSigned { point: code("A"), part, window: None, digest });
        let why = story.hold("B", "prerequisite-not-accepted").why;
        assert!(why.ends_with("by an engineer again, for it has changed."), "{why}");
    }
}
