//! Limits in force and proposals to change them.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::{DateTime, Utc};

use super::State;
use crate::codes::{LimitCode, PersonHandle, ProposalNumber};
use crate::entry::Entry;
use crate::nouns::{Limit, Phase, Point};
use crate::record::{Digest, LimitChangeAgreed, LimitChangeDeclined, LimitChangeProposed};

/// A limit as it holds now.
#[derive(Debug, Clone, PartialEq)]
pub struct LimitState {
    /// The limit.
    pub limit: Arc<Limit>,
    /// How often it was set, from 1.
    pub revision: u32,
    /// The record that set it.
    pub changed_at: u64,
    /// When that was.
    pub at: DateTime<Utc>,
    /// Who set or proposed it.
    pub set_by: PersonHandle,
    /// Who agreed, where it was changed.
    pub agreed_by: Option<PersonHandle>,
    /// What it was before, oldest first.
    pub earlier: Vec<EarlierLimit>,
}

/// A limit as it held before.
#[derive(Debug, Clone, PartialEq)]
pub struct EarlierLimit {
    /// The limit.
    pub limit: Arc<Limit>,
    /// The record that set it.
    pub changed_at: u64,
    /// Since when it held.
    pub at: DateTime<Utc>,
    /// Who set or proposed it.
    pub set_by: PersonHandle,
    /// Who agreed, where it was changed.
    pub agreed_by: Option<PersonHandle>,
}

impl EarlierLimit {
    fn of(limit: &LimitState) -> Self {
        Self {
            limit: Arc::clone(&limit.limit),
            changed_at: limit.changed_at,
            at: limit.at,
            set_by: limit.set_by.clone(),
            agreed_by: limit.agreed_by.clone(),
        }
    }
}

/// What became of a proposal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ProposalFate {
    /// Waits for the safety officer.
    Open,
    /// Holds.
    Agreed {
        /// By whom.
        by: PersonHandle,
        /// When.
        at: DateTime<Utc>,
    },
    /// Does not hold.
    Declined {
        /// By whom.
        by: PersonHandle,
        /// When.
        at: DateTime<Utc>,
        /// Why.
        reason: String,
    },
}

/// A proposal to change a limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    /// Its number.
    pub number: ProposalNumber,
    /// The limit as it would be.
    pub limit: Arc<Limit>,
    /// Why.
    pub reason: String,
    /// Of its canonical form.
    pub digest: Digest,
    /// By whom.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// What became of it.
    pub fate: ProposalFate,
}

/// A limit that is not what it was.
pub(super) struct ChangedLimit {
    pub(super) code: LimitCode,
    /// The phases in which it holds or held.
    pub(super) phases: Vec<Phase>,
}

/// All limits and proposals.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Limits {
    /// Limits by code.
    pub by_code: BTreeMap<LimitCode, LimitState>,
    /// Proposals by number, from 1.
    pub proposals: Vec<Proposal>,
    changed_in: [u64; 5],
}

impl Limits {
    /// The last record that changed a limit of the phase.
    pub const fn changed_in(&self, phase: Phase) -> u64 {
        self.changed_in[State::phase_index(phase)]
    }

    /// Whether a limit is in force for a point, or was in its phase at a record or after it. One that is not set can be
    /// compared with nothing, so it concerns all.
    pub(super) fn concerns(&self, limit: &LimitCode, point: &Point, since: u64) -> bool {
        let Some(now) = self.by_code.get(limit) else { return true };
        let holds_in = |limit: &Limit| limit.phases.contains(&point.phase);
        // Each earlier version held until the next one was set.
        let next = now.earlier.iter().skip(1).map(|next| next.changed_at).chain([now.changed_at]);
        point.limits.contains(limit)
            || holds_in(&now.limit)
            || now
                .earlier
                .iter()
                .zip(next)
                .any(|(earlier, until)| until > since && holds_in(&earlier.limit))
    }

    /// A proposal by its number.
    pub fn proposal(&self, number: ProposalNumber) -> Option<&Proposal> {
        self.proposals.get((number.0 as usize).checked_sub(1)?)
    }

    /// The same limit set again is no change, so that importing a document twice voids nothing.
    pub(super) fn set(&mut self, limit: &Limit, entry: &Entry) -> Option<ChangedLimit> {
        self.put(Arc::new(limit.clone()), entry.by.clone(), None, entry)
    }

    fn put(
        &mut self,
        limit: Arc<Limit>,
        set_by: PersonHandle,
        agreed_by: Option<PersonHandle>,
        entry: &Entry,
    ) -> Option<ChangedLimit> {
        let before = self.by_code.get(&limit.code);
        if before.is_some_and(|before| before.limit == limit) {
            return None;
        }
        let mut earlier = before.map(|before| before.earlier.clone()).unwrap_or_default();
        earlier.extend(before.map(EarlierLimit::of));
        let mut phases = limit.phases.clone();
        phases.extend(before.iter().flat_map(|before| &before.limit.phases));
        for phase in &phases {
            self.changed_in[State::phase_index(*phase)] = entry.seq;
        }
        let changed = ChangedLimit { code: limit.code.clone(), phases };
        let state = LimitState {
            revision: before.map_or(1, |before| before.revision + 1),
            changed_at: entry.seq,
            at: entry.at,
            set_by,
            agreed_by,
            earlier,
            limit,
        };
        self.by_code.insert(state.limit.code.clone(), state);
        Some(changed)
    }

    pub(super) fn propose(&mut self, body: &LimitChangeProposed, entry: &Entry) {
        self.proposals.push(Proposal {
            number: body.proposal,
            limit: Arc::new(body.limit.clone()),
            reason: body.reason.clone(),
            digest: body.digest.clone(),
            by: entry.by.clone(),
            at: entry.at,
            fate: ProposalFate::Open,
        });
    }

    pub(super) fn agree(
        &mut self,
        body: &LimitChangeAgreed,
        entry: &Entry,
    ) -> Option<ChangedLimit> {
        let place = (body.proposal.0 as usize).checked_sub(1)?;
        let proposal = self.proposals.get_mut(place)?;
        proposal.fate = ProposalFate::Agreed { by: entry.by.clone(), at: entry.at };
        let (limit, proposer) = (Arc::clone(&proposal.limit), proposal.by.clone());
        self.put(limit, proposer, Some(entry.by.clone()), entry)
    }

    pub(super) fn decline(&mut self, body: &LimitChangeDeclined, entry: &Entry) {
        let place = (body.proposal.0 as usize).checked_sub(1);
        if let Some(proposal) = place.and_then(|place| self.proposals.get_mut(place)) {
            proposal.fate = ProposalFate::Declined {
                by: entry.by.clone(),
                at: entry.at,
                reason: body.reason.clone(),
            };
        }
    }
}
