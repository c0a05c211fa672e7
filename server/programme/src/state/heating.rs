//! In which order components heat: what recordings of runs say, and what that says of the aircraft as it is now.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::{DateTime, Utc};

use super::State;
use crate::card::Fitted;
use crate::codes::{LimitCode, PersonHandle, RunNumber};
use crate::entry::Entry;
use crate::nouns::Policy;
use crate::record::{Digest, HeatingComponent, HeatingOrderJudged, HeatingOutcome};

/// What one recording of a run says about the order.
#[derive(Debug, Clone, PartialEq)]
pub struct HeatingJudgement {
    /// The record.
    pub seq: u64,
    /// By whom.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// In which run.
    pub run: RunNumber,
    /// By which recording.
    pub recording: Digest,
    /// Each component, in the order in which they were meant to reach their limits.
    pub components: Vec<HeatingComponent>,
    /// How it came out.
    pub outcome: HeatingOutcome,
    /// The limit that would be reached first.
    pub first: Option<LimitCode>,
    /// The horizon by which it was judged, in minutes.
    pub horizon_min: Option<u32>,
    fitted: Arc<Fitted>,
}

/// The judgements by run and recording. Where a recording was judged anew the new judgement holds, but one that knows
/// nothing takes the place of none that found the order wrong.
pub type HeatingJudgements = BTreeMap<(RunNumber, Digest), HeatingJudgement>;

/// What is not right about the order in which components heat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum HeatingTrouble<'a> {
    /// A run showed it wrong, and none since showed it right.
    OutOfOrder(&'a HeatingJudgement),
    /// A run was judged, and it is not known how it is now.
    Unknown(&'a HeatingJudgement),
}

impl State {
    pub(super) fn judge_heating(&mut self, body: &HeatingOrderJudged, entry: &Entry) {
        let fitted =
            self.run(body.run).map_or_else(|| self.configuration.fitted(), |run| run.fitted());
        let key = (body.run, body.recording.clone());
        if body.outcome == HeatingOutcome::Unknown
            && self.heating.get(&key).is_some_and(|it| it.outcome == HeatingOutcome::OutOfOrder)
        {
            return;
        }
        self.heating.insert(
            key,
            HeatingJudgement {
                seq: entry.seq,
                by: entry.by.clone(),
                at: entry.at,
                run: body.run,
                recording: body.recording.clone(),
                components: body.components.clone(),
                outcome: body.outcome,
                first: body.first.clone(),
                horizon_min: body.horizon_min,
                fitted,
            },
        );
    }

    /// What is not right about the order in which components heat, where the policy has one and runs were judged.
    ///
    /// A run that showed the order right, with what is fitted now, settles all runs before it. Of those after it one
    /// that showed it wrong weighs more than any for which it is not known. A wrong order of another configuration, or
    /// held against other limits or another order than now, is not forgotten: how it is now is not known. It is settled
    /// where a later run with the same items as it had showed the order right, though items have changed since.
    pub fn heating_trouble(&self) -> Option<HeatingTrouble<'_>> {
        let policy = self.policy.as_ref()?;
        if policy.heating_order.is_empty() {
            return None;
        }
        let mut unknown = None;
        let mut right: Vec<&Fitted> = Vec::new();
        let mut judged = self.heating.values().rev().peekable();
        // The latest run first, with all that its recordings say together.
        while let Some(latest) = judged.peek().map(|judgement| judgement.run) {
            let mut in_order = false;
            let mut unknown_here = None;
            let mut right_here = Vec::new();
            while let Some(judgement) = judged.next_if(|judgement| judgement.run == latest) {
                if right.contains(&&*judgement.fitted) {
                    continue;
                }
                if self.shows_order(judgement, policy) {
                    right_here.push(&*judgement.fitted);
                }
                match self.heating_now(judgement, policy) {
                    Some(HeatingOutcome::OutOfOrder) => {
                        return Some(HeatingTrouble::OutOfOrder(judgement));
                    }
                    Some(HeatingOutcome::InOrder) => in_order = true,
                    Some(HeatingOutcome::Unknown) => unknown_here = Some(judgement),
                    None => {}
                }
            }
            if in_order {
                break;
            }
            right.extend(right_here);
            unknown = unknown.or(unknown_here);
        }
        unknown.map(HeatingTrouble::Unknown)
    }

    /// Whether a judgement says by the policy and the limits as they are that the order was right, whatever was fitted.
    fn shows_order(&self, judgement: &HeatingJudgement, policy: &Policy) -> bool {
        judgement.outcome == HeatingOutcome::InOrder
            && self.says(judgement, policy)
            && self.recordings.all_count(judgement.run, judgement.seq)
    }

    /// Whether it was judged by the policy and the limits as they are, by a recording that counts.
    fn says(&self, judgement: &HeatingJudgement, policy: &Policy) -> bool {
        let limits = judgement.components.iter().map(|it| &it.limit);
        let same_order =
            limits.eq(&policy.heating_order) && judgement.horizon_min == policy.heating_horizon_min;
        let same_limits = judgement.components.iter().all(|component| {
            let now = self.limits.by_code.get(&component.limit);
            now.is_some_and(|now| now.changed_at == component.limit_revision)
        });
        same_order && same_limits && self.recordings.counts(&judgement.recording, judgement.seq)
    }

    /// What a judgement says about what is fitted now; absent where it says nothing.
    fn heating_now(&self, judgement: &HeatingJudgement, policy: &Policy) -> Option<HeatingOutcome> {
        let same_fit = *judgement.fitted == *self.configuration.fitted();
        let says = self.says(judgement, policy);
        match judgement.outcome {
            HeatingOutcome::OutOfOrder if same_fit && says => Some(HeatingOutcome::OutOfOrder),
            HeatingOutcome::OutOfOrder => Some(HeatingOutcome::Unknown),
            HeatingOutcome::InOrder | HeatingOutcome::Unknown if !same_fit => None,
            // Components are spread over recorders, so that all recordings of the run show the order together.
            HeatingOutcome::InOrder if self.shows_order(judgement, policy) => {
                Some(HeatingOutcome::InOrder)
            }
            HeatingOutcome::InOrder | HeatingOutcome::Unknown => Some(HeatingOutcome::Unknown),
        }
    }
}
