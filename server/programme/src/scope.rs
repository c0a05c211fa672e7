//! A part of a programme that somebody asks evidence of: which records belong to it.
//!
//! What concerns no point or run in particular (limits, configuration, hazards, people, checks, weather, the keys of the ledger)
//! belongs to every part, since nobody could judge a point without it. Records are left out only where they are about points and
//! runs of other parts alone.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

use crate::codes::{DeviationNumber, ExceedanceNumber, PointCode, RunNumber};
use crate::entry::Entry;
use crate::nouns::Phase;
use crate::record::{Digest, Record};

/// A part of a programme.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(tag = "of", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Scope {
    /// All of it.
    Programme,
    /// The points of a phase and their runs.
    Phase {
        /// Which.
        phase: Phase,
    },
    /// A point and the runs that were to show it.
    Point {
        /// Which.
        point: PointCode,
    },
    /// What was done or recorded on a day in UTC, with the runs and points of that day.
    Day {
        /// Which.
        day: NaiveDate,
    },
}

impl fmt::Display for Scope {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Scope::Programme => f.write_str("the whole programme"),
            Scope::Phase { phase } => write!(f, "the phase {phase}"),
            Scope::Point { point } => write!(f, "the point {point}"),
            Scope::Day { day } => write!(f, "the day {day}"),
        }
    }
}

/// Nothing of the ledger belongs to a part.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("nothing in the ledger is about {0}; ask for a point, phase or day that it has")]
pub struct NothingInScope(pub Scope);

/// What is known of points, runs and recordings, from a first reading of the ledger.
#[derive(Debug)]
pub struct Survey {
    scope: Scope,
    phases: BTreeMap<PointCode, Phase>,
    runs: BTreeMap<RunNumber, Vec<PointCode>>,
    runs_of_day: BTreeSet<RunNumber>,
    something_that_day: bool,
    attached: Vec<(Digest, RunNumber)>,
    exceedances: BTreeMap<ExceedanceNumber, RunNumber>,
    deviations: BTreeMap<DeviationNumber, PointCode>,
}

/// Tells of each record whether it belongs to a part.
#[derive(Debug)]
pub struct Reach {
    scope: Scope,
    points: BTreeSet<PointCode>,
    runs: BTreeSet<RunNumber>,
    recordings: BTreeSet<Digest>,
    exceedances: BTreeMap<ExceedanceNumber, RunNumber>,
    deviations: BTreeMap<DeviationNumber, PointCode>,
}

impl Survey {
    /// Begins with no record read.
    pub fn of(scope: Scope) -> Self {
        Self {
            scope,
            phases: BTreeMap::new(),
            runs: BTreeMap::new(),
            runs_of_day: BTreeSet::new(),
            something_that_day: false,
            attached: Vec::new(),
            exceedances: BTreeMap::new(),
            deviations: BTreeMap::new(),
        }
    }

    /// Takes in the next record; all of them are to be taken in, in order.
    pub fn take(&mut self, entry: &Entry) {
        let that_day = is_of_day(&self.scope, entry);
        self.something_that_day |= that_day;
        match &entry.record {
            Record::PointPlanned(it) => {
                self.phases.insert(it.point.code.clone(), it.point.phase);
            }
            Record::RunOpened(it) => {
                self.runs.insert(it.run, it.points.clone());
                self.note_day(that_day, it.run);
            }
            Record::RunMomentNoted(it) => self.note_day(that_day, it.run),
            Record::RunClosed(it) => self.note_day(that_day, it.run),
            Record::RecordingAttached(it) => self.attached.push((it.recording.clone(), it.run)),
            Record::ExceedanceNoted(it) => {
                self.exceedances.insert(it.exceedance, it.run);
            }
            Record::ExceedanceFound(it) => {
                self.exceedances.insert(it.exceedance, it.run);
            }
            Record::BuildUpDeviationProposed(it) => {
                self.deviations.insert(it.deviation, it.point.clone());
            }
            // What else there is leads from no point to a run, nor back.
            _ => {}
        }
    }

    fn note_day(&mut self, that_day: bool, run: RunNumber) {
        if that_day {
            self.runs_of_day.insert(run);
        }
    }

