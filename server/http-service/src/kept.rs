//! Views that were made and still hold: the same ledger, the same second.

use std::collections::HashMap;

use actix_web::web::Bytes;
use parking_lot::RwLock;
use programme::codes::{PointCode, ProgrammeId};

/// So many views are kept.
const KEPT: usize = 4096;

/// A view that was made.
#[derive(Debug, Clone)]
pub(crate) struct Kept {
    /// After which record.
    pub seq: u64,
    /// In which second: what holds a point can change with time alone.
    pub second: i64,
    /// What is sent.
    pub bytes: Bytes,
    /// Its tag.
    pub tag: String,
}

/// Views of points, so that a point that many look at is put together once a second at most.
#[derive(Debug, Default)]
pub(crate) struct KeptViews(RwLock<HashMap<(ProgrammeId, PointCode), Kept>>);

impl KeptViews {
    /// The view of a point after that record and in that second, if it was made.
    pub fn get(&self, of: &(ProgrammeId, PointCode), seq: u64, second: i64) -> Option<Kept> {
        let kept = self.0.read();
        kept.get(of).filter(|kept| kept.seq == seq && kept.second == second).cloned()
    }

    /// Keeps a view.
    pub fn put(&self, of: (ProgrammeId, PointCode), view: Kept) {
        let mut kept = self.0.write();
        if kept.len() >= KEPT && !kept.contains_key(&of) {
            kept.clear();
        }
        kept.insert(of, view);
    }
}
