//! Proposes a plan for a day. It releases nothing: the safety officer's releases are as they are without it.

use std::collections::BTreeMap;

use super::given::{not_now, one, unknown};
use super::{Command, Stamp};
use crate::codes::{DayPlanNumber, PointCode};
use crate::day_plan::{CannotPlan, DayPlan, DayProblem, DayTerms};
use crate::entry::Draft;
use crate::people::Act;
use crate::record::DayPlanProposed;
use crate::refusal::Refusal;
use crate::state::State;

/// How often each point lay on the longest way to the end in the last forecast; empty: there is none.
pub fn critical_of(state: &State) -> BTreeMap<PointCode, f64> {
    let last = state.planning.forecasts.last();
    let points = last.into_iter().flat_map(|last| &last.told.points);
    points.map(|point| (point.code.clone(), point.critical)).collect()
}

impl From<CannotPlan> for Refusal {
    fn from(error: CannotPlan) -> Self {
        match error {
            CannotPlan::Faulty { faults } => Refusal::Invalid { faults },
            CannotPlan::Stopped => not_now(
                "stopped",
                "the planning of the day was stopped before it was finished",
                "Ask again.",
            ),
        }
    }
}

/// Asks for the plan of a day to be recorded.
#[derive(Debug, Clone)]
pub struct ProposeDayPlan {
    /// The plan of the same day whose place it takes.
    pub replaces: Option<DayPlanNumber>,
    /// What was given for the day.
    pub terms: DayTerms,
    /// What the plan was made from.
    pub problem: DayProblem,
    /// The plan.
    pub day: DayPlan,
}

impl Command for ProposeDayPlan {
    fn act(&self) -> Act {
        Act::PlanDays
    }

    fn decide(&self, state: &State, _: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let Self { replaces, terms, problem, day } = self;
        if let Some(number) = replaces {
            state.planning.day(*number).ok_or_else(|| unknown("plan of a day", number))?;
        }
        if DayProblem::of(state, terms, &critical_of(state))? != *problem {
            return Err(not_now(
                "programme-changed",
                "the programme changed while the day was planned",
                "Ask for the plan again.",
            ));
        }
        let made = u32::try_from(state.planning.days.len()).unwrap_or(u32::MAX);
        Ok(one(DayPlanProposed {
            plan: DayPlanNumber(made.saturating_add(1)),
            replaces: *replaces,
            forecast: state.planning.forecasts.last().map(|last| last.number),
            terms: terms.clone(),
            day: day.clone(),
        }))
    }
}
