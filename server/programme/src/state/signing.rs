//! Signatures, refusals to sign and withdrawals.

use std::sync::Arc;

use chrono::{DateTime, Utc};

use super::{ResultId, State};
use crate::codes::{PersonHandle, PointCode};
use crate::entry::Entry;
use crate::record::{Digest, Part, PartSigned, SignatureWithdrawn, SigningRefused};

/// A signature.
#[derive(Debug, Clone, PartialEq)]
pub struct Signature {
    /// The record.
    pub seq: u64,
    /// By whom.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Of exactly what was signed.
    pub digest: Digest,
}

/// Who signed which part with which record. It is kept when the signature is withdrawn or signed over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Signer {
    /// The record.
    pub seq: u64,
    /// By whom.
    pub by: PersonHandle,
    /// Which part.
    pub part: Part,
}

/// A release with its window and conditions.
#[derive(Debug, Clone, PartialEq)]
pub struct SignedRelease {
    /// The signature.
    pub signature: Signature,
    /// Good from then on.
    pub valid_from: DateTime<Utc>,
    /// Good up to, not including, this moment.
    pub valid_until: DateTime<Utc>,
    /// Under these conditions besides the plan's.
    pub conditions: Option<String>,
}

/// A refusal to sign.
#[derive(Debug, Clone, PartialEq)]
pub struct RefusedPart {
    /// The record.
    pub seq: u64,
    /// By whom.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// What was not signed.
    pub part: Part,
    /// Why not.
    pub reasons: String,
}

impl State {
    pub(super) fn sign(&mut self, body: &PartSigned, entry: &Entry) {
        let signature = Signature {
            seq: entry.seq,
            by: entry.by.clone(),
            at: entry.at,
            digest: body.digest.clone(),
        };
        let card = self.rung(&body.point).map(|rung| Arc::new(self.card(rung, true)));
        let Some(rung) = self.ladder.get_mut(&body.point) else { return };
        rung.refusals.retain(|refused| refused.part != body.part);
        let signer = Signer { seq: entry.seq, by: entry.by.clone(), part: body.part };
        if let Some(card) = card {
            rung.last_signed.insert(entry.by.clone(), card);
        }
        match body.part {
            Part::PlanApproval {} => {
                rung.approval = Some(signature);
                rung.signers.push(signer);
            }
            Part::Release {} => {
                // Every release has a window; one without would never be good.
                rung.release = body.window.as_ref().map(|window| SignedRelease {
                    signature,
                    valid_from: window.valid_from,
                    valid_until: window.valid_until,
                    conditions: window.conditions.clone(),
                });
                rung.signers.push(signer);
            }
            Part::Acknowledgement {} => {
                rung.acknowledgement = Some(signature);
                rung.signers.push(signer);
            }
            Part::EngineeringAcceptance { .. } | Part::SafetyAcceptance { .. } => {
                if let Some(id) = self.result_of(body) {
                    let result = &mut self.results[id.0];
                    result.signers.push(signer);
                    match body.part {
                        Part::EngineeringAcceptance { .. } => {
                            result.engineering = Some(signature);
                        }
                        _ => result.safety = Some(signature),
                    }
                    self.stand_anew(&[id]);
                }
            }
        }
    }

    /// Nobody signs and refuses the same: who refuses what they had signed takes their signature back.
    pub(super) fn refuse(&mut self, body: &SigningRefused, entry: &Entry) {
        self.take_back(&body.point, body.part, &entry.by);
        if let Some(rung) = self.ladder.get_mut(&body.point) {
            rung.refusals.push(RefusedPart {
                seq: entry.seq,
                by: entry.by.clone(),
                at: entry.at,
                part: body.part,
                reasons: body.reasons.clone(),
            });
        }
    }

    /// Takes away the person's own signature on a part, or their own refusal of it.
    pub(super) fn withdraw(&mut self, body: &SignatureWithdrawn, entry: &Entry) {
        if let Some(rung) = self.ladder.get_mut(&body.point) {
            rung.refusals.retain(|refused| !(refused.part == body.part && refused.by == entry.by));
        }
        self.take_back(&body.point, body.part, &entry.by);
    }

    fn take_back(&mut self, point: &PointCode, part: Part, by: &PersonHandle) {
        let result = part.run().and_then(|run| self.result(run, point)).map(|(id, _)| id);
        let Some(rung) = self.ladder.get_mut(point) else { return };
        let own = |signature: &Option<Signature>| {
            signature.as_ref().is_some_and(|signature| signature.by == *by)
        };
        match part {
            Part::PlanApproval {} => {
                if own(&rung.approval) {
                    rung.approval = None;
                }
            }
            Part::Release {} => {
                if rung.release.as_ref().is_some_and(|r| r.signature.by == *by) {
                    rung.release = None;
                }
            }
            Part::Acknowledgement {} => {
                if own(&rung.acknowledgement) {
                    rung.acknowledgement = None;
                }
            }
            Part::EngineeringAcceptance { .. } => {
                if let Some(id) = result
                    && own(&self.results[id.0].engineering)
                {
                    self.results[id.0].engineering = None;
                    self.stand_anew(&[id]);
                }
            }
            Part::SafetyAcceptance { .. } => {
                if let Some(id) = result
                    && own(&self.results[id.0].safety)
                {
                    self.results[id.0].safety = None;
                    self.stand_anew(&[id]);
                }
            }
        }
    }

    fn result_of(&self, body: &PartSigned) -> Option<ResultId> {
        let run = body.part.run()?;
        let rung = self.rung(&body.point)?;
        rung.results.iter().rev().copied().find(|id| self.results[id.0].run == run)
    }
}
