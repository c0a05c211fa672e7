//! What a change would undo, told before it is recorded: the record is folded over a copy of the state, and both are
//! compared. So what is told is exactly what would come about, by the same rules.

mod repeat;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

pub use repeat::{Covered, Repeat, repeat};

use crate::codes::{
    CheckCode, EventCode, ItemCode, PersonHandle, PointCode, ReductionNumber, RunNumber,
};
use crate::entry::Entry;
use crate::holds::{self, CheckFault, Hold, check_fault};
use crate::nouns::Item;
use crate::prediction::{Unpredicted, predictions};
use crate::record::{EventHappened, ItemFitted, ItemRemoved, Predicted, Record};
use crate::state::{Lapse, ResultState, Standing, State};

/// A change that nobody has recorded.
#[derive(Debug, Clone, PartialEq)]
pub enum Supposed {
    /// An item is fitted, or exchanged for another version.
    Fitted(Item),
    /// An item is taken off and nothing put in its place.
    Removed(ItemCode),
    /// Something happened that ends checks or puts items into quarantine.
    Happened(EventCode),
}

impl Supposed {
    fn record(&self) -> Record {
        let why = || "Supposed.".to_owned();
        match self {
            Supposed::Fitted(item) => ItemFitted { item: item.clone(), reason: Some(why()) }.into(),
            Supposed::Removed(item) => ItemRemoved { item: item.clone(), reason: why() }.into(),
            Supposed::Happened(event) => {
                EventHappened { event: event.clone(), account: why() }.into()
            }
        }
    }
}

/// An accepted result that would not stand any more.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lapsing {
    /// Of which point.
    pub point: PointCode,
    /// Of which run.
    pub run: RunNumber,
    /// Why.
    pub because: Lapse,
}

/// A lapsed result that would stand again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Restored {
    /// Of which point.
    pub point: PointCode,
    /// Of which run.
    pub run: RunNumber,
}

/// A prediction that would lose something that it rests on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LostBasis {
    /// For which point.
    pub point: PointCode,
    /// Of what.
    pub what: Predicted,
    /// Reductions that would say nothing any more.
    pub reductions: Vec<ReductionNumber>,
    /// Runs that would say nothing any more.
    pub runs: Vec<RunNumber>,
    /// Why it could not be made at all any more; absent where something is left.
    pub gone: Option<Unpredicted>,
}

/// A check that would fall due.
#[derive(Debug, Clone, PartialEq)]
pub struct FallsDue {
    /// Which.
    pub check: CheckCode,
    /// What would be wrong with it.
    pub fault: CheckFault,
}

/// What a change would bring about.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Effects {
    /// Accepted results that would lapse, in the ladder's order.
    pub lapsing: Vec<Lapsing>,
    /// Lapsed results that would stand again, in the ladder's order.
    pub restored: Vec<Restored>,
    /// Predictions for points still to be shown that would lose something they rest on.
    pub predictions: Vec<LostBasis>,
    /// Checks that would fall due.
    pub checks: Vec<FallsDue>,
    /// Points that have no such hold now, with the holds that would be new.
    pub holds: Vec<(PointCode, Vec<Hold>)>,
    /// Points that would be shown again.
    pub repeat: Repeat,
}

/// What a change would bring about at a moment.
pub fn effects(
    state: &State,
    supposed: &Supposed,
    by: &PersonHandle,
    now: DateTime<Utc>,
) -> Effects {
    let mut after = state.clone();
    if let Some(programme) = &state.id {
        let (seq, record) = (state.length() + 1, supposed.record());
        after.apply(&Entry::new(programme.clone(), seq, now, by.clone(), record.into()));
    }
    let (lapsing, restored) = standing(state, &after);
    let mut points: Vec<PointCode> = lapsing.iter().map(|it| it.point.clone()).collect();
    points.dedup();
    Effects {
        repeat: repeat(&after, &points),
        predictions: lost(state, &after, now),
        checks: due(state, &after, now),
        holds: new_holds(state, &after, now),
        lapsing,
        restored,
    }
}

fn standing(before: &State, after: &State) -> (Vec<Lapsing>, Vec<Restored>) {
    let (mut lapsing, mut restored) = (Vec::new(), Vec::new());
    for rung in after.ladder.rungs() {
        for id in &rung.results {
            let (was, is): (&ResultState, &ResultState) =
                (&before.results[id.0], &after.results[id.0]);
            let (point, run) = (is.point.clone(), is.run);
            match (&was.standing, &is.standing) {
                (Standing::Accepted, Standing::Lapsed(because)) => {
                    lapsing.push(Lapsing { point, run, because: because.clone() });
                }
                (Standing::Lapsed(_), Standing::Accepted) => restored.push(Restored { point, run }),
                _ => {}
            }
        }
    }
    (lapsing, restored)
}

fn lost(before: &State, after: &State, now: DateTime<Utc>) -> Vec<LostBasis> {
    let mut found = Vec::new();
    for rung in before.ladder.rungs() {
        if rung.dropped.is_some() {
            continue;
        }
        let then = predictions(after, &rung.point, now);
        for prediction in predictions(before, &rung.point, now).made {
            let left = then.of(&prediction.what);
            let reductions: Vec<ReductionNumber> = {
                let left = left.map_or(&[][..], |it| &it.basis.reductions);
                let lost = prediction.basis.reductions.iter().filter(|it| !left.contains(it));
                lost.copied().collect()
            };
            let runs: Vec<RunNumber> = {
                let left = left.map_or(&[][..], |it| &it.basis.runs);
                prediction.basis.runs.iter().filter(|it| !left.contains(it)).copied().collect()
            };
            if reductions.is_empty() && runs.is_empty() {
                continue;
            }
            let gone = then.unavailable.iter().find(|it| it.what == prediction.what).cloned();
            let (point, what) = (rung.point.code.clone(), prediction.what);
            found.push(LostBasis { point, what, reductions, runs, gone });
        }
    }
    found
}

fn due(before: &State, after: &State, now: DateTime<Utc>) -> Vec<FallsDue> {
    let checks = after.checks.by_code.iter();
    checks
        .filter_map(|(code, check)| {
            let fault = check_fault(check, after, now)?;
            let was = before.checks.by_code.get(code)?;
            check_fault(was, before, now).is_none().then(|| FallsDue { check: code.clone(), fault })
        })
        .collect()
}

/// Holds by rule and subject that a point did not have.
fn new_holds(before: &State, after: &State, now: DateTime<Utc>) -> Vec<(PointCode, Vec<Hold>)> {
    let mut found = Vec::new();
    for rung in after.ladder.rungs() {
        let code = &rung.point.code;
        let Some(was) = before.rung(code).filter(|_| rung.dropped.is_none()) else { continue };
        let mut had: BTreeMap<(&'static str, holds::Subject), usize> = BTreeMap::new();
        for reason in holds::reasons(before, was, now) {
            *had.entry((reason.rule().code, reason.subject(was))).or_default() += 1;
        }
        let reasons = holds::reasons(after, rung, now).into_iter();
        let new: Vec<Hold> = reasons
            .filter(|reason| !had.contains_key(&(reason.rule().code, reason.subject(rung))))
            .map(|reason| reason.told(rung, after))
            .collect();
        if !new.is_empty() {
            found.push((code.clone(), new));
        }
    }
    found
}
