//! A value beyond a limit holds every point on which the limit is in force, or was since its run was opened, and the
//! point that showed it, until an engineer has explained it and the safety officer has closed it.

use chrono::{DateTime, Utc};

use super::{Explained, Reason, Rule, Subject};
use crate::codes::{ExceedanceNumber, LimitCode, RunNumber};
use crate::measure::{Measure, Unit};
use crate::nouns::Statistic;
use crate::state::{Exceedance, Rung, State};

static NOT_EXPLAINED: Rule = Rule::against_release(
    "exceedance-not-explained",
    "Every exceedance of a limit in force for the point is explained by an engineer.",
);
static NOT_CLOSED: Rule = Rule::against_release(
    "exceedance-not-closed",
    "Every explained exceedance of a limit in force for the point is closed by the safety officer.",
);
static NOT_NOTED: Rule = Rule::against_release(
    "exceedance-not-noted",
    "Every result beyond a limit in force for the point has its exceedance noted, so that it can be explained.",
);

pub(super) static RULES: &[&Rule] = &[&NOT_EXPLAINED, &NOT_CLOSED, &NOT_NOTED];

/// An exceedance that is not done with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenExceedance {
    /// Of which limit.
    pub limit: LimitCode,
    /// In which run.
    pub run: RunNumber,
    /// What is still to be done.
    pub awaits: Awaits,
}

/// What is still to be done about an exceedance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Awaits {
    /// A result shows it, and nobody has noted it.
    Noting,
    /// An engineer's explanation.
    Explanation(ExceedanceNumber),
    /// The safety officer's closing.
    Closing(ExceedanceNumber),
}

pub(super) fn collect(rung: &Rung, state: &State, _: DateTime<Utc>, found: &mut Vec<Reason>) {
    let mut against = |limit: &LimitCode, run, awaits| {
        let limit = limit.clone();
        found.push(Reason::OpenExceedance(OpenExceedance { limit, run, awaits }));
    };
    for exceedance in state.open_exceedances() {
        if exceedance.point.as_ref() == Some(&rung.point.code)
            || state.exceedance_concerns(&exceedance.limit, exceedance.run, &rung.point)
        {
            let awaits = if exceedance.explained.is_some() {
                Awaits::Closing(exceedance.number)
            } else {
                Awaits::Explanation(exceedance.number)
            };
            against(&exceedance.limit, exceedance.run, awaits);
        }
    }
    for (run, limit) in state.unnoted_exceedances() {
        if state.exceedance_concerns(limit, *run, &rung.point) {
            against(limit, *run, Awaits::Noting);
        }
    }
}

/// What a recording tells of an exceedance besides its peak.
fn found(exceedance: &Exceedance) -> String {
    let Some(found) = &exceedance.found else { return String::new() };
    let seconds = |seconds: f64| Measure::new(seconds, Unit::Second);
    let began = found.started_at.format("%Y-%m-%d %H:%M:%S UTC");
    let lasted = exceedance.duration_s.map_or_else(String::new, |duration| {
        format!(" for {} where {} are allowed", seconds(duration), seconds(found.dwell_s))
    });
    let odd = found
        .odd_one_out
        .as_ref()
        .map_or_else(String::new, |odd| format!(", {odd} apart from the other sensors"));
    format!(", from {began}{lasted}{odd}")
}

