//! Items of which nobody knows whether they came through what happened.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};

use super::State;
use crate::codes::{CheckCode, EventCode, ItemCode};
use crate::entry::Entry;
use crate::record::{CheckDone, EventHappened};

/// A version of an item that something happened to.
#[derive(Debug, Clone, PartialEq)]
pub struct Quarantine {
    /// The item.
    pub item: ItemCode,
    /// The version that was fitted.
    pub version: String,
    /// What happened.
    pub event: EventCode,
    /// The record of that.
    pub seq: u64,
    /// When it happened.
    pub at: DateTime<Utc>,
    /// Who asks for it.
    pub source: String,
    /// The checks that end it, each with whether it was passed since. None: no check ends it.
    checks: BTreeMap<CheckCode, bool>,
}

impl State {
    /// The kinds of happening that end a check or put an item into quarantine.
    pub fn known_events(&self) -> BTreeSet<&EventCode> {
        let checks = self.checks.by_code.values();
        let end_checks = checks.flat_map(|known| &known.check.validity.until);
        let quarantine = self.policy.iter().flat_map(|policy| &policy.quarantine);
        end_checks.chain(quarantine.map(|rule| &rule.event)).collect()
    }

    /// The first quarantine in which an item is, at the version that is fitted now.
    pub fn quarantine(&self, item: &ItemCode) -> Option<&Quarantine> {
        let fitted = self.configuration.version(item)?;
        self.quarantines.iter().find(|it| it.item == *item && it.version == fitted && it.lasts())
    }

    /// Puts what a happening may have harmed into quarantine: every version that was fitted from then until it was reported.
    pub(super) fn quarantine_after(&mut self, body: &EventHappened, entry: &Entry) {
        let rules = self.policy.iter().flat_map(|policy| &policy.quarantine);
        let rules: Vec<_> = rules.filter(|rule| rule.event == body.event).cloned().collect();
        let at = entry.happened_at();
        let mut harmed = BTreeSet::new();
        for rule in rules {
            for item in &rule.items {
                let since = self.configuration.changes.iter();
                let since = since.filter(|change| change.item == *item && change.at >= at);
                let versions = since.filter_map(|change| change.before.clone());
                let now = self.configuration.version(item).map(str::to_owned);
                let versions: BTreeSet<String> = versions.chain(now).collect();
                for version in versions {
                    self.quarantines.push(Quarantine {
                        item: item.clone(),
                        version,
                        event: body.event.clone(),
                        seq: entry.seq,
                        at,
                        source: rule.source.clone(),
                        checks: rule.until_checks.iter().map(|it| (it.clone(), false)).collect(),
                    });
                }
                harmed.insert(item.clone());
            }
        }
        for item in &harmed {
            self.item_changed(item);
        }
    }

    /// A check that was passed after the happening, with the item fitted as it was, answers for it. While another one is open, a
    /// failure takes that back.
    pub(super) fn quarantine_checked(&mut self, body: &CheckDone, entry: &Entry) {
        let mut ended = BTreeSet::new();
        for it in self.quarantines.iter_mut().filter(|it| it.lasts()) {
            let fitted = self.configuration.version(&it.item) == Some(it.version.as_str());
            if !fitted || entry.happened_at() < it.at {
                continue;
            }
            if let Some(passed) = it.checks.get_mut(&body.check) {
                *passed = body.passed;
            }
            if !it.lasts() {
                ended.insert(it.item.clone());
            }
        }
        for item in &ended {
            self.item_changed(item);
        }
    }
}

impl Quarantine {
    /// Whether a check of this version of the item is still to be passed, or none ends it.
    pub fn lasts(&self) -> bool {
        self.checks.is_empty() || self.checks.values().any(|passed| !passed)
    }

    /// The checks that are still to be passed; none where no check ends it.
    pub fn open_checks(&self) -> Vec<&CheckCode> {
        self.checks.iter().filter(|(_, passed)| !**passed).map(|(check, _)| check).collect()
    }
}
