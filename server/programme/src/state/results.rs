//! Results and whether they stand.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::{DateTime, Utc};
use serde::Serialize;

use super::{Exceedance, Rung, Signature, Signer, State};
use crate::card::Fitted;
use crate::codes::{EventCode, ItemCode, LimitCode, PersonHandle, PointCode, RunNumber};
use crate::entry::Entry;
use crate::measure::Measure;
use crate::nouns::{Axis, Point, Statistic};
use crate::record::{
    Digest, MeasuredValue, RepeatNarrowed, ResultRecorded, ToleratedChange, ValueSource,
};
use crate::verdict::{self, LimitOutcome, Outcome, Verdict};

/// A place in [`State::results`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct ResultId(pub usize);

/// Why an accepted result does not stand any more.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, utoipa::ToSchema)]
#[serde(tag = "because", rename_all = "kebab-case")]
pub enum Lapse {
    /// An item that the point is sensitive to is not what it was in the run.
    ItemChanged {
        /// Which.
        item: ItemCode,
        /// What it was in the run; absent: not fitted.
        was: Option<String>,
        /// What it is now; absent: not fitted.
        is: Option<String>,
    },
    /// An item that the point is sensitive to is in quarantine: nobody knows whether it came through what happened.
    Quarantined {
        /// Which.
        item: ItemCode,
        /// Its version.
        version: String,
        /// What happened.
        event: EventCode,
        /// When.
        at: DateTime<Utc>,
    },
    /// The plan of the point was changed after the run.
    PlanChanged,
    /// Held against the limits as they are now, the result does not meet them.
    LimitChanged,
    /// Values of it come from a recording that was a mistake.
    RecordingSetAside {
        /// Which.
        recording: Digest,
    },
}

impl Lapse {
    /// Why, as the end of a sentence.
    pub fn in_words(&self) -> String {
        let version = |version: &Option<String>| {
            version.as_ref().map_or_else(|| "not fitted".to_owned(), |v| format!("\"{v}\""))
        };
        match self {
            Lapse::ItemChanged { item, was, is } => {
                format!("{item} was {} and is {} now", version(was), version(is))
            }
            Lapse::Quarantined { item, version, event, at } => {
                let since = at.format("%Y-%m-%d %H:%M UTC");
                format!("{item} \"{version}\" is in quarantine since {event} at {since}")
            }
            Lapse::PlanChanged => "its plan was changed after the run".to_owned(),
            Lapse::LimitChanged => "it does not meet the limits as they are now".to_owned(),
            Lapse::RecordingSetAside { recording } => {
                format!("values of it come from recording {recording}, which was set aside")
            }
        }
    }
}

/// Whether a result counts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Standing {
    /// Waits for signatures.
    Open,
    /// Not met, or something is missing.
    NotMet,
    /// Accepted by two people, and stands.
    Accepted,
    /// Was accepted, and does not stand any more.
    Lapsed(Lapse),
    /// The same run's result was recorded anew.
    Replaced,
}

/// What a run showed for one point.
#[derive(Debug, Clone, PartialEq)]
pub struct ResultState {
    /// The record.
    pub seq: u64,
    /// Who recorded it.
    pub by: PersonHandle,
    /// When.
    pub at: DateTime<Utc>,
    /// In which run.
    pub run: RunNumber,
    /// For which point.
    pub point: PointCode,
    /// The point as planned when the run was opened.
    pub planned: Arc<Point>,
    /// What was fitted in the run.
    pub fitted: Arc<Fitted>,
    /// What was measured.
    pub values: Vec<MeasuredValue>,
    /// What was reached on each axis.
    pub reached: BTreeMap<Axis, Measure>,
    /// What was seen, heard and felt.
    pub observations: String,
    /// What the values say.
    pub verdict: Verdict,
    /// The limits that it lay beyond when it was recorded, each with the statistic, also if they were changed since.
    pub beyond_at_first: Vec<(LimitCode, Statistic)>,
    /// An engineer's acceptance.
    pub engineering: Option<Signature>,
    /// The safety officer's acceptance.
    pub safety: Option<Signature>,
    /// Everybody who has signed a part, also where it was withdrawn or signed over.
    pub signers: Vec<Signer>,
    /// Whether it counts.
    pub standing: Standing,
    /// Changes of items for which the safety officer let it stand.
    pub tolerated: Vec<ToleratedChange>,
    replaced: bool,
}

