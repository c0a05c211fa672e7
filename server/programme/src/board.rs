//! The whole ladder's holds, kept up to date record by record.
//!
//! What follows from a point, its signatures, its results and its prerequisites is kept, and looked at again only for
//! the points that a record concerns. What follows from predictions is worked out when a point is read, and kept until
//! the next record of any kind. What many points share (a check, the weather, a stand-down) is looked up when a point is
//! read, so that one record never has to visit them all; whoever reads the same point again within a second is told the
//! same (`seen`). A release begins and ends by the clock alone; a queue of wake-up moments says when.
//!
//! Reading is right at any moment and for any state: where what is kept does not belong to them, the point is looked at
//! from nothing.

mod seen;
#[cfg(test)]
mod tests;

use std::cmp::Reverse;
use std::collections::{BinaryHeap, HashMap};
use std::sync::{Arc, Mutex, PoisonError};

use chrono::{DateTime, Utc};

use crate::codes::{HazardCode, LimitCode, PointCode};
use crate::entry::Entry;
use crate::holds::{self, Hold, Reason, Stage, Subject};
use crate::nouns::Phase;
use crate::prediction::observed_lately;
use crate::record::Record;
use crate::state::{Rung, State};
use seen::Seen;

/// The holds of every point. Any number may read one at the same time.
#[derive(Debug)]
pub struct Board {
    /// The number of the last record taken in.
    length: u64,
    now: DateTime<Utc>,
    /// By place in the ladder.
    kept: Vec<Kept>,
    /// Moments at which a point is to be looked at again.
    wake_ups: BinaryHeap<Reverse<(DateTime<Utc>, usize)>>,
    /// What follows from predictions, of the points that somebody has read since the last record.
    foreseen: Mutex<Foreseen>,
    seen: Seen,
}

/// What follows from predictions, while nothing is recorded and as much is known of the weather.
#[derive(Debug, Clone, Default)]
struct Foreseen {
    /// After which record, and whether the weather was observed lately.
    known: (u64, bool),
    /// By place in the ladder.
    reasons: HashMap<usize, Arc<[Reason]>>,
}

/// What is kept of one point, and for which moments it is right.
#[derive(Debug, Clone)]
struct Kept {
    reasons: Vec<Reason>,
    from: DateTime<Utc>,
    /// Up to, not including; absent: until another record.
    until: Option<DateTime<Utc>>,
}

impl Kept {
    fn of(state: &State, rung: &Rung, now: DateTime<Utc>) -> Self {
        Self {
            reasons: holds::kept_reasons(state, rung, now),
            from: now,
            until: holds::next_change_of_release(rung, now),
        }
    }

    fn is_right_at(&self, now: DateTime<Utc>) -> bool {
        self.from <= now && self.until.is_none_or(|until| now < until)
    }
}

/// What can be done next. Points that were shown, or taken out of the plan, are in neither list.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Next {
    /// Points that nothing holds: all stated conditions are met.
    pub unheld: Vec<PointCode>,
    /// Points that can be released, and are held against the run.
    pub held_for_run: Vec<PointCode>,
}

/// A hold that alone keeps points held.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WouldOpen {
    /// The code of the rule.
    pub rule: &'static str,
    /// What it is about.
    pub subject: Subject,
    /// What the points could do if it cleared: be released, or, where they could be already, be run.
    pub stage: Stage,
    /// The points that nothing else of that stage holds, in the ladder's order.
    ///
    /// Where the points ask for different amounts of one thing (a step, the weather), clearing it for one may not
    /// clear it for all.
    pub points: Vec<PointCode>,
}

impl Board {
    /// Looks at every point of a state.
    pub fn new(state: &State, now: DateTime<Utc>) -> Self {
        let mut board = Self {
            length: 0,
            now,
            kept: Vec::new(),
            wake_ups: BinaryHeap::new(),
            foreseen: Mutex::default(),
            seen: Seen::default(),
        };
        board.look_at_all(state);
        board
    }

    fn look_at_all(&mut self, state: &State) {
        self.length = state.length();
        self.wake_ups.clear();
        // Maybe of another past of as many records.
        self.foreseen = Mutex::default();
        self.seen = Seen::default();
        self.kept =
            state.ladder.rungs().iter().map(|rung| Kept::of(state, rung, self.now)).collect();
        let wake_ups = self.kept.iter().enumerate();
        self.wake_ups
            .extend(wake_ups.filter_map(|(place, kept)| Some(Reverse((kept.until?, place)))));
    }

