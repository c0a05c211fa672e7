//! What is fitted, and how it changed.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::{DateTime, Utc};

use super::Done;
use crate::card::Fitted;
use crate::codes::{ItemCode, PersonHandle};
use crate::entry::Entry;
use crate::nouns::Item;
use crate::record::{ItemFitted, ItemRemoved};

/// An item as it is fitted now.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedItem {
    /// The item.
    pub item: Item,
    /// The record that fitted this version.
    pub since_seq: u64,
    /// When that was.
    pub since: DateTime<Utc>,
}

/// One change of the configuration.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// The record.
    pub seq: u64,
    /// When.
    pub at: DateTime<Utc>,
    /// By whom.
    pub by: PersonHandle,
    /// Which item.
    pub item: ItemCode,
    /// The version before; absent: was not fitted.
    pub before: Option<String>,
    /// The version after; absent: was taken off.
    pub after: Option<String>,
    /// Why.
    pub reason: Option<String>,
}

/// The aircraft's build standard.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Configuration {
    /// What is fitted now.
    pub items: BTreeMap<ItemCode, FittedItem>,
    /// All changes, oldest first.
    pub changes: Vec<Change>,
    /// The last record that changed anything.
    pub changed_at: u64,
    fitted: Arc<Fitted>,
}

impl Configuration {
    /// Item to version, as fitted now; shared, so that runs keep it cheaply.
    pub fn fitted(&self) -> Arc<Fitted> {
        Arc::clone(&self.fitted)
    }

    /// The version of an item that is fitted now.
    pub fn version(&self, item: &ItemCode) -> Option<&str> {
        self.fitted.get(item).map(String::as_str)
    }

    /// The last change of an item that was recorded after a check was, or made after it was done.
    pub fn changed_since(&self, item: &ItemCode, done: &Done) -> Option<&Change> {
        let mut changes = self.changes.iter().rev().filter(|change| change.item == *item);
        changes.find(|change| change.seq > done.seq || change.at > done.at)
    }

    /// Whether an item is fitted, or ever was.
    pub fn knows(&self, item: &ItemCode) -> bool {
        self.changes.iter().any(|change| change.item == *item)
    }

    /// Whether anything but the title changed.
    pub(super) fn fit(&mut self, body: &ItemFitted, entry: &Entry) -> bool {
        let code = body.item.code.clone();
        let before = self.fitted.get(&code).cloned();
        let changed = before.as_ref() != Some(&body.item.version);
        if changed {
            Arc::make_mut(&mut self.fitted).insert(code.clone(), body.item.version.clone());
            let after = Some(body.item.version.clone());
            self.note(&code, before, after, body.reason.clone(), entry);
        }
        let since = if changed { None } else { self.items.get(&code) };
        let (since_seq, since) = since.map_or((entry.seq, entry.at), |f| (f.since_seq, f.since));
        self.items.insert(code, FittedItem { item: body.item.clone(), since_seq, since });
        changed
    }

    pub(super) fn remove(&mut self, body: &ItemRemoved, entry: &Entry) -> bool {
        self.items.remove(&body.item);
        let Some(before) = Arc::make_mut(&mut self.fitted).remove(&body.item) else {
            return false;
        };
        self.note(&body.item, Some(before), None, Some(body.reason.clone()), entry);
        true
    }

    fn note(
        &mut self,
        item: &ItemCode,
        before: Option<String>,
        after: Option<String>,
        reason: Option<String>,
        entry: &Entry,
    ) {
        self.changed_at = entry.seq;
        self.changes.push(Change {
            seq: entry.seq,
            at: entry.at,
            by: entry.by.clone(),
            item: item.clone(),
            before,
            after,
            reason,
        });
    }
}