impl ResultState {
    /// Whether it counts.
    pub fn is_accepted(&self) -> bool {
        self.standing == Standing::Accepted
    }

    /// Whether, held against the limits as they are now, it is not met, lacks something, or is beyond a limit that
    /// was not passed when it was recorded.
    pub fn speaks_against(&self) -> bool {
        let new = |(limit, statistic): (&LimitCode, Statistic)| {
            !self.beyond_at_first.iter().any(|(l, s)| l == limit && *s == statistic)
        };
        self.verdict.outcome != Outcome::Met || beyond(&self.verdict).any(new)
    }

    /// Whether it takes away what other results of its point have shown.
    fn takes_away(&self) -> bool {
        match self.standing {
            Standing::Replaced | Standing::Accepted => false,
            Standing::NotMet => true,
            // A repeat that was met and waits for its signatures takes nothing away. One that, held against the limits
            // as they are now, speaks against the point does, whatever else it lapsed for.
            Standing::Lapsed(_) | Standing::Open => self.speaks_against(),
        }
    }
}

/// The limits that a verdict finds passed, each with the statistic.
fn beyond(verdict: &Verdict) -> impl Iterator<Item = (&LimitCode, Statistic)> {
    let beyond = verdict.limits.iter().filter(|found| found.outcome == LimitOutcome::Beyond);
    beyond.map(|found| (&found.limit, found.statistic))
}

impl State {
    /// A result by run and point: the one recorded last.
    pub fn result(&self, run: RunNumber, point: &PointCode) -> Option<(ResultId, &ResultState)> {
        let rung = self.rung(point)?;
        let id = rung.results.iter().rev().copied().find(|id| self.results[id.0].run == run)?;
        Some((id, &self.results[id.0]))
    }

    /// The result that makes a point count: the last accepted one that stands, unless a result that nobody has
    /// accepted speaks otherwise and was recorded later or is of a later run.
    ///
    /// So a repeat that is not met closes what the point had opened, until the point is shown again; a result of an
    /// earlier run that somebody types in late does not show it again.
    pub fn accepted_result(&self, code: &PointCode) -> Option<ResultId> {
        self.accepted_result_of(self.rung(code)?)
    }

    /// As [`State::accepted_result`], of a rung.
    pub fn accepted_result_of(&self, rung: &Rung) -> Option<ResultId> {
        for (place, id) in rung.results.iter().enumerate().rev() {
            let result = &self.results[id.0];
            if result.takes_away() {
                return None;
            }
            // Runs are mostly recorded in their order, and then no earlier record is of a later run.
            let answered = result.run >= rung.latest_run
                || !rung.results[..place]
                    .iter()
                    .map(|id| &self.results[id.0])
                    .any(|other| other.run > result.run && other.takes_away());
            if result.is_accepted() && answered {
                return Some(*id);
            }
        }
        None
    }

