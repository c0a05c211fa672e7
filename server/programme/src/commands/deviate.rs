//! Deviations from the build-up: the test lead proposes and signs one, the safety officer signs it too, and either ends it.
//!
//! A deviation lifts the holds that steps are too large, for one point as it is planned, and nothing else: no limit, no
//! other hold, and nothing once the plan was changed. Where less is shown than when it was signed it lifts nothing either.

use serde::Deserialize;

use super::given::{Given, not_now, one};
use super::held::{hold, unless_held};
use super::signed::{as_seen, signable};
use super::{Command, Stamp, digests, known};
use crate::codes::{DeviationNumber, PointCode};
use crate::entry::Draft;
use crate::envelope::{self, Step};
use crate::people::Act;
use crate::record::{
    BuildUpDeviationAgreed, BuildUpDeviationEnded, BuildUpDeviationProposed, DeviatingStep, Digest,
};
use crate::refusal::Refusal;
use crate::state::{Deviation, DeviationFate, Rung, State};

/// What the test lead gives to propose a deviation.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DeviationTerms {
    /// For which point.
    pub point: PointCode,
    /// Why a step in between is not flown.
    pub reason: String,
    /// Of the card without configuration, as the test lead saw it.
    pub digest: Digest,
}

/// Asks for a deviation to be proposed.
#[derive(Debug, Clone)]
pub struct ProposeDeviation {
    /// What was given.
    pub terms: DeviationTerms,
}

/// The steps of a point that are too large, as they are signed.
fn too_large(state: &State, rung: &Rung) -> Vec<DeviatingStep> {
    let steps = envelope::steps(&rung.point, state).into_iter();
    let too_large = steps.filter(|step| !step.within && !design_forbids(state, step));
    too_large
        .filter_map(|step| {
            Some(DeviatingStep {
                axis: step.axis,
                direction: step.direction,
                target: step.target,
                shown: step.shown.map(|shown| shown.reached),
                allowed: step.allowed?,
            })
        })
        .collect()
}

/// What the aircraft may never be asked for is nobody's to sign.
fn design_forbids(state: &State, step: &Step) -> bool {
    envelope::is_beyond(state, step.axis, step.target)
}

impl Command for ProposeDeviation {
    fn act(&self) -> Act {
        Act::ProposeDeviation
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let DeviationTerms { point, reason, digest: seen } = &self.terms;
        let rung = known::standing_rung(state, point)?;
        Given::new(state, stamp).text("reason", reason).settled()?;
        as_seen(&signable(digests::plan(state, rung))?, seen, "the plan")?;
        let steps = too_large(state, rung);
        if steps.is_empty() {
            return Err(not_now(
                "no-step-to-deviate-from",
                format!(
                    "no step of {point} is larger than the build-up allows, as far as it can be signed for"
                ),
                "Read what holds the point: a deviation lifts only a hold that a step is too large.",
            ));
        }
        let open = state.deviations.iter().find(|it| {
            it.point == *point && it.fate == DeviationFate::Open && state.deviation_is_for_plan(it)
        });
        if let Some(open) = open {
            return Err(not_now(
                "deviation-open",
                format!("deviation {} for {point} waits for the safety officer", open.number),
                "The safety officer agrees to it, or it is ended; then propose anew.",
            ));
        }
        let made = u32::try_from(state.deviations.len()).unwrap_or(u32::MAX);
        let deviation = DeviationNumber(made.saturating_add(1));
        let digest = signable(digests::deviation(state, rung, deviation, &steps, reason))?;
        let (point, reason) = (point.clone(), reason.clone());
        Ok(one(BuildUpDeviationProposed { deviation, point, steps, reason, digest }))
    }
}

/// What the safety officer gives to agree to a deviation.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DeviationAgreementTerms {
    /// Of the deviation, as the safety officer saw it.
    pub digest: Digest,
}

/// Asks for a deviation to count.
#[derive(Debug, Clone)]
pub struct AgreeDeviation {
    /// Which.
    pub deviation: DeviationNumber,
    /// What was given.
    pub terms: DeviationAgreementTerms,
}

fn is_void(deviation: &Deviation) -> Refusal {
    not_now(
        "deviation-void",
        format!(
            "the plan of {}, its limits or its hazards were changed since deviation {} was proposed, or less is shown now",
            deviation.point, deviation.number
        ),
        "The test lead proposes anew for the plan as it is now.",
    )
}

impl Command for AgreeDeviation {
    fn act(&self) -> Act {
        Act::AgreeDeviation
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let number = self.deviation;
        let deviation = known::unended_deviation(state, number)?;
        if let DeviationFate::Agreed { by, .. } = &deviation.fate {
            return Err(not_now(
                "deviation-settled",
                format!("{by} has agreed to deviation {number} already"),
                "Nothing needs to be done.",
            ));
        }
        as_seen(&deviation.digest, &self.terms.digest, "the deviation")?;
        let rung = known::standing_rung(state, &deviation.point)?;
        let (steps, reason) = (&deviation.steps, &deviation.reason);
        let digest = signable(digests::deviation(state, rung, number, steps, reason))?;
        let now = envelope::steps(&rung.point, state);
        let no_larger = now.iter().filter(|step| !step.within).all(|step| {
            deviation.covers(step) || !steps.iter().any(|signed| signed.axis == step.axis)
        });
        if digest != deviation.digest || !state.deviation_is_for_plan(deviation) || !no_larger {
            return Err(is_void(deviation));
        }
        if deviation.by == stamp.by {
            unless_held(vec![hold(
                "one-person-two-parts",
                ("person", &stamp.by),
                format!("{} has proposed deviation {number} and so cannot agree to it.", stamp.by),
                "A safety officer who is another person agrees to it.",
                "Rungbook rule: a deviation from the build-up takes two people",
            )])?;
        }
        Ok(one(BuildUpDeviationAgreed { deviation: number, digest }))
    }
}

/// What a person gives to decline a deviation, or to take it back.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DeviationEndingTerms {
    /// Why.
    pub reason: String,
}

/// Asks for a deviation to be ended, whether it was agreed to or not. That only ever adds holds.
#[derive(Debug, Clone)]
pub struct EndDeviation {
    /// Which.
    pub deviation: DeviationNumber,
    /// What was given.
    pub terms: DeviationEndingTerms,
}

impl Command for EndDeviation {
    fn act(&self) -> Act {
        Act::EndDeviation
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let (deviation, reason) = (self.deviation, &self.terms.reason);
        known::unended_deviation(state, deviation)?;
        Given::new(state, stamp).text("reason", reason).settled()?;
        Ok(one(BuildUpDeviationEnded { deviation, reason: reason.clone() }))
    }
}

#[cfg(test)]
mod tests;
