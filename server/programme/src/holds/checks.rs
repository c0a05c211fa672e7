//! Checks of the phase, and those that the plan names, must have been passed and still be good.
//!
//! A check is good up to and including the end of its validity, by the clock and in powered minutes. A happening ends it
//! at once.

use chrono::{DateTime, TimeDelta, Utc};

use super::edge::is_at_most;
use super::words::{either, listed, moment, said, span};
use super::{Explained, Reason, Rule, Subject};
use crate::codes::{CheckCode, RunNumber};
use crate::state::{CheckState, Rung, State};

static UNKNOWN: Rule =
    Rule::against_release("check-unknown", "Every check that the plan names is defined.");
static NOT_PASSED: Rule =
    Rule::against_release("check-not-passed", "Every check that the point needs was passed.");
static FAILED: Rule = Rule::against_release(
    "check-failed",
    "No check that the point needs has a failure without a pass done after it.",
);
static OVERDUE: Rule = Rule::against_release(
    "check-overdue",
    "Every check that the point needs is good by the clock, by powered hours, and since anything that ends it.",
);
static HOURS_UNKNOWN: Rule = Rule::against_release(
    "check-hours-unknown",
    "The powered hours since every check that is good for some of them are known.",
);

pub(super) static RULES: &[&Rule] = &[&UNKNOWN, &NOT_PASSED, &FAILED, &OVERDUE, &HOURS_UNKNOWN];

/// A check that is not good.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// Which.
    pub check: CheckCode,
    /// What is wrong with it.
    pub fault: Fault,
}

/// Why a check is not good. Each is cleared by passing the check, but for those that say otherwise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fault {
    /// The plan names it, and it is not defined.
    Unknown,
    /// It was never passed.
    NeverPassed,
    /// A failure stands.
    Failed,
    /// Its validity is over: each way in which it is.
    Overdue {
        /// Time since it was passed, where that is too long.
        age: Option<TimeDelta>,
        /// Powered minutes since it was passed, where those are too many.
        powered_min: Option<u64>,
        /// The record of a happening that ended it.
        happening: Option<u64>,
        /// The record of a change of an item that ended it.
        change: Option<u64>,
    },
    /// Nobody knows for how long this run since it was passed was under power; cleared by the run's times too.
    HoursUnknown(RunNumber),
}

pub(super) fn collect(rung: &Rung, state: &State, now: DateTime<Utc>, found: &mut Vec<Reason>) {
    let point = &rung.point;
    let mut against = |check: &CheckCode, fault| {
        found.push(Reason::Check(Check { check: check.clone(), fault }));
    };
    for check in state.checks.by_code.values() {
        let code = &check.check.code;
        if !check.check.phases.contains(&point.phase) && !point.after_checks.contains(code) {
            continue;
        }
        if let Some(fault) = fault(check, state, now) {
            against(code, fault);
        }
    }
    for code in &point.after_checks {
        if !state.checks.by_code.contains_key(code) {
            against(code, Fault::Unknown);
        }
    }
}

/// Why a check is not good at a moment; none where it is.
pub fn fault(check: &CheckState, state: &State, now: DateTime<Utc>) -> Option<Fault> {
    if check.failure().is_some() {
        return Some(Fault::Failed);
    }
    let Some(passed) = check.last_pass() else { return Some(Fault::NeverPassed) };
    let validity = &check.check.validity;
    let age = now - passed.at;
    let hours = age.as_seconds_f64() / 3600.0;
    let by_clock = validity.clock_hours.is_none_or(|valid| is_at_most(hours, valid))
        && validity.days.is_none_or(|days| is_at_most(hours, f64::from(days) * 24.0));
    let powered = validity.powered_hours.map(|valid| (valid, check.powered_minutes_since()));
    let powered_min = match powered {
        Some((valid, Ok(minutes))) => {
            // Minutes since one check stay far below 2^53, where they are exact.
            (!is_at_most(minutes as f64, valid * 60.0)).then_some(minutes)
        }
        Some((_, Err(_))) | None => None,
    };
    let happening = validity
        .until
        .iter()
        .filter_map(|event| state.checks.happened_since(event, passed))
        .max_by_key(|happening| happening.seq);
    let changes = validity.until_changed.iter();
    let changes = changes.filter_map(|item| state.configuration.changed_since(item, passed));
    let change = changes.max_by_key(|change| change.seq);
    if !by_clock || powered_min.is_some() || happening.is_some() || change.is_some() {
        return Some(Fault::Overdue {
            age: (!by_clock).then_some(age),
            powered_min,
            happening: happening.map(|happening| happening.seq),
            change: change.map(|change| change.seq),
        });
    }
    match powered {
        Some((_, Err(run))) => Some(Fault::HoursUnknown(run)),
        Some((_, Ok(_))) | None => None,
    }
}