    pub(super) fn record_result(&mut self, body: &ResultRecorded, entry: &Entry) {
        // What was run is what the plan was when the run was opened, whatever was planned since.
        let as_run = self.run(body.run).and_then(|run| run.planned(&body.point));
        let as_planned_now = || self.rung(&body.point).map(|rung| &rung.point);
        let Some(planned) = as_run.or_else(as_planned_now).map(Arc::clone) else { return };
        let fitted =
            self.run(body.run).map_or_else(|| self.configuration.fitted(), |run| run.fitted());
        let verdict = {
            let limits = self.limits_in_force(&planned).map(|state| &*state.limit);
            verdict::judge(&planned, limits, &body.values, &body.reached)
        };
        if verdict.exceeded {
            self.list_unnoted(body.run, &verdict);
        }
        let id = ResultId(self.results.len());
        self.results.push(ResultState {
            seq: entry.seq,
            by: entry.by.clone(),
            at: entry.happened_at(),
            run: body.run,
            point: body.point.clone(),
            planned,
            fitted,
            values: body.values.clone(),
            reached: body.reached.clone(),
            observations: body.observations.clone(),
            beyond_at_first: beyond(&verdict).map(|(limit, s)| (limit.clone(), s)).collect(),
            verdict,
            engineering: None,
            safety: None,
            signers: Vec::new(),
            standing: Standing::Open,
            tolerated: Vec::new(),
            replaced: false,
        });
        let mut concerned = vec![id];
        if let Some(rung) = self.ladder.get_mut(&body.point) {
            let results = &self.results;
            concerned.extend(
                rung.results.iter().copied().filter(|earlier| results[earlier.0].run == body.run),
            );
            rung.results.push(id);
            rung.latest_run = rung.latest_run.max(body.run);
        }
        for earlier in &concerned[1..] {
            self.results[earlier.0].replaced = true;
        }
        self.stand_anew(&concerned);
    }

    /// The result stands though items changed, so long as they are exactly what they were when the safety officer said so.
    pub(super) fn narrow_repeat(&mut self, body: &RepeatNarrowed) {
        let Some((id, _)) = self.result(body.run, &body.point) else { return };
        self.results[id.0].tolerated.extend(body.changes.iter().cloned());
        self.stand_anew(&[id]);
    }

    /// Every item that an accepted result's point is sensitive to and that is not what it was in the run.
    pub fn changes_since(&self, result: &ResultState) -> Vec<ToleratedChange> {
        let now = self.rung(&result.point).map(|rung| &rung.point.sensitive_to);
        let sensitive = result.planned.sensitive_to.iter().chain(now.into_iter().flatten());
        let mut changes: Vec<ToleratedChange> = Vec::new();
        for item in sensitive {
            let (was, is) = (result.fitted.get(item), self.configuration.version(item));
            if was.map(String::as_str) != is && !changes.iter().any(|known| known.item == *item) {
                let (was, is) = (was.cloned(), is.map(str::to_owned));
                changes.push(ToleratedChange { item: item.clone(), was, is });
            }
        }
        changes
    }

    /// Lists what lies beyond a limit and was not noted as an exceedance of the run.
    fn list_unnoted(&mut self, run: RunNumber, verdict: &Verdict) {
        for (limit, _) in beyond(verdict) {
            let noted = self.exceedances.iter().any(|e| e.run == run && e.limit == *limit);
            let listed = self.unnoted_exceedances.iter().any(|(r, l)| *r == run && l == limit);
            if !noted && !listed {
                self.unnoted_exceedances.push((run, limit.clone()));
            }
        }
    }

    /// Lists an exceedance. The acceptances of a result stand for the exceedances that were known; one noted later voids
    /// them.
    pub(super) fn exceedance_noted(&mut self, noted: Exceedance) {
        self.open_exceedances.push(noted.number);
        self.unnoted_exceedances.retain(|(run, limit)| *run != noted.run || *limit != noted.limit);
        let points = self.run(noted.run).map_or(&[][..], |run| run.points.as_slice());
        let concerned: Vec<ResultId> = points
            .iter()
            .filter_map(|point| self.result(noted.run, point))
            .filter(|(_, result)| {
                noted.point.as_ref() == Some(&result.point)
                    || self.exceedance_concerns(&noted.limit, noted.run, &result.planned)
            })
            .map(|(id, _)| id)
            .collect();
        self.exceedances.push(noted);
        for id in &concerned {
            self.results[id.0].engineering = None;
            self.results[id.0].safety = None;
        }
        self.stand_anew(&concerned);
    }