    fn look_at(&mut self, place: usize, state: &State) {
        let Some(rung) = state.ladder.rungs().get(place) else { return };
        let kept = Kept::of(state, rung, self.now);
        if let Some(until) = kept.until {
            self.wake_ups.push(Reverse((until, place)));
        }
        // Points are planned one by one, so a new one is the next.
        if place < self.kept.len() {
            self.kept[place] = kept;
        } else {
            self.kept.push(kept);
        }
    }

    /// Takes in the record that was applied to the state last, and gives the places of the points whose kept reasons
    /// were looked at again, in order.
    ///
    /// Where records were left out, everything is looked at.
    pub fn take_in(&mut self, state: &State, entry: &Entry) -> Vec<usize> {
        if entry.seq != self.length + 1 || state.length() != entry.seq {
            self.look_at_all(state);
            return (0..self.kept.len()).collect();
        }
        let mut places = self.due(entry.at);
        self.length = entry.seq;
        concerned(state, entry, &mut places);
        places.sort_unstable();
        places.dedup();
        for place in &places {
            self.look_at(*place, state);
        }
        places
    }

    /// Lets time pass, and gives the places of the points that were looked at again for it, in order.
    ///
    /// Where it passes backwards, or records were left out, everything is looked at.
    pub fn advance(&mut self, state: &State, now: DateTime<Utc>) -> Vec<usize> {
        if now < self.now || state.length() != self.length {
            self.now = now;
            self.look_at_all(state);
            return (0..self.kept.len()).collect();
        }
        let mut places = self.due(now);
        places.sort_unstable();
        places.dedup();
        for place in &places {
            self.look_at(*place, state);
        }
        places
    }

    /// Whether [`Board::advance`] would change nothing, since no record and no wake-up came meanwhile.
    pub fn stands(&self, state: &State, now: DateTime<Utc>) -> bool {
        let waked = self.wake_ups.peek().is_some_and(|Reverse((moment, _))| *moment <= now);
        self.now <= now && state.length() == self.length && !waked
    }

    /// Moves the clock on, and takes out of the queue what is due.
    fn due(&mut self, now: DateTime<Utc>) -> Vec<usize> {
        self.now = self.now.max(now);
        let mut places = Vec::new();
        while let Some(Reverse((moment, place))) = self.wake_ups.peek().copied() {
            if moment > self.now {
                break;
            }
            self.wake_ups.pop();
            places.push(place);
        }
        places
    }

    /// Every reason that holds the point at a place of the ladder; none for a place without a point.
    pub fn reasons(&self, place: usize, state: &State, now: DateTime<Utc>) -> Arc<[Reason]> {
        self.lasting_reasons(place, state, now).0
    }

    /// As [`Board::reasons`], with whether it is known that time alone changes nothing of them before the next whole second.
    pub fn lasting_reasons(
        &self,
        place: usize,
        state: &State,
        now: DateTime<Utc>,
    ) -> (Arc<[Reason]>, bool) {
        let Some(rung) = state.ladder.rungs().get(place) else { return (Arc::default(), true) };
        let look = |moment| match self.kept_at(place, state, moment) {
            Some(kept) => {
                let foreseen = self.foreseen_at(place, state, rung, moment);
                holds::reasons_beside(&kept.reasons, &foreseen, state, rung, moment)
            }
            None => holds::reasons(state, rung, moment),
        };
        // Some keep the moment at which they were found, from which nothing follows but what they say.
        let say_the_same = |one: &Reason, other: &Reason| {
            one == other || one.told(rung, state) == other.told(rung, state)
        };
        self.seen.reasons(place, state.length(), now, look, say_the_same)
    }

    /// What follows from predictions, worked out once for all who read until something changes it.
    fn foreseen_at(
        &self,
        place: usize,
        state: &State,
        rung: &Rung,
        now: DateTime<Utc>,
    ) -> Arc<[Reason]> {
        let known = (self.length, observed_lately(state, now).is_some());
        let mut foreseen = self.foreseen.lock().unwrap_or_else(PoisonError::into_inner);
        if foreseen.known != known {
            *foreseen = Foreseen { known, reasons: HashMap::new() };
        }
        let reasons = foreseen.reasons.entry(place);
        Arc::clone(reasons.or_insert_with(|| holds::predicted_reasons(state, rung, now).into()))
    }

