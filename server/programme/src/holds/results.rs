//! A point whose last results were not met, or lack something, waits until somebody has approved its plan again
//! knowing them.

use chrono::{DateTime, Utc};

use super::words::listed;
use super::{Explained, Reason, Rule, Subject};
use crate::codes::{PointCode, RunNumber};
use crate::state::{ResultState, Rung, Standing, State};
use crate::verdict::{LimitOutcome, Outcome, Verdict};

static NOT_MET: Rule = Rule::against_release(
    "result-not-met",
    "The point's results since its last met one were looked at: the plan was approved after them.",
);
static INCOMPLETE: Rule = Rule::against_release(
    "result-incomplete",
    "The point's results since its last met one lack nothing, or the plan was approved after them.",
);

pub(super) static RULES: &[&Rule] = &[&NOT_MET, &INCOMPLETE];

/// A result after the last met one that nobody has taken into account yet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BadResult {
    /// The point.
    pub point: PointCode,
    /// The run.
    pub run: RunNumber,
    /// Whether something was measured and not shown; else something is missing.
    pub not_met: bool,
}

pub(super) fn collect(rung: &Rung, state: &State, _: DateTime<Utc>, found: &mut Vec<Reason>) {
    let approved = rung.approval.as_ref().map_or(0, |approval| approval.seq);
    // The latest run that was met, of those recorded after the result that is looked at.
    let mut met_in = None;
    for result in rung.results.iter().rev().map(|id| &state.results[id.0]) {
        if result.standing == Standing::Replaced {
            continue;
        }
        if result.seq < approved {
            return;
        }
        if result.verdict.outcome == Outcome::Met {
            if result.run >= rung.latest_run {
                return;
            }
            met_in = met_in.max(Some(result.run));
            continue;
        }
        // A met result of an earlier run, typed in late, says nothing of a later one.
        if met_in.is_some_and(|met_in| met_in > result.run) {
            continue;
        }
        found.push(Reason::BadResult(BadResult {
            point: rung.point.code.clone(),
            run: result.run,
            not_met: result.verdict.outcome == Outcome::NotMet,
        }));
    }
}

/// Whether the point has a result that is cleared by approving its plan again, though its plan did not change.
pub fn await_approval(state: &State, rung: &Rung) -> bool {
    let mut found = Vec::new();
    collect(rung, state, DateTime::UNIX_EPOCH, &mut found);
    !found.is_empty()
}

impl BadResult {
    fn result<'a>(&self, state: &'a State) -> Option<&'a ResultState> {
        state.result(self.run, &self.point).map(|(_, result)| result)
    }
}

impl Explained for BadResult {
    fn rule(&self) -> &'static Rule {
        if self.not_met { &NOT_MET } else { &INCOMPLETE }
    }

    fn subject(&self, _: &Rung) -> Subject {
        Subject::new("result", format!("{}/{}", self.point, self.run))
    }

    fn why(&self, _: &Rung, state: &State) -> String {
        let (point, run) = (&self.point, self.run);
        let Some(verdict) = self.result(state).map(|result| &result.verdict) else {
            return format!("The result of {point} in run {run} was not met.");
        };
        let missing = told(verdict, Outcome::Missing);
        if !self.not_met {
            return format!("The result of {point} in run {run} lacks {}.", listed(missing));
        }
        let not_met = listed(told(verdict, Outcome::NotMet));
        let besides = if missing.is_empty() {
            String::new()
        } else {
            format!(", and {} missing", listed(missing))
        };
        format!("The result of {point} in run {run} was not met: {not_met}{besides}.")
    }

    fn clears(&self, rung: &Rung, _: &State) -> String {
        let again = format!(
            "somebody other than {} approves the plan again, knowing the result, before the point is repeated",
            rung.planned_by
        );
        if self.not_met {
            format!("The cause is dealt with and {again}.")
        } else {
            format!("The result is recorded anew with what it lacks, or {again}.")
        }
    }

    fn source(&self, _: &Rung, _: &State) -> String {
        if self.not_met {
            "Rungbook rule: what was not met is looked at before it is repeated".to_owned()
        } else {
            "Rungbook rule: a missing reading is never a pass".to_owned()
        }
    }
}

