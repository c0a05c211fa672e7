//! Notes an exceedance that a person saw, besides those that results show.

use chrono::{DateTime, Utc};
use serde::Deserialize;

use super::given::{Given, one_seen, unknown};
use super::record_result::next_exceedance;
use super::{Command, Stamp, known};
use crate::codes::{LimitCode, RunNumber};
use crate::entry::Draft;
use crate::nouns::Statistic;
use crate::people::Act;
use crate::record::ExceedanceNoted;
use crate::refusal::Refusal;
use crate::state::{LimitState, State};
use crate::verdict;

/// What a person gives to note an exceedance.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ExceedanceTerms {
    /// In which run.
    pub run: RunNumber,
    /// Of which limit.
    pub limit: LimitCode,
    /// Which statistic went beyond; it must be one that the limit is held against.
    pub statistic: Statistic,
    /// Its peak, in the limit's unit; of `time-above` in seconds, of `rate` in the unit a second.
    pub peak: f64,
    /// How long, in seconds.
    #[serde(default)]
    pub duration_s: Option<f64>,
    /// When it was seen; absent: now.
    #[serde(default)]
    pub observed_at: Option<DateTime<Utc>>,
}

/// Asks for an exceedance to be noted.
#[derive(Debug, Clone)]
pub struct NoteExceedance {
    /// What was given.
    pub terms: ExceedanceTerms,
}

impl Command for NoteExceedance {
    fn act(&self) -> Act {
        Act::NoteExceedances
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let ExceedanceTerms { run, ref limit, statistic, peak, duration_s, observed_at } =
            self.terms;
        known::run(state, run)?;
        let known = state.limits.by_code.get(limit).ok_or_else(|| unknown("limit", limit))?;
        let mut given = Given::new(state, stamp).observed(observed_at);
        if let Some(duration) = duration_s {
            given.judging.not_negative("duration_s", duration);
        }
        let peak_is_number = given.judging.finite("peak", peak);
        given
            .must(
                !peak_is_number || ever_beyond(known, statistic, peak),
                "peak",
                format!("{peak} as {statistic} does not lie beyond limit {limit}"),
            )
            .settled()?;
        let exceedance = next_exceedance(state);
        let limit = limit.clone();
        let noted =
            ExceedanceNoted { exceedance, run, limit, point: None, statistic, peak, duration_s };
        Ok(one_seen(observed_at, noted))
    }
}

/// Whether a figure lies beyond the limit as it is, or as it was when the run may have been.
fn ever_beyond(known: &LimitState, statistic: Statistic, figure: f64) -> bool {
    known
        .earlier
        .iter()
        .map(|earlier| &earlier.limit)
        .chain([&known.limit])
        .any(|limit| verdict::lies_beyond(limit, statistic, figure))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, unknown};
    use crate::story::{Story, code};

    fn exceedance(run: RunNumber, peak: f64) -> NoteExceedance {
        let terms = ExceedanceTerms {
            run,
            limit: code("L-winding"),
            statistic: Statistic::Max,
            peak,
            duration_s: Some(2.0),
            observed_at: None,
        };
        NoteExceedance { terms }
    }

    fn run() -> (Story, RunNumber) {
        let mut story = Story::team();
        let run = story.run_for(&["A"], 10);
        (story, run)
    }

    #[test]
    fn anyone_who_takes_part_notes_an_exceedance_also_during_a_stand_down() {
        let (mut story, run) = run();
        story.stand_down();
        for person in ["crew", "pilot", "safety", "engineer", "lead"] {
            story.when(person, &exceedance(run, 80.5)).unwrap();
        }
        let numbers: Vec<_> = story.state.exceedances.iter().map(|it| it.number.0).collect();
        assert_eq!(numbers, [1, 2, 3, 4, 5]);
        no_permission(&mut story, &exceedance(run, 80.5), &["viewer"]);
    }

    #[test]
    fn a_figure_that_is_not_beyond_the_limit_is_no_exceedance() {
        let (mut story, run) = run();
        assert_eq!(faults(story.when("crew", &exceedance(run, 80.0))), ["peak"]);
        assert_eq!(faults(story.when("crew", &exceedance(run, f64::NAN))), ["peak"]);
        let mut command = exceedance(run, 85.0);
        command.terms.statistic = Statistic::Min;
        command.terms.duration_s = Some(-1.0);
        assert_eq!(faults(story.when("crew", &command)), ["duration_s", "peak"]);
    }

    #[test]
    fn an_exceedance_is_of_a_run_and_a_limit_that_exist() {
        let (mut story, run) = run();
        assert_eq!(unknown(story.when("crew", &exceedance(RunNumber(4), 85.0))), "run");
        let mut command = exceedance(run, 85.0);
        command.terms.limit = code("L-other");
        assert_eq!(unknown(story.when("crew", &command)), "limit");
    }
}