    fn kept_at(&self, place: usize, state: &State, now: DateTime<Utc>) -> Option<&Kept> {
        let kept = self.kept.get(place)?;
        (self.length == state.length() && kept.is_right_at(now)).then_some(kept)
    }

    /// Every hold on the point at a place of the ladder; none for a place without a point.
    pub fn holds(&self, place: usize, state: &State, now: DateTime<Utc>) -> Vec<Hold> {
        let Some(rung) = state.ladder.rungs().get(place) else { return Vec::new() };
        self.reasons(place, state, now).iter().map(|reason| reason.told(rung, state)).collect()
    }

    /// Points that still are to be shown, with their places.
    fn to_be_shown<'a>(&self, state: &'a State) -> impl Iterator<Item = (usize, &'a Rung)> {
        state
            .ladder
            .rungs()
            .iter()
            .enumerate()
            .filter(|(_, rung)| rung.dropped.is_none() && state.accepted_result_of(rung).is_none())
    }

    /// What can be done next, in the ladder's order.
    pub fn next(&self, state: &State, now: DateTime<Utc>) -> Next {
        let mut next = Next::default();
        for (place, rung) in self.to_be_shown(state) {
            // Most points wait for others, which what is kept of them says already.
            let kept = self.kept_at(place, state, now);
            let waits = |kept: &Kept| kept.reasons.iter().any(|r| r.stage() == Stage::Release);
            if kept.is_some_and(waits) {
                continue;
            }
            let reasons = self.reasons(place, state, now);
            if reasons.is_empty() {
                next.unheld.push(rung.point.code.clone());
            } else if reasons.iter().all(|reason| reason.stage() == Stage::Run) {
                next.held_for_run.push(rung.point.code.clone());
            }
        }
        next
    }

    /// What would open if a hold cleared: each hold that alone keeps points held, the one with the most points first.
    pub fn would_open(&self, state: &State, now: DateTime<Utc>) -> Vec<WouldOpen> {
        let mut groups: HashMap<(&'static str, Subject), (Stage, Vec<PointCode>)> = HashMap::new();
        for (place, rung) in self.to_be_shown(state) {
            let kept = self.kept_at(place, state, now).map_or(&[][..], |kept| &kept.reasons);
            if matches!(only_key(kept, rung, Stage::Release), Only::Several) {
                continue;
            }
            let reasons = self.reasons(place, state, now);
            let only = match only_key(&reasons, rung, Stage::Release) {
                Only::One(rule, subject) => Some((Stage::Release, rule, subject)),
                Only::Several => None,
                Only::None => match only_key(&reasons, rung, Stage::Run) {
                    Only::One(rule, subject) => Some((Stage::Run, rule, subject)),
                    Only::Several | Only::None => None,
                },
            };
            if let Some((stage, rule, subject)) = only {
                let group = groups.entry((rule, subject)).or_insert((stage, Vec::new()));
                group.1.push(rung.point.code.clone());
            }
        }
        let mut all: Vec<WouldOpen> = groups
            .into_iter()
            .map(|((rule, subject), (stage, points))| WouldOpen { rule, subject, stage, points })
            .collect();
        all.sort_by(|one, other| {
            let by_points = other.points.len().cmp(&one.points.len());
            by_points.then_with(|| (one.rule, &one.subject).cmp(&(other.rule, &other.subject)))
        });
        all
    }
}

