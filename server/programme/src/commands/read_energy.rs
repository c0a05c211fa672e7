//! Reads charge and energy counter before or after a run.

use chrono::{DateTime, Utc};
use serde::Deserialize;

use super::given::{Given, not_now, one_seen};
use super::{Command, Stamp, known};
use crate::codes::RunNumber;
use crate::entry::Draft;
use crate::people::Act;
use crate::record::{ReadingMoment, RunEnergyRead};
use crate::refusal::Refusal;
use crate::state::{Run, State};

/// What a person read off the pack.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct EnergyTerms {
    /// Before or after the run.
    pub moment: ReadingMoment,
    /// Charge state, per cent, 0 to 100.
    pub charge_percent: f64,
    /// Energy counter, kilowatt-hours taken out of the pack in its life.
    #[serde(default)]
    pub energy_counter_kwh: Option<f64>,
    /// When it was read; absent: now.
    #[serde(default)]
    pub observed_at: Option<DateTime<Utc>>,
}

/// Asks for a reading to be recorded.
#[derive(Debug, Clone)]
pub struct ReadEnergy {
    /// Of which run.
    pub run: RunNumber,
    /// What was given.
    pub terms: EnergyTerms,
}

impl Command for ReadEnergy {
    fn act(&self) -> Act {
        Act::ConductRuns
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let EnergyTerms { moment, charge_percent, energy_counter_kwh, observed_at } = self.terms;
        let run = known::run(state, self.run)?;
        let mut given = Given::new(state, stamp).observed(observed_at).must(
            (0.0..=100.0).contains(&charge_percent),
            "charge_percent",
            format!("must be from 0 to 100 %, and {charge_percent} was given"),
        );
        if let Some(counter) = energy_counter_kwh {
            given.judging.not_negative("energy_counter_kwh", counter);
            given = given.faults(runs_backwards(run, moment, counter));
        }
        given.settled()?;
        let known = match moment {
            ReadingMoment::Before => &run.before,
            ReadingMoment::After => &run.after,
        };
        if run.closed.is_some() && known.is_some() {
            return Err(not_now(
                "run-closed",
                format!("run {} is closed, and this reading was taken", self.run),
                "What was read wrong is said in a snag or in the debrief of the next run.",
            ));
        }
        let run = self.run;
        Ok(one_seen(observed_at, RunEnergyRead { run, moment, charge_percent, energy_counter_kwh }))
    }
}

/// The counter only rises, so that the one after a run is not below the one before it.
fn runs_backwards(run: &Run, moment: ReadingMoment, counter: f64) -> Vec<crate::refusal::Fault> {
    let other = match moment {
        ReadingMoment::Before => &run.after,
        ReadingMoment::After => &run.before,
    };
    let Some(other) = other.as_ref().and_then(|reading| reading.energy_counter_kwh) else {
        return Vec::new();
    };
    let (before, after) = match moment {
        ReadingMoment::Before => (counter, other),
        ReadingMoment::After => (other, counter),
    };
    if after >= before {
        return Vec::new();
    }
    let why = format!(
        "the counter only rises, and {after} kWh after the run is below {before} kWh before it"
    );
    vec![crate::refusal::Fault::at("energy_counter_kwh", why)]
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, unknown};
    use crate::story::Story;

    fn reading(run: RunNumber, moment: ReadingMoment, charge: f64, counter: f64) -> ReadEnergy {
        let terms = EnergyTerms {
            moment,
            charge_percent: charge,
            energy_counter_kwh: Some(counter),
            observed_at: None,
        };
        ReadEnergy { run, terms }
    }

    fn opened() -> (Story, RunNumber) {
        let mut story = Story::team();
        let run = story.open_run(&["A"]);
        (story, run)
    }

    #[test]
    fn the_energy_of_a_run_is_the_difference_of_its_readings() {
        let (mut story, run) = opened();
        story.when("crew", &reading(run, ReadingMoment::Before, 100.0, 10.5)).unwrap();
        story.when("crew", &reading(run, ReadingMoment::After, 0.0, 12.0)).unwrap();
        assert_eq!(story.state.run(run).unwrap().energy_kwh(), Some(1.5));
    }

    #[test]
    fn an_impossible_reading_is_refused() {
        let (mut story, run) = opened();
        let mut places = |charge, counter| {
            faults(story.when("crew", &reading(run, ReadingMoment::Before, charge, counter)))
        };
        assert_eq!(places(100.1, -0.1), ["charge_percent", "energy_counter_kwh"]);
        assert_eq!(places(f64::NAN, f64::INFINITY), ["charge_percent", "energy_counter_kwh"]);
        story.when("crew", &reading(run, ReadingMoment::Before, 90.0, 10.0)).unwrap();
        let backwards = reading(run, ReadingMoment::After, 80.0, 9.9);
        assert_eq!(faults(story.when("crew", &backwards)), ["energy_counter_kwh"]);
    }

    #[test]
    fn what_was_not_read_can_be_read_after_the_run_was_closed_and_nothing_else() {
        let (mut story, run) = opened();
        story.close_run(run);
        let command = reading(run, ReadingMoment::After, 80.0, 12.0);
        story.when("crew", &command).unwrap();
        assert_eq!(not_now(story.when("crew", &command)), "run-closed");
    }

    #[test]
    fn readings_are_of_runs_that_exist_and_by_those_who_conduct_them() {
        let (mut story, run) = opened();
        let command = reading(run, ReadingMoment::Before, 80.0, 12.0);
        no_permission(&mut story, &command, &["safety", "viewer"]);
        let command = reading(RunNumber(8), ReadingMoment::Before, 80.0, 12.0);
        assert_eq!(unknown(story.when("crew", &command)), "run");
    }
}
