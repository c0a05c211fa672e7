//! Steps in speed that a person judges the damping for first. A trend opens none of them, whatever it says.
//!
//! A judgement is for one point as it is planned, for the aircraft as it is, and for the damping that was known: what is
//! worked out or set aside later asks for another one.

use chrono::{DateTime, Utc};

use super::predicted_limit::policy_source;
use super::words::said;
use super::{Explained, Reason, Rule, Subject};
use crate::codes::PersonHandle;
use crate::prediction::{CAUTION, is_damping_step, judged_over};
use crate::state::{Rung, State};

static JUDGED: Rule = Rule::against_release(
    "damping-step-not-judged",
    "Before a step in speed where damping matters a person has judged all damping that was measured, and lets it go on.",
);

pub(super) static RULES: &[&Rule] = &[&JUDGED];

/// Why the damping does not let a step be taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum DampingStep {
    /// Nobody has judged it for this plan and this aircraft.
    NotJudged,
    /// Other damping is known now than when it was judged.
    Outdated {
        /// Who judged it.
        by: PersonHandle,
    },
    /// Somebody judged that it may not be taken.
    Stopped {
        /// Who.
        by: PersonHandle,
        /// Why.
        reasons: String,
    },
}

pub(super) fn collect(rung: &Rung, state: &State, _: DateTime<Utc>, found: &mut Vec<Reason>) {
    if !is_damping_step(state, &rung.point) {
        return;
    }
    let reason = match state.damping_judgement(rung) {
        None => DampingStep::NotJudged,
        Some(judged) if !judged.go_on => {
            DampingStep::Stopped { by: judged.by.clone(), reasons: judged.reasons.clone() }
        }
        Some(judged) if judged.reductions != judged_over(state) => {
            DampingStep::Outdated { by: judged.by.clone() }
        }
        Some(_) => return,
    };
    found.push(Reason::DampingStep(reason));
}

impl Explained for DampingStep {
    fn rule(&self) -> &'static Rule {
        &JUDGED
    }

    fn subject(&self, rung: &Rung) -> Subject {
        Subject::new("point", &rung.point.code)
    }

    fn why(&self, rung: &Rung, state: &State) -> String {
        let code = &rung.point.code;
        let measured = judged_over(state).len();
        let why = match self {
            DampingStep::NotJudged => {
                format!(
                    "Nobody has judged whether the {measured} measurements of damping let {code} go on."
                )
            }
            DampingStep::Outdated { by } => format!(
                "{by} judged the damping for {code} when other measurements were known; now there are {measured}."
            ),
            DampingStep::Stopped { by, reasons } => {
                format!("{by} judged that damping does not let {code} go on: {}", said(reasons))
            }
        };
        format!("{why} {CAUTION}")
    }

    fn clears(&self, rung: &Rung, _: &State) -> String {
        format!(
            "An engineer looks at every measurement of damping and records the judgement for {}.",
            rung.point.code
        )
    }

    fn source(&self, _: &Rung, state: &State) -> String {
        policy_source(state)
    }
}