/// Whether reasons of a stage are all of one rule and about one thing.
enum Only {
    None,
    One(&'static str, Subject),
    Several,
}

fn only_key(reasons: &[Reason], rung: &Rung, stage: Stage) -> Only {
    let mut of_stage = reasons.iter().filter(|reason| reason.stage() == stage);
    let Some(first) = of_stage.next() else { return Only::None };
    let (rule, subject) = (first.rule().code, first.subject(rung));
    if of_stage.all(|other| other.rule().code == rule && other.subject(rung) == subject) {
        Only::One(rule, subject)
    } else {
        Only::Several
    }
}

/// The places of the points whose kept reasons a record can change.
fn concerned(state: &State, entry: &Entry, places: &mut Vec<usize>) {
    for id in state.restood() {
        with_dependents(&state.results[id.0].point, state, places);
    }
    match &entry.record {
        Record::PointPlanned(body) => with_dependents(&body.point.code, state, places),
        Record::PointDropped(body) => with_dependents(&body.point, state, places),
        Record::PartSigned(body) => with_dependents(&body.point, state, places),
        Record::SigningRefused(body) => with_dependents(&body.point, state, places),
        Record::SignatureWithdrawn(body) => with_dependents(&body.point, state, places),
        Record::ResultRecorded(body) => with_dependents(&body.point, state, places),
        Record::LimitSet(body) => of_limit(&body.limit.code, state, entry, places),
        Record::LimitChangeAgreed(body) => {
            if let Some(proposal) = state.limits.proposal(body.proposal) {
                of_limit(&proposal.limit.code, state, entry, places);
            }
        }
        Record::HazardRecorded(body) => of_hazard(&body.hazard.code, state, entry, places),
        Record::ItemFitted(_) | Record::ItemRemoved(_) => {
            if state.configuration.changed_at == entry.seq {
                places.extend(all_where(state, |rung| rung.release.is_some()));
            }
        }
        // These concern what is looked up when a point is read.
        Record::ProgrammeFounded(_)
        | Record::AircraftDescribed(_)
        | Record::PolicySet(_)
        | Record::PersonListed(_)
        | Record::ChannelDefined(_)
        | Record::RecorderDescribed(_)
        | Record::LimitChangeProposed(_)
        | Record::LimitChangeDeclined(_)
        | Record::CheckDefined(_)
        | Record::CheckDone(_)
        | Record::EventHappened(_)
        | Record::RiskAccepted(_)
        | Record::DocumentFiled(_)
        | Record::RunOpened(_)
        | Record::RunMomentNoted(_)
        | Record::RunEnergyRead(_)
        | Record::KnockedOff(_)
        | Record::RunClosed(_)
        | Record::RunTimesCorrected(_)
        | Record::ExceedanceNoted(_)
        | Record::ExceedanceFound(_)
        | Record::BuildUpDeviationProposed(_)
        | Record::BuildUpDeviationAgreed(_)
        | Record::BuildUpDeviationEnded(_)
        | Record::RecordingTaken(_)
        | Record::RecordingAttached(_)
        | Record::RecordingSetAside(_)
        | Record::ClockOffsetConfirmed(_)
        | Record::IntervalTaken(_)
        | Record::ReductionMade(_)
        | Record::HeatingOrderJudged(_)
        | Record::PredictionsMade(_)
        | Record::ModelReviewed(_)
        | Record::DampingStepJudged(_)
        | Record::RepeatNarrowed(_)
        | Record::ForecastAssumed(_)
        | Record::ForecastMade(_)
        | Record::DayPlanProposed(_)
        | Record::DayLost(_)
        | Record::ExceedanceExplained(_)
        | Record::ExceedanceClosed(_)
        | Record::SnagOpened(_)
        | Record::SnagWorked(_)
        | Record::SnagClosed(_)
        | Record::WeatherObserved(_)
        | Record::StandDownCalled(_)
        | Record::StandDownLifted(_)
        | Record::CheckpointKeyChanged(_)
        | Record::CopyAcknowledged(_)
        | Record::ClockCompared(_) => {}
    }
}

fn with_dependents(code: &PointCode, state: &State, places: &mut Vec<usize>) {
    places.extend(state.ladder.place(code));
    let dependents = state.ladder.dependents(code);
    places.extend(dependents.iter().filter_map(|code| state.ladder.place(code)));
}

fn all_where(state: &State, which: impl Fn(&Rung) -> bool) -> impl Iterator<Item = usize> {
    let rungs = state.ladder.rungs().iter().enumerate();
    rungs.filter(move |(_, rung)| which(rung)).map(|(place, _)| place)
}

/// The points in whose phase a changed limit holds or held, and those that name it.
fn of_limit(code: &LimitCode, state: &State, entry: &Entry, places: &mut Vec<usize>) {
    let Some(limit) = state.limits.by_code.get(code) else { return };
    if limit.changed_at != entry.seq {
        return;
    }
    let earlier = limit.earlier.iter().map(|earlier| &earlier.limit);
    let versions = std::iter::once(&limit.limit).chain(earlier);
    let phases: Vec<Phase> = versions.flat_map(|limit| limit.phases.clone()).collect();
    places.extend(all_where(state, |rung| {
        phases.contains(&rung.point.phase) || rung.point.limits.contains(code)
    }));
}

fn of_hazard(code: &HazardCode, state: &State, entry: &Entry, places: &mut Vec<usize>) {
    if state.hazards.get(code).is_some_and(|hazard| hazard.changed_at == entry.seq) {
        places.extend(all_where(state, |rung| rung.point.hazards.contains(code)));
    }
}
