//! Deviations from the build-up.

use chrono::{DateTime, Utc};

use super::{Rung, State};
use crate::codes::{DeviationNumber, PersonHandle, PointCode};
use crate::entry::Entry;
use crate::envelope::Step;
use crate::holds::edge::is_at_most;
use crate::record::{
    BuildUpDeviationAgreed, BuildUpDeviationEnded, BuildUpDeviationProposed, DeviatingStep, Digest,
};

/// What became of a deviation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum DeviationFate {
    /// Waits for the safety officer.
    Open,
    /// Signed by both.
    Agreed {
        /// By whom.
        by: PersonHandle,
        /// When.
        at: DateTime<Utc>,
    },
    /// Declined or taken back.
    Ended {
        /// By whom.
        by: PersonHandle,
        /// When.
        at: DateTime<Utc>,
        /// Why.
        reason: String,
    },
}

/// A deviation from the build-up: that a point, as it is planned, may go further than its step.
#[derive(Debug, Clone, PartialEq)]
pub struct Deviation {
    /// Its number.
    pub number: DeviationNumber,
    /// The record.
    pub seq: u64,
    /// For which point.
    pub point: PointCode,
    /// The steps that it lets be larger.
    pub steps: Vec<DeviatingStep>,
    /// Why.
    pub reason: String,
    /// Of the deviation with the plan.
    pub digest: Digest,
    /// The test lead who signed it.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// What became of it.
    pub fate: DeviationFate,
}

impl Deviation {
    /// Whether it was signed for a step, or for one that went further beyond what was shown then.
    pub fn covers(&self, step: &Step) -> bool {
        self.steps.iter().any(|signed| {
            let demand =
                |measure: crate::measure::Measure| step.direction.demand(measure.in_kinds_unit());
            // Where less is shown now than was when it was signed, the step is larger than the one that was signed.
            let no_less_shown = match (signed.shown, step.shown) {
                (None, _) => true,
                (Some(then), Some(now)) => is_at_most(demand(then), demand(now.reached)),
                (Some(_), None) => false,
            };
            signed.axis == step.axis
                && signed.direction == step.direction
                && is_at_most(demand(step.target), demand(signed.target))
                && no_less_shown
        })
    }
}

impl State {
    /// A deviation by its number.
    pub fn deviation(&self, number: DeviationNumber) -> Option<&Deviation> {
        self.deviations.get((number.0 as usize).checked_sub(1)?)
    }

    /// Whether the plan is still the one that a deviation was signed for. Where the plan was changed in any way since,
    /// the deviation is void.
    pub fn deviation_is_for_plan(&self, deviation: &Deviation) -> bool {
        self.rung(&deviation.point).is_some_and(|rung| deviation.seq > self.plan_changed_at(rung))
    }

    /// The deviation that lets a step of a point be as large as it is, if both have signed one.
    pub fn deviation_for(&self, rung: &Rung, step: &Step) -> Option<&Deviation> {
        // A step that nobody can compare with its rule was signed by nobody.
        step.allowed?;
        self.deviations.iter().rev().find(|deviation| {
            deviation.point == rung.point.code
                && matches!(deviation.fate, DeviationFate::Agreed { .. })
                && deviation.seq > self.plan_changed_at(rung)
                && deviation.covers(step)
        })
    }

    pub(super) fn propose_deviation(&mut self, body: &BuildUpDeviationProposed, entry: &Entry) {
        self.deviations.push(Deviation {
            number: body.deviation,
            seq: entry.seq,
            point: body.point.clone(),
            steps: body.steps.clone(),
            reason: body.reason.clone(),
            digest: body.digest.clone(),
            by: entry.by.clone(),
            at: entry.at,
            fate: DeviationFate::Open,
        });
    }

    pub(super) fn agree_deviation(&mut self, body: &BuildUpDeviationAgreed, entry: &Entry) {
        if let Some(deviation) = self.deviation_mut(body.deviation)
            // Two people sign the same, and what was ended stays so.
            && deviation.digest == body.digest
            && deviation.fate == DeviationFate::Open
            && deviation.by != entry.by
        {
            deviation.fate = DeviationFate::Agreed { by: entry.by.clone(), at: entry.at };
        }
    }

    pub(super) fn end_deviation(&mut self, body: &BuildUpDeviationEnded, entry: &Entry) {
        if let Some(deviation) = self.deviation_mut(body.deviation) {
            deviation.fate = DeviationFate::Ended {
                by: entry.by.clone(),
                at: entry.at,
                reason: body.reason.clone(),
            };
        }
    }

    fn deviation_mut(&mut self, number: DeviationNumber) -> Option<&mut Deviation> {
        self.deviations.get_mut((number.0 as usize).checked_sub(1)?)
    }
}