/// What of a result came out so, each with its figures.
fn told(verdict: &Verdict, outcome: Outcome) -> Vec<String> {
    let mut told = Vec::new();
    for found in verdict.criteria.iter().filter(|found| found.outcome == outcome) {
        let criterion = &found.criterion;
        let name = format!("{} {}", criterion.statistic, criterion.parameter);
        told.push(found.measured.map_or_else(
            || name.clone(),
            |figure| {
                let bound = super::words::bound(criterion);
                let measured = crate::measure::Measure::new(figure, criterion.unit);
                format!("{name} was {measured}, must be {bound}")
            },
        ));
    }
    for found in verdict.conditions.iter().filter(|found| found.outcome == outcome) {
        let condition = found.condition;
        let axis = super::words::axis(found.axis);
        told.push(found.reached.map_or_else(
            || format!("{axis} reached"),
            |figure| {
                let reached = crate::measure::Measure::new(figure, condition.unit);
                let (target, tolerance) = (condition.target(), condition.tolerance);
                format!("{axis} reached {reached}, must be {target} ± {tolerance}")
            },
        ));
    }
    if outcome == Outcome::Missing {
        let limits = verdict.limits.iter().filter(|found| found.outcome == LimitOutcome::Missing);
        told.extend(limits.map(|found| format!("{} for limit {}", found.statistic, found.limit)));
        told.extend(verdict.channels_missing.iter().map(|channel| format!("channel {channel}")));
    }
    told
}

#[cfg(test)]
mod tests {
    use crate::measure::Unit;
    use crate::nouns::Statistic;
    use crate::story::{Story, typed};

    #[test]
    fn a_result_one_step_beyond_its_criterion_holds_the_repeat_until_the_plan_is_approved_again() {
        let mut story = Story::team();
        story.show("A", 60.0);
        assert!(story.rules("A").is_empty(), "exactly at the bound is met");
        let run = story.show("A", 60.1);
        let hold = story.hold("A", "result-not-met");
        assert_eq!(
            hold.why,
            format!(
                "The result of A in run {run} was not met: max winding was 60.1 °C, must be at most 60 °C."
            )
        );
        story.approve("A");
        assert!(story.rules("A").is_empty());
    }

    #[test]
    fn a_missing_reading_holds_and_is_named() {
        let mut story = Story::team();
        story.show("A", None);
        let hold = story.hold("A", "result-incomplete");
        assert_eq!(
            hold.why,
            "The result of A in run 1 lacks max winding, max for limit L-winding and channel winding."
        );
    }

    #[test]
    fn a_met_result_recorded_anew_for_the_same_run_clears_what_was_missing() {
        let mut story = Story::team();
        let run = story.show("A", None);
        let again = typed("winding", Statistic::Max, 55.0, Unit::Celsius);
        story.result(run, "A", vec![again], Default::default());
        assert!(story.rules("A").is_empty());
    }

    #[test]
    fn several_bad_results_hold_each_by_itself() {
        let mut story = Story::team();
        story.show("A", None);
        story.show("A", 61.0);
        assert_eq!(story.rules("A"), ["result-not-met", "result-incomplete"]);
    }

    #[test]
    fn a_met_result_of_an_earlier_run_typed_in_late_clears_nothing_of_a_later_run() {
        let mut story = Story::team();
        let first = story.show("A", 50.0);
        story.show("A", 61.0);
        let again = typed("winding", Statistic::Max, 51.0, Unit::Celsius);
        story.result(first, "A", vec![again], Default::default());
        assert_eq!(story.rules("A"), ["result-not-met"]);
        story.accept("A", first);
        assert_eq!(story.rules("A"), ["result-not-met"], "whoever accepts the earlier one");
    }
}