    /// What belongs to the part, once every record was taken in.
    ///
    /// # Errors
    ///
    /// [`NothingInScope`], where there is no such point or phase, or nothing happened on that day.
    pub fn settle(self) -> Result<Reach, NothingInScope> {
        let of_points = |points: &BTreeSet<PointCode>| -> BTreeSet<RunNumber> {
            let runs = self.runs.iter();
            runs.filter(|(_, of)| of.iter().any(|point| points.contains(point)))
                .map(|(run, _)| *run)
                .collect()
        };
        let (points, runs) = match &self.scope {
            Scope::Programme => {
                (self.phases.keys().cloned().collect(), self.runs.keys().copied().collect())
            }
            Scope::Phase { phase } => {
                let of_phase = self.phases.iter().filter(|(_, of)| *of == phase);
                let points = of_phase.map(|(point, _)| point.clone()).collect();
                let runs = of_points(&points);
                (points, runs)
            }
            Scope::Point { point } => {
                let known = self.phases.get_key_value(point);
                let points = known.map(|(point, _)| point.clone()).into_iter().collect();
                let runs = of_points(&points);
                (points, runs)
            }
            Scope::Day { .. } => {
                let of_day = self.runs_of_day.iter().filter_map(|run| self.runs.get(run));
                (of_day.flatten().cloned().collect(), self.runs_of_day.clone())
            }
        };
        let found = match &self.scope {
            Scope::Programme => true,
            Scope::Phase { .. } | Scope::Point { .. } => !points.is_empty(),
            Scope::Day { .. } => self.something_that_day,
        };
        if !found {
            return Err(NothingInScope(self.scope));
        }
        let recordings = self.attached.into_iter().filter(|(_, run)| runs.contains(run));
        Ok(Reach {
            recordings: recordings.map(|(recording, _)| recording).collect(),
            scope: self.scope,
            points,
            runs,
            exceedances: self.exceedances,
            deviations: self.deviations,
        })
    }
}

impl Reach {
    /// Whether a record belongs to the part.
    pub fn has(&self, entry: &Entry) -> bool {
        if self.scope == Scope::Programme || is_of_day(&self.scope, entry) {
            return true;
        }
        let point = |point: &PointCode| self.points.contains(point);
        let run = |run: &RunNumber| self.runs.contains(run);
        let recording = |recording: &Digest| self.recordings.contains(recording);
        let exceedance = |number| self.exceedances.get(number).is_none_or(run);
        let deviation = |number| self.deviations.get(number).is_none_or(point);
        match &entry.record {
            Record::PointPlanned(it) => point(&it.point.code),
            Record::PointDropped(it) => point(&it.point),
            Record::PartSigned(it) => point(&it.point),
            Record::SigningRefused(it) => point(&it.point),
            Record::SignatureWithdrawn(it) => point(&it.point),
            Record::DampingStepJudged(it) => point(&it.point),
            Record::BuildUpDeviationProposed(it) => point(&it.point),
            Record::BuildUpDeviationAgreed(it) => deviation(&it.deviation),
            Record::BuildUpDeviationEnded(it) => deviation(&it.deviation),
            Record::RunOpened(it) => run(&it.run),
            Record::RunMomentNoted(it) => run(&it.run),
            Record::RunEnergyRead(it) => run(&it.run),
            Record::KnockedOff(it) => run(&it.run),
            Record::RunClosed(it) => run(&it.run),
            Record::RunTimesCorrected(it) => run(&it.run),
            Record::ResultRecorded(it) => run(&it.run) && point(&it.point),
            Record::RepeatNarrowed(it) => run(&it.run) && point(&it.point),
            Record::ExceedanceNoted(it) => run(&it.run),
            Record::ExceedanceFound(it) => run(&it.run),
            Record::ExceedanceExplained(it) => exceedance(&it.exceedance),
            Record::ExceedanceClosed(it) => exceedance(&it.exceedance),
            Record::RecordingTaken(it) => recording(&it.recording),
            Record::RecordingAttached(it) => recording(&it.recording),
            Record::RecordingSetAside(it) => recording(&it.recording),
            Record::ClockOffsetConfirmed(it) => recording(&it.recording) || recording(&it.against),
            Record::IntervalTaken(it) => run(&it.run),
            Record::ReductionMade(it) => run(&it.run),
            Record::HeatingOrderJudged(it) => run(&it.run),
            Record::PredictionsMade(it) => run(&it.run),
            // Plans and forecasts are about days, open nothing and hold nothing.
            Record::ForecastAssumed(_)
            | Record::ForecastMade(_)
            | Record::DayPlanProposed(_)
            | Record::DayLost(_) => false,
            Record::ProgrammeFounded(_)
            | Record::AircraftDescribed(_)
            | Record::PolicySet(_)
            | Record::PersonListed(_)
            | Record::ItemFitted(_)
            | Record::ItemRemoved(_)
            | Record::ChannelDefined(_)
            | Record::RecorderDescribed(_)
            | Record::LimitSet(_)
            | Record::LimitChangeProposed(_)
            | Record::LimitChangeAgreed(_)
            | Record::LimitChangeDeclined(_)
            | Record::CheckDefined(_)
            | Record::CheckDone(_)
            | Record::EventHappened(_)
            | Record::HazardRecorded(_)
            | Record::RiskAccepted(_)
            | Record::DocumentFiled(_)
            | Record::SnagOpened(_)
            | Record::SnagWorked(_)
            | Record::SnagClosed(_)
            | Record::ModelReviewed(_)
            | Record::WeatherObserved(_)
            | Record::StandDownCalled(_)
            | Record::StandDownLifted(_)
            | Record::CheckpointKeyChanged(_)
            | Record::CopyAcknowledged(_)
            | Record::ClockCompared(_) => true,
        }
    }
}

