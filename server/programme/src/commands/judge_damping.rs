//! Judges the damping before a step in speed: a person looks at all that was measured, and lets the step go on or stops it.

use serde::Deserialize;

use super::given::{Given, not_now, one};
use super::{Command, Stamp, known};
use crate::codes::{PointCode, ReductionNumber};
use crate::entry::Draft;
use crate::people::Act;
use crate::prediction::{is_damping_step, judged_over};
use crate::record::DampingStepJudged;
use crate::refusal::Refusal;
use crate::state::State;

/// What a person gives to judge the damping before a step.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DampingTerms {
    /// Whether the step may be taken, as far as damping goes.
    pub go_on: bool,
    /// Every measurement of damping that was looked at, as the person saw them.
    pub reductions: Vec<ReductionNumber>,
    /// Why.
    pub reasons: String,
}

/// Asks for a judgement to be recorded.
#[derive(Debug, Clone)]
pub struct JudgeDamping {
    /// The point that is the step.
    pub point: PointCode,
    /// What was given.
    pub terms: DampingTerms,
}

impl Command for JudgeDamping {
    fn act(&self) -> Act {
        Act::JudgeDamping
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let DampingTerms { go_on, reductions, reasons } = self.terms.clone();
        let rung = known::standing_rung(state, &self.point)?;
        Given::new(state, stamp).text("reasons", &reasons).settled()?;
        if !is_damping_step(state, &rung.point) {
            return Err(not_now(
                "no-damping-step",
                format!("{} is no step in speed that the damping is judged for", self.point),
                "Judge a point that is flown beyond the speed shown, from the speed on that the policy names.",
            ));
        }
        if reductions != judged_over(state) {
            return Err(not_now(
                "damping-changed",
                "other measurements of damping are known now than those that you looked at",
                "Read the measurements again, and judge all of them.",
            ));
        }
        if go_on && reductions.is_empty() {
            return Err(not_now(
                "no-damping-measured",
                format!("no damping was measured that would let {} go on", self.point),
                "Measure damping at the speeds that were shown, and reduce the recordings.",
            ));
        }
        Ok(one(DampingStepJudged { point: self.point.clone(), go_on, reductions, reasons }))
    }
}
