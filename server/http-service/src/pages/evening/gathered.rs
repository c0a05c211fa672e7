//! What a day was: gathered from the state, each thing once.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};
use programme::state::State;

/// Each day on which something was run, found or checked, with its runs and results.
pub(super) fn days(state: &State) -> BTreeMap<NaiveDate, (usize, usize)> {
    let mut days: BTreeMap<NaiveDate, (usize, usize)> = BTreeMap::new();
    for run in &state.runs {
        days.entry(run.day()).or_default().0 += 1;
    }
    for result in &state.results {
        days.entry(result.at.date_naive()).or_default().1 += 1;
    }
    for at in others(state) {
        days.entry(at.date_naive()).or_default();
    }
    days
}

fn others(state: &State) -> impl Iterator<Item = DateTime<Utc>> {
    let done = state.checks.by_code.values().flat_map(|check| &check.done).map(|done| done.at);
    let snags = state.snags.iter().map(|snag| snag.at);
    let stops = state.stand_downs.iter().map(|called| called.at);
    done.chain(snags).chain(stops)
}