    /// Looks again at whether results stand, and at what is shown.
    pub(super) fn stand_anew(&mut self, concerned: &[ResultId]) {
        let mut lost = false;
        for id in concerned {
            let standing = self.standing(*id);
            let was_accepted = self.results[id.0].standing == Standing::Accepted;
            lost |= was_accepted && standing != Standing::Accepted;
            if self.results[id.0].standing != standing {
                self.results[id.0].standing = standing;
                self.restood.push(*id);
            }
            if !was_accepted && self.results[id.0].is_accepted() {
                self.envelope.widen(*id, &self.results[id.0]);
            }
        }
        if lost {
            self.envelope = crate::envelope::AxesShown::default();
            for (place, result) in self.results.iter().enumerate() {
                if result.is_accepted() {
                    self.envelope.widen(ResultId(place), result);
                }
            }
        }
    }

    fn standing(&self, id: ResultId) -> Standing {
        let result = &self.results[id.0];
        if result.replaced {
            return Standing::Replaced;
        }
        // Two people accept a result together only where they signed the same: values, verdict and exceedances.
        let accepted = match (&result.engineering, &result.safety) {
            (Some(engineering), Some(safety)) => engineering.digest == safety.digest,
            (Some(_) | None, None) | (None, Some(_)) => false,
        };
        if !accepted {
            return if result.verdict.outcome == Outcome::Met {
                Standing::Open
            } else {
                Standing::NotMet
            };
        }
        if let Some(lapse) = self.lapse(result) {
            return Standing::Lapsed(lapse);
        }
        Standing::Accepted
    }

    fn lapse(&self, result: &ResultState) -> Option<Lapse> {
        let rung = self.rung(&result.point)?;
        let now = &rung.point;
        let sensitive = result.planned.sensitive_to.iter().chain(&now.sensitive_to);
        for item in sensitive {
            let (was, is) = (result.fitted.get(item), self.configuration.version(item));
            let tolerated = |change: &ToleratedChange| {
                change.item == *item && change.was.as_ref() == was && change.is.as_deref() == is
            };
            if was.map(String::as_str) != is && !result.tolerated.iter().any(tolerated) {
                return Some(Lapse::ItemChanged {
                    item: item.clone(),
                    was: was.cloned(),
                    is: is.map(str::to_owned),
                });
            }
        }
        let sensitive = result.planned.sensitive_to.iter().chain(&now.sensitive_to);
        if let Some(it) = sensitive.filter_map(|item| self.quarantine(item)).next() {
            return Some(Lapse::Quarantined {
                item: it.item.clone(),
                version: it.version.clone(),
                event: it.event.clone(),
                at: it.at,
            });
        }
        self.lapse_but_for_items(result, now)
    }

    fn lapse_but_for_items(&self, result: &ResultState, now: &Arc<Point>) -> Option<Lapse> {
        if !Arc::ptr_eq(now, &result.planned) && **now != *result.planned {
            return Some(Lapse::PlanChanged);
        }
        if result.speaks_against() {
            return Some(Lapse::LimitChanged);
        }
        let recording = self.set_aside_since_filled(result)?.clone();
        Some(Lapse::RecordingSetAside { recording })
    }

    /// Whether nothing but items changed since speaks against a result that was accepted.
    pub(crate) fn stands_but_for_items(&self, result: &ResultState) -> bool {
        self.rung(&result.point)
            .is_some_and(|rung| self.lapse_but_for_items(result, &rung.point).is_none())
    }

    /// The first recording that a result was filled from and that was set aside since.
    pub fn set_aside_since_filled<'a>(&'a self, result: &'a ResultState) -> Option<&'a Digest> {
        result.values.iter().find_map(|value| match &value.source {
            ValueSource::TypedIn {} => None,
            ValueSource::Recording { recording, interval, .. } => {
                let taken_of = self.recordings.interval(*interval).map(|it| &it.recording);
                let mut of = std::iter::once(recording).chain(taken_of);
                of.find(|recording| !self.recordings.counts(recording, result.seq))
            }
        })
    }
}
