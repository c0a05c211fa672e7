//! How the ledger is kept: the keys of its checkpoints, the copies that it goes on from, and how far its clock was.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use crate::codes::PersonHandle;
use crate::entry::Entry;
use crate::ledger::NodeHash;
use crate::nouns::Role;
use crate::record::{CheckpointKeyChanged, CopyAcknowledged, PublicKey};

/// By how much a clock may stand before the last record: the clocks of several servers are never quite alike. A figure of our own,
/// no source.
pub const CLOCKS_APART: TimeDelta = TimeDelta::minutes(1);

/// The record that was made at the latest time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Furthest {
    /// Its number.
    pub seq: u64,
    /// When it was made.
    pub at: DateTime<Utc>,
}

/// A key that the ledger itself names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KeyInForce {
    /// The record by which it came into force: it signs checkpoints after the one that has this record.
    pub seq: u64,
    /// The key.
    pub key: PublicKey,
    /// Whether the key before handed over to it; otherwise lead and safety officer did, as they acknowledged a copy.
    pub handed_over: bool,
}

/// Somebody's acknowledgement that the ledger goes on from a copy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CopyAcknowledgement {
    /// The record.
    pub seq: u64,
    /// Who.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// As whom: test lead or safety officer.
    pub role: Role,
    /// How many records the copy has.
    pub records: u64,
    /// The root over them.
    pub root: NodeHash,
    /// The key that signs once both have acknowledged it.
    pub key: PublicKey,
}

/// How the ledger is kept, as far as it says so itself.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Keeping {
    /// Keys after the first, the oldest first. The first is not named by a record.
    pub keys: Vec<KeyInForce>,
    /// Every acknowledgement of a copy, the oldest first.
    pub acknowledged: Vec<CopyAcknowledgement>,
    /// The record by which each person signed something last.
    pub last_signed: BTreeMap<PersonHandle, u64>,
    /// The record that was made at the latest time, of those since the clock was compared last.
    pub furthest: Option<Furthest>,
}

impl Keeping {
    /// The key that a record before this size names last; none: the first key signs.
    pub fn key_at(&self, size: u64) -> Option<PublicKey> {
        self.keys.iter().rev().find(|key| key.seq <= size).map(|key| key.key)
    }

    /// Who acknowledged that the ledger goes on from this copy.
    pub fn acknowledgements(
        &self,
        records: u64,
        root: NodeHash,
    ) -> impl Iterator<Item = &CopyAcknowledgement> {
        self.acknowledged.iter().filter(move |it| it.records == records && it.root == root)
    }

    /// Whether test lead and safety officer have both acknowledged this copy.
    pub fn is_acknowledged(&self, records: u64, root: NodeHash) -> bool {
        [Role::Lead, Role::Safety]
            .iter()
            .all(|role| self.acknowledgements(records, root).any(|it| it.role == *role))
    }

    /// Whether a checkpoint of this size was made while a copy waited to be acknowledged, so that nobody signed it.
    pub fn was_waiting(&self, size: u64) -> bool {
        self.acknowledged.iter().any(|it| {
            let both = self.acknowledgements(it.records, it.root).map(|it| it.seq).max();
            it.records < size && both.is_some_and(|both| size <= both)
        })
    }

    /// The record that is so far ahead of a moment that one of the two times must be wrong.
    pub fn ahead_of(&self, now: DateTime<Utc>) -> Option<Furthest> {
        self.furthest.filter(|furthest| furthest.at - CLOCKS_APART > now)
    }

    pub(super) fn compare_clock(&mut self, entry: &Entry) {
        self.furthest = Some(Furthest { seq: entry.seq, at: entry.at });
    }

    pub(super) fn note(&mut self, entry: &Entry) {
        if self.furthest.is_none_or(|furthest| furthest.at <= entry.at) {
            self.furthest = Some(Furthest { seq: entry.seq, at: entry.at });
        }
        if entry.record.signs() {
            self.last_signed.insert(entry.by.clone(), entry.seq);
        }
    }

    pub(super) fn change_key(&mut self, body: &CheckpointKeyChanged, entry: &Entry) {
        self.keys.push(KeyInForce { seq: entry.seq, key: body.key, handed_over: true });
    }

    pub(super) fn acknowledge(&mut self, body: &CopyAcknowledged, entry: &Entry) {
        let CopyAcknowledged { records, root, key, role, .. } = body;
        let stood = self.is_acknowledged(*records, *root);
        self.acknowledged.push(CopyAcknowledgement {
            seq: entry.seq,
            by: entry.by.clone(),
            at: entry.at,
            role: *role,
            records: *records,
            root: *root,
            key: *key,
        });
        if !stood && self.is_acknowledged(*records, *root) {
            self.keys.push(KeyInForce { seq: entry.seq, key: *key, handed_over: false });
        }
    }
}
