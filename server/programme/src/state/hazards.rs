//! Hazards and the risk that was accepted.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::{DateTime, Utc};

use crate::codes::{HazardCode, PersonHandle};
use crate::entry::Entry;
use crate::nouns::{Hazard, RiskLevel, Role};
use crate::record::{Digest, RiskAccepted};

/// Residual risk that somebody accepted.
#[derive(Debug, Clone, PartialEq)]
pub struct AcceptedRisk {
    /// The record.
    pub seq: u64,
    /// By whom.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// The roles that they had then; what they accepted stands when they leave.
    pub roles: Vec<Role>,
    /// At which level.
    pub level: RiskLevel,
    /// Of the hazard as accepted.
    pub digest: Digest,
}

/// A hazard as judged now.
#[derive(Debug, Clone, PartialEq)]
pub struct HazardState {
    /// The hazard.
    pub hazard: Arc<Hazard>,
    /// The record that last changed it.
    pub changed_at: u64,
    /// Who recorded it so.
    pub recorded_by: PersonHandle,
    /// Accepted for what it is now; a change of the hazard voids it.
    pub accepted: Option<AcceptedRisk>,
}

pub(super) fn record(
    hazards: &mut BTreeMap<HazardCode, HazardState>,
    hazard: &Hazard,
    entry: &Entry,
) {
    if hazards.get(&hazard.code).is_some_and(|before| *before.hazard == *hazard) {
        return;
    }
    hazards.insert(
        hazard.code.clone(),
        HazardState {
            hazard: Arc::new(hazard.clone()),
            changed_at: entry.seq,
            recorded_by: entry.by.clone(),
            accepted: None,
        },
    );
}

pub(super) fn accept(
    hazards: &mut BTreeMap<HazardCode, HazardState>,
    body: &RiskAccepted,
    roles: Vec<Role>,
    entry: &Entry,
) {
    if let Some(state) = hazards.get_mut(&body.hazard) {
        state.accepted = Some(AcceptedRisk {
            seq: entry.seq,
            by: entry.by.clone(),
            at: entry.at,
            roles,
            level: body.level,
            digest: body.digest.clone(),
        });
    }
}