fn is_of_day(scope: &Scope, entry: &Entry) -> bool {
    let Scope::Day { day } = scope else { return false };
    let on = |moment: DateTime<Utc>| moment.date_naive() == *day;
    let about = matches!(&entry.record, Record::DayLost(it) if it.date == *day);
    about || on(entry.at) || on(entry.happened_at())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn frozen() -> Vec<Entry> {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/records");
        let files = std::fs::read_dir(folder).unwrap();
        let entries =
            files.map(|file| file.unwrap().path()).filter(|it| !it.ends_with("words-v1.json"));
        let texts = entries.map(|path| std::fs::read_to_string(path).unwrap());
        let mut entries: Vec<Entry> =
            texts.map(|text| Entry::from_json(text.trim_end()).unwrap()).collect();
        entries.sort_by_key(|entry| entry.seq);
        entries
    }

    fn kept(scope: Scope) -> Result<Vec<Entry>, NothingInScope> {
        let entries = frozen();
        let mut survey = Survey::of(scope);
        entries.iter().for_each(|entry| survey.take(entry));
        let reach = survey.settle()?;
        Ok(entries.into_iter().filter(|entry| reach.has(entry)).collect())
    }

    #[test]
    fn the_programme_is_every_record_and_a_part_leaves_out_only_what_is_about_others() {
        let all = kept(Scope::Programme).unwrap();
        assert_eq!(all, frozen());
        for entry in &all {
            let Record::PointPlanned(planned) = &entry.record else { continue };
            let of_point = kept(Scope::Point { point: planned.point.code.clone() }).unwrap();
            assert!(of_point.contains(entry) && of_point.len() < all.len());
            let founded = |entry: &Entry| matches!(entry.record, Record::ProgrammeFounded(_));
            assert!(of_point.iter().any(founded), "what concerns all is in it");
            let of_phase = kept(Scope::Phase { phase: planned.point.phase }).unwrap();
            assert!(of_point.iter().all(|entry| of_phase.contains(entry)));
        }
        let day = all[0].at.date_naive();
        let of_day = kept(Scope::Day { day }).unwrap();
        let on_day = |entry: &&Entry| entry.at.date_naive() == day;
        assert!(all.iter().filter(on_day).all(|entry| of_day.contains(entry)));
    }

    #[test]
    fn what_the_ledger_does_not_have_is_refused() {
        let nowhere = [
            Scope::Point { point: PointCode::new("XX-99").unwrap() },
            Scope::Day { day: NaiveDate::from_ymd_opt(1990, 1, 1).unwrap() },
        ];
        for scope in nowhere {
            assert_eq!(kept(scope.clone()), Err(NothingInScope(scope)));
        }
    }
}
