//! Predictions that the policy demands and that cannot be made: unknown is a hold, never a pass.

use chrono::{DateTime, Utc};

use super::predicted_limit::policy_source;
use super::{Explained, Reason, Rule, Subject};
use crate::nouns::{Axis, Phase, PredictionKind};
use crate::prediction::{Unpredicted, is_damping_step, predictions, rules};
use crate::record::{Predicted, RunKind};
use crate::state::{Rung, State};

static MISSING: Rule = Rule::against_release(
    "prediction-unavailable",
    "Every prediction that the policy demands for the phase can be made.",
);

pub(super) static RULES: &[&Rule] = &[&MISSING];

/// A demanded prediction that cannot be made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PredictionMissing {
    /// Which kind.
    pub kind: PredictionKind,
    /// What cannot be predicted, and why; absent: nothing was ever seen that it could be of.
    pub what: Option<Unpredicted>,
}

pub(super) fn collect(rung: &Rung, state: &State, now: DateTime<Utc>, found: &mut Vec<Reason>) {
    let Some(rules) = rules(state) else { return };
    if rules.demanded.is_empty() {
        return;
    }
    let predictions = predictions(state, &rung.point, now);
    for kind in PredictionKind::ALL {
        if !rules.demands(kind, rung.point.phase) || !concerns(kind, rung, state) {
            continue;
        }
        let mut lacking = predictions.unavailable.iter().filter(|it| it.what.kind() == kind);
        let mut missing: Vec<Option<Unpredicted>> = lacking.by_ref().cloned().map(Some).collect();
        let made = predictions.made.iter().any(|it| it.what.kind() == kind);
        if missing.is_empty() && !made {
            missing.push(None);
        }
        found.extend(
            missing
                .into_iter()
                .map(|what| Reason::PredictionMissing(PredictionMissing { kind, what })),
        );
    }
}

/// Whether a point can have a prediction of a kind: one that plans no power heats nothing, one that does not leave the
/// ground lands nothing, and damping is asked of steps in speed.
fn concerns(kind: PredictionKind, rung: &Rung, state: &State) -> bool {
    let point = &rung.point;
    let flown = RunKind::of_phase(point.phase) == RunKind::Flight;
    match kind {
        PredictionKind::Temperature => {
            point.phase >= Phase::GroundRun && point.conditions.contains_key(&Axis::Power)
        }
        PredictionKind::Energy => point.energy_kwh > 0.0 || flown,
        PredictionKind::LandingEnergy => flown,
        PredictionKind::Damping => is_damping_step(state, point),
    }
}

impl Explained for PredictionMissing {
    fn rule(&self) -> &'static Rule {
        &MISSING
    }

    fn subject(&self, _: &Rung) -> Subject {
        match self.what.as_ref().map(|it| &it.what) {
            Some(Predicted::Temperature { limit }) => Subject::new("limit", limit),
            Some(Predicted::Damping { channel }) => Subject::new("channel", channel),
            Some(Predicted::Energy {} | Predicted::LandingEnergy {}) | None => {
                Subject::new("prediction", self.kind.in_words())
            }
        }
    }

    fn why(&self, rung: &Rung, _: &State) -> String {
        let code = &rung.point.code;
        match &self.what {
            Some(Unpredicted { what, why }) => {
                format!("The {what} of {code} cannot be predicted, because {}.", why.in_words())
            }
            None => format!(
                "No {} of {code} can be predicted: nothing of the kind was recorded yet.",
                self.kind.in_words()
            ),
        }
    }

    fn clears(&self, _: &Rung, _: &State) -> String {
        match self.kind {
            PredictionKind::Temperature | PredictionKind::Damping => {
                "An engineer reduces the recording of an earlier run that shows it, or an earlier step is recorded.".to_owned()
            }
            PredictionKind::Energy | PredictionKind::LandingEnergy => {
                "Energy is read before and after an earlier run, and the plan and the policy state what is missing.".to_owned()
            }
        }
    }

    fn source(&self, _: &Rung, state: &State) -> String {
        policy_source(state)
    }
}