impl Explained for OpenExceedance {
    fn rule(&self) -> &'static Rule {
        match self.awaits {
            Awaits::Noting => &NOT_NOTED,
            Awaits::Explanation(_) => &NOT_EXPLAINED,
            Awaits::Closing(_) => &NOT_CLOSED,
        }
    }

    fn subject(&self, _: &Rung) -> Subject {
        match self.awaits {
            Awaits::Noting => Subject::new("exceedance", format!("{}/{}", self.limit, self.run)),
            Awaits::Explanation(number) | Awaits::Closing(number) => {
                Subject::new("exceedance", number)
            }
        }
    }

    fn why(&self, _: &Rung, state: &State) -> String {
        let limit = state.limits.by_code.get(&self.limit).map(|state| &state.limit);
        let title = limit.map_or_else(String::new, |limit| format!(" ({})", limit.title));
        let (run, code) = (self.run, &self.limit);
        let number = match self.awaits {
            Awaits::Noting => {
                return format!(
                    "A result of run {run} lies beyond limit {code}{title}, and no exceedance was noted."
                );
            }
            Awaits::Explanation(number) | Awaits::Closing(number) => number,
        };
        let peak = state.exceedance(number).map_or_else(String::new, |exceedance| {
            let unit = limit.map_or(Unit::One, |limit| limit.unit);
            match exceedance.statistic {
                Statistic::TimeAbove => {
                    format!(", {}", Measure::new(exceedance.peak, Unit::Second))
                }
                Statistic::Rate => {
                    format!(", peak {} in a second", Measure::new(exceedance.peak, unit))
                }
                Statistic::Max
                | Statistic::Min
                | Statistic::Mean
                | Statistic::First
                | Statistic::Last
                | Statistic::Spread
                | Statistic::Value => format!(", peak {}", Measure::new(exceedance.peak, unit)),
            }
        });
        let found = state.exceedance(number).map_or_else(String::new, found);
        let still = match self.awaits {
            Awaits::Closing(_) => "was explained and is not closed",
            Awaits::Explanation(_) | Awaits::Noting => "is not explained",
        };
        format!("Exceedance {number} of limit {code}{title} in run {run}{peak}{found}, {still}.")
    }

    fn clears(&self, _: &Rung, _: &State) -> String {
        match self.awaits {
            Awaits::Noting => "The exceedance is noted, explained by an engineer, and closed by the safety officer.",
            Awaits::Explanation(_) => "An engineer explains it, and the safety officer closes it.",
            Awaits::Closing(_) => "The safety officer closes it.",
        }
        .to_owned()
    }

    fn source(&self, _: &Rung, state: &State) -> String {
        let limit = state.limits.by_code.get(&self.limit);
        limit.map_or_else(
            || "Rungbook rule: unknown is not safe".to_owned(),
            |state| format!("limit {}: {}", self.limit, state.limit.source),
        )
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use crate::codes::ExceedanceNumber;
    use crate::nouns::{Limit, Phase, Point};
    use crate::record::{ExceedanceClosed, ExceedanceExplained, LimitSet};
    use crate::story::{Story, any_digest, code, limit, point};

    #[test]
    fn an_exceedance_holds_where_its_limit_is_in_force_until_explained_and_closed() {
        let mut story = Story::team();
        // Neither names the limit; one is of a phase in which it does not hold.
        story.plan(Point { limits: Vec::new(), ..point("B") });
        story.plan(Point { limits: Vec::new(), phase: Phase::Static, ..point("C") });
        story.plan(Point { phase: Phase::Static, ..point("D") });
        let run = story.run_for(&["A"], 10);
        story.exceedance(run, "L-winding");
        for (name, held) in [("A", true), ("B", true), ("C", false), ("D", true)] {
            let rules = story.rules(name);
            assert_eq!(rules.contains(&"exceedance-not-explained"), held, "{name}");
        }
        let exceedance = ExceedanceNumber(1);
        story.record(
            "engineer",
            ExceedanceExplained {
                exceedance,
                explanation: "A blocked inlet.".to_owned(),
                action: "Cleared.".to_owned(),
            },
        );
        let hold = story.hold("A", "exceedance-not-closed");
        assert_eq!(
            hold.why,
            "Exceedance 1 of limit L-winding (Winding temperature) in run 1, peak 85 °C, was explained and is not \
             closed."
        );
        assert_eq!(hold.source, "limit L-winding: the motor's data sheet");
        story.record("safety", ExceedanceClosed { exceedance, digest: any_digest() });
        assert!(story.rules("A").is_empty());
    }

    #[test]
    fn an_exceedance_that_a_recording_showed_holds_as_one_that_a_person_noted_and_says_more() {
        let mut story = Story::team();
        let (recording, run) = story.show_recorded("A");
        assert!(story.rules("A").is_empty());
        story.found(&recording, run, "L-winding");
        let hold = story.hold("A", "exceedance-not-explained");
        let began = story.state.exceedances[0].found.as_ref().unwrap().started_at;
        assert_eq!(
            hold.why,
            format!(
                "Exceedance 1 of limit L-winding (Winding temperature) in run 1, peak 85 °C, from {} for 30 s where 0 s \
                 are allowed, is not explained.",
                began.format("%Y-%m-%d %H:%M:%S UTC")
            )
        );
        assert!(story.state.accepted_result(&code("A")).is_none(), "the acceptances are void");
        story.set_aside(&recording);
        assert!(story.rules("A").contains(&"exceedance-not-explained"), "and it stays");
        story.explained_and_closed(1);
        assert!(!story.rules("A").contains(&"exceedance-not-explained"));
    }

    #[test]
    fn a_result_beyond_a_limit_holds_until_its_exceedance_is_noted() {
        let mut story = Story::team();
        story.show("A", 80.0);
        assert!(!story.rules("A").contains(&"exceedance-not-noted"), "exactly at the limit");
        let run = story.show("A", 80.1);
        assert_eq!(story.hold("A", "exceedance-not-noted").subject.code, "L-winding/2");
        story.exceedance(run, "L-winding");
        assert!(!story.rules("A").contains(&"exceedance-not-noted"));
        assert!(story.rules("A").contains(&"exceedance-not-explained"));
    }

    #[test]
    fn an_open_exceedance_holds_a_phase_that_its_limit_has_left_since() {
        let mut story = Story::team();
        let limit_in =
            |phase| LimitSet { limit: Limit { phases: vec![phase], ..limit("L-winding") } };
        story.plan(Point { limits: Vec::new(), ..point("B") });
        story.plan(Point { limits: Vec::new(), phase: Phase::Static, ..point("S") });
        // The limit was of static tests once, before anything was beyond it.
        story.record("engineer", limit_in(Phase::Static));
        story.record("engineer", limit_in(Phase::GroundRun));
        let run = story.run_for(&["A"], 10);
        story.exceedance(run, "L-winding");
        story.record("engineer", limit_in(Phase::Taxi));
        assert!(story.rules("B").contains(&"exceedance-not-explained"));
        assert!(!story.rules("S").contains(&"exceedance-not-explained"));
    }
}