impl Check {
    fn title(&self, state: &State) -> String {
        let check = state.checks.by_code.get(&self.check);
        check.map_or_else(
            || format!("Check {}", self.check),
            |state| format!("Check {} ({})", self.check, state.check.title),
        )
    }
}

fn good_for(state: &CheckState) -> String {
    let validity = &state.check.validity;
    let clock = validity.clock_hours.map(|hours| format!("{hours} h"));
    let days = validity.days.map(|days| format!("{days} days"));
    let powered = validity.powered_hours.map(|hours| format!("{hours} powered hours"));
    listed([clock, days, powered].into_iter().flatten())
}

impl Explained for Check {
    fn rule(&self) -> &'static Rule {
        match self.fault {
            Fault::Unknown => &UNKNOWN,
            Fault::NeverPassed => &NOT_PASSED,
            Fault::Failed => &FAILED,
            Fault::Overdue { .. } => &OVERDUE,
            Fault::HoursUnknown(_) => &HOURS_UNKNOWN,
        }
    }

    fn subject(&self, _: &Rung) -> Subject {
        Subject::new("check", &self.check)
    }

    fn why(&self, rung: &Rung, state: &State) -> String {
        let title = self.title(state);
        let check = state.checks.by_code.get(&self.check);
        match self.fault {
            Fault::Unknown => format!(
                "The plan of {} names the check {}, which is not defined.",
                rung.point.code, self.check
            ),
            Fault::NeverPassed => format!("{title} was never passed."),
            Fault::Failed => check.and_then(CheckState::failure).map_or_else(
                || format!("{title} failed."),
                |failure| {
                    format!("{title} failed at {}: {}", moment(failure.at), said(&failure.findings))
                },
            ),
            Fault::Overdue { age, powered_min, happening, change } => {
                let mut ends = Vec::new();
                if age.is_some() || powered_min.is_some() {
                    let good_for = check.map(good_for).unwrap_or_default();
                    let since = age.map(|age| format!("{} ago", span(age)));
                    let powered = powered_min.map(|minutes| {
                        let powered =
                            TimeDelta::minutes(i64::try_from(minutes).unwrap_or(i64::MAX / 60_000));
                        format!("{} under power ago", span(powered))
                    });
                    let ago = listed(since.into_iter().chain(powered));
                    ends.push(format!("was passed {ago} and is good for {good_for}"));
                }
                let happening = happening.and_then(|seq| {
                    state.checks.happenings.iter().find(|happening| happening.seq == seq)
                });
                ends.extend(happening.map(|happening| {
                    format!("was ended by {} at {}", happening.event, moment(happening.at))
                }));
                let mut changes = state.configuration.changes.iter();
                let change = change.and_then(|seq| changes.find(|change| change.seq == seq));
                ends.extend(change.map(|change| {
                    let item = &change.item;
                    let at = moment(change.at);
                    change.after.as_ref().map_or_else(
                        || format!("was ended by taking {item} off at {at}"),
                        |version| format!("was ended by fitting {item} \"{version}\" at {at}"),
                    )
                }));
                format!("{title} {}.", listed(ends))
            }
            Fault::HoursUnknown(run) => format!(
                "{title} is good for some powered hours, and nobody knows for how long run {run} was under power."
            ),
        }
    }

    fn clears(&self, _: &Rung, state: &State) -> String {
        let check = state.checks.by_code.get(&self.check).map(|state| &state.check);
        let by = check.map_or_else(
            || "somebody who may".to_owned(),
            |check| either(check.by.iter().map(|role| format!("a {}", role.in_words()))),
        );
        let code = &self.check;
        match self.fault {
            Fault::Unknown => format!("The check {code} is defined and passed."),
            Fault::NeverPassed | Fault::Overdue { .. } => {
                format!("{code} is done by {by} and passed.")
            }
            Fault::Failed => {
                format!("The cause is dealt with, and {code} is done again by {by} and passed.")
            }
            Fault::HoursUnknown(run) => format!(
                "Power on and power off of run {run} are noted, or {code} is done by {by} after it and passed."
            ),
        }
    }

    fn source(&self, rung: &Rung, state: &State) -> String {
        match self.fault {
            Fault::Unknown => format!("the plan of {}", rung.point.code),
            Fault::NeverPassed | Fault::Failed | Fault::Overdue { .. } | Fault::HoursUnknown(_) => {
                let check = state.checks.by_code.get(&self.check);
                let source = check.map(|state| state.check.source.as_str());
                format!("check {}: {}", self.check, source.unwrap_or_default())
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use chrono::TimeDelta;

    use crate::nouns::{Phase, Point, Validity};
    use crate::record::{CheckDefined, CheckDone, RunEvent, RunTimes, RunTimesCorrected};
    use crate::story::{Story, check, code, point};

    fn with(validity: Validity) -> Story {
        let mut story = Story::team();
        story.record("engineer", CheckDefined { check: check("C", validity) });
        story
    }

    fn powered(hours: f64) -> Validity {
        Validity { powered_hours: Some(hours), ..Validity::default() }
    }

    fn done(passed: bool) -> CheckDone {
        CheckDone { check: code("C"), passed, findings: "As found.".to_owned() }
    }

    #[test]
    fn a_check_is_never_passed_until_it_is_passed_and_a_failure_holds_until_it_is_passed_again() {
        let mut story = with(Validity::default());
        assert_eq!(story.rules("A"), ["check-not-passed"]);
        story.check("C", false);
        assert_eq!(story.rules("A"), ["check-failed"]);
        story.check("C", true);
        assert!(story.rules("A").is_empty());
        story.check("C", false);
        assert_eq!(story.rules("A"), ["check-failed"]);
    }

    #[test]
    fn a_pass_that_was_done_before_the_failure_does_not_answer_it_when_recorded_late() {
        let mut story = with(Validity::default());
        let early = story.now;
        story.later(TimeDelta::hours(1)).check("C", false);
        story.observed("crew", early, done(true));
        assert_eq!(story.rules("A"), ["check-failed"]);
    }

    #[test]
    fn a_check_is_good_to_the_second_by_the_clock() {
        for validity in [
            Validity { clock_hours: Some(24.0), ..Validity::default() },
            Validity { days: Some(1), ..Validity::default() },
        ] {
            let mut story = with(validity);
            story.check("C", true);
            story.later(TimeDelta::hours(24));
            assert!(story.rules("A").is_empty(), "exactly at the end");
            story.later(TimeDelta::seconds(1));
            assert_eq!(story.rules("A"), ["check-overdue"]);
        }
    }

    #[test]
    fn a_check_says_when_it_becomes_due_by_the_clock_and_is_good_up_to_then() {
        let both = Validity { clock_hours: Some(30.5), days: Some(1), ..Validity::default() };
        let mut story = with(both);
        let due = |story: &Story| story.state.checks.by_code["C"].due_at();
        assert_eq!(due(&story), None, "it was never passed");
        story.check("C", true);
        let end = story.now + TimeDelta::hours(24);
        assert_eq!(due(&story), Some(end), "whichever ends first");
        story.now = end;
        assert!(story.rules("A").is_empty());
        story.later(TimeDelta::seconds(1));
        assert_eq!(story.rules("A"), ["check-overdue"]);
        let mut story = with(powered(0.5));
        story.check("C", true);
        assert_eq!(due(&story), None, "no time ends it");
    }

    #[test]
    fn a_check_is_good_to_the_minute_by_powered_hours() {
        let mut story = with(powered(0.5));
        story.check("C", true);
        story.run_for(&["A"], 30);
        assert!(story.rules("A").is_empty(), "exactly at the end");
        story.run_for(&["A"], 1);
        let hold = story.hold("A", "check-overdue");
        assert_eq!(
            hold.why,
            "Check C (Check C) was passed 31 min under power ago and is good for 0.5 powered hours."
        );
        assert_eq!(hold.source, "check C: the motor's manual");
        story.check("C", true);
        assert!(story.rules("A").is_empty());
    }

    #[test]
    fn minutes_before_the_check_do_not_count_also_when_they_are_corrected_later() {
        let mut story = with(powered(0.5));
        let first = story.run_for(&["A"], 100);
        story.check("C", true);
        let mut times = story.state.runs[0].times.clone();
        times.power_on = times.power_off;
        let reason = "Wrong clock.".to_owned();
        story.record("lead", RunTimesCorrected { run: first, times, reason });
        story.run_for(&["A"], 31);
        assert_eq!(story.rules("A"), ["check-overdue"], "the correction gives nothing back");
    }

    #[test]
    fn a_run_counts_in_full_when_the_check_was_done_during_it_or_recorded_after_it() {
        let mut story = with(powered(0.5));
        let before = story.now;
        story.run_for(&["A"], 31);
        story.observed("crew", before, done(true));
        assert_eq!(story.rules("A"), ["check-overdue"]);
    }

    #[test]
    fn a_run_without_times_makes_the_powered_hours_unknown_until_they_are_noted() {
        let mut story = with(powered(0.5));
        story.check("C", true);
        let run = story.open_run(&["A"]);
        assert_eq!(story.rules("A"), ["check-hours-unknown"]);
        story.moment(run, RunEvent::PowerOn).close_run(run);
        assert_eq!(story.rules("A"), ["check-hours-unknown"]);
        let at = story.now;
        let times = RunTimes { power_on: Some(at), power_off: Some(at), ..RunTimes::default() };
        story.record("lead", RunTimesCorrected { run, times, reason: "Forgotten.".to_owned() });
        assert!(story.rules("A").is_empty());
        // A check by the clock alone asks for no hours.
        let mut by_clock = with(Validity { days: Some(1), ..Validity::default() });
        by_clock.check("C", true).open_run(&["A"]);
        assert!(by_clock.rules("A").is_empty());
    }

    #[test]
    fn a_happening_ends_a_check_also_when_it_is_reported_late() {
        let mut story = with(Validity { until: vec![code("hard-landing")], ..Validity::default() });
        story.happens("hard-landing").check("C", true).happens("other");
        assert!(story.rules("A").is_empty());
        story.happens("hard-landing");
        assert_eq!(story.rules("A"), ["check-overdue"]);
        story.check("C", true);
        assert!(story.rules("A").is_empty());
    }

    #[test]
    fn an_exchange_of_an_item_that_it_names_ends_a_check_and_undoing_it_does_not_give_it_back() {
        let until_changed = vec![code("motor")];
        let mut story = with(Validity { until_changed, ..Validity::default() });
        story.check("C", true);
        let before = story.now;
        story.fit("pack", "2");
        assert!(story.rules("A").is_empty(), "that is another item");
        story.later(TimeDelta::hours(1)).fit("motor", "2");
        let why = story.hold("A", "check-overdue").why;
        assert!(why.starts_with("Check C (Check C) was ended by fitting motor \"2\" at"), "{why}");
        story.fit("motor", "1");
        assert_eq!(story.rules("A"), ["check-overdue"], "nobody has looked since");
        story.observed("crew", before, done(true));
        assert_eq!(story.rules("A"), ["check-overdue"], "it was done before the exchange");
        story.check("C", true);
        assert!(story.rules("A").is_empty());
    }

    #[test]
    fn a_check_holds_points_of_its_phases_and_those_that_name_it() {
        let mut story = with(Validity::default());
        let elsewhere = Point { phase: Phase::Static, limits: Vec::new(), ..point("S") };
        let naming = Point {
            code: code("T"),
            after_checks: vec![code("C"), code("C-none")],
            ..elsewhere.clone()
        };
        story.plan(elsewhere).approve("S").plan(naming).approve("T");
        assert!(story.rules("S").is_empty());
        assert_eq!(story.rules("T"), ["check-not-passed", "check-unknown"]);
    }
}
