//! The ladder: every point with what was signed and shown for it.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use chrono::{DateTime, Utc};

use super::{RefusedPart, ResultId, Signature, SignedRelease, Signer};
use crate::card::Card;
use crate::codes::{PersonHandle, PointCode, RunNumber};
use crate::entry::Entry;
use crate::nouns::Point;
use crate::record::PointDropped;

/// A point that was taken out of the plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Dropped {
    /// By whom.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// Why.
    pub reason: String,
}

/// A point as a step of the ladder.
#[derive(Debug, Clone, PartialEq)]
pub struct Rung {
    /// The point as planned now.
    pub point: Arc<Point>,
    /// How often its plan was changed, from 1.
    pub revision: u32,
    /// The record that last changed its plan.
    pub changed_at: u64,
    /// Who wrote the plan as it is now.
    pub planned_by: PersonHandle,
    /// When.
    pub planned_at: DateTime<Utc>,
    /// Taken out of the plan.
    pub dropped: Option<Dropped>,
    /// Approval of the plan, whether it still stands or not.
    pub approval: Option<Signature>,
    /// The last release, whether it still stands or not.
    pub release: Option<SignedRelease>,
    /// The last acknowledgement, whether it still stands or not.
    pub acknowledgement: Option<Signature>,
    /// Refusals to sign that nobody has withdrawn or signed over.
    pub refusals: Vec<RefusedPart>,
    /// Everybody who has signed a part, also where it was withdrawn, voided or signed over; not of results.
    pub signers: Vec<Signer>,
    /// Results in the order recorded.
    pub results: Vec<ResultId>,
    /// The latest run of which it has a result; 0 where it has none.
    pub latest_run: RunNumber,
    /// The card that each person last signed.
    pub last_signed: BTreeMap<PersonHandle, Arc<Card>>,
}

impl Rung {
    /// The last result.
    pub fn last_result(&self) -> Option<ResultId> {
        self.results.last().copied()
    }
}

/// All points, in the order first planned.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Ladder {
    rungs: Vec<Rung>,
    places: HashMap<PointCode, usize>,
    /// For each code the points that wait for it.
    dependents: HashMap<PointCode, Vec<PointCode>>,
}

impl Ladder {
    /// Every rung, dropped ones too, in the order first planned.
    pub fn rungs(&self) -> &[Rung] {
        &self.rungs
    }

    /// A rung by its point's code.
    pub fn get(&self, code: &PointCode) -> Option<&Rung> {
        self.places.get(code).map(|place| &self.rungs[*place])
    }

    /// A rung's place in [`Ladder::rungs`].
    pub fn place(&self, code: &PointCode) -> Option<usize> {
        self.places.get(code).copied()
    }

    /// The points that name this one as a prerequisite.
    pub fn dependents(&self, code: &PointCode) -> &[PointCode] {
        self.dependents.get(code).map_or(&[], Vec::as_slice)
    }

    pub(super) fn get_mut(&mut self, code: &PointCode) -> Option<&mut Rung> {
        self.places.get(code).map(|place| &mut self.rungs[*place])
    }

    /// Gives the point's results where its plan changed, so that their standing can be looked at again. The same
    /// plan again is no change.
    pub(super) fn plan(&mut self, point: &Point, entry: &Entry) -> Option<Vec<ResultId>> {
        if let Some(place) = self.places.get(&point.code).copied() {
            let rung = &mut self.rungs[place];
            if *rung.point == *point && rung.dropped.is_none() {
                return None;
            }
            for before in &rung.point.after_points {
                if let Some(waiting) = self.dependents.get_mut(before) {
                    waiting.retain(|code| *code != point.code);
                }
            }
            rung.point = Arc::new(point.clone());
            rung.revision += 1;
            rung.changed_at = entry.seq;
            rung.planned_by = entry.by.clone();
            rung.planned_at = entry.at;
            rung.dropped = None;
        } else {
            self.places.insert(point.code.clone(), self.rungs.len());
            self.rungs.push(Rung {
                point: Arc::new(point.clone()),
                revision: 1,
                changed_at: entry.seq,
                planned_by: entry.by.clone(),
                planned_at: entry.at,
                dropped: None,
                approval: None,
                release: None,
                acknowledgement: None,
                refusals: Vec::new(),
                signers: Vec::new(),
                results: Vec::new(),
                latest_run: RunNumber(0),
                last_signed: BTreeMap::new(),
            });
        }
        for before in &point.after_points {
            self.dependents.entry(before.clone()).or_default().push(point.code.clone());
        }
        self.get(&point.code).map(|rung| rung.results.clone())
    }

    pub(super) fn drop(&mut self, body: &PointDropped, entry: &Entry) {
        if let Some(rung) = self.get_mut(&body.point) {
            rung.dropped =
                Some(Dropped { by: entry.by.clone(), at: entry.at, reason: body.reason.clone() });
            rung.changed_at = entry.seq;
        }
    }
}
