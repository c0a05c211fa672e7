//! The state of a programme: the fold of its records.
//!
//! One file per noun holds its part of the state and how records change it; [`State::apply`] hands each record to
//! the parts that it concerns. Nothing here refuses: what is recorded has happened.

mod checks;
mod configuration;
mod course;
mod deviations;
mod exceedances;
mod hazards;
mod heating;
mod keeping;
mod ladder;
mod limits;
mod planning;
mod predictions;
mod quarantine;
mod recordings;
mod results;
mod revisions;
mod runs;
mod signing;
mod snags;
mod stops;

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use chrono::{DateTime, Utc};

use checks::PoweredSpan;
pub use checks::{CheckState, Checks, Done, Happening};
pub use configuration::{Change, Configuration, FittedItem};
pub use course::{Course, CourseDay, PointsByPhase, Stage, StandingPoints};
pub use deviations::{Deviation, DeviationFate};
pub use exceedances::{Exceedance, Explanation, FoundInRecording};
pub use hazards::{AcceptedRisk, HazardState};
pub use heating::{HeatingJudgement, HeatingJudgements, HeatingTrouble};
pub use keeping::{CLOCKS_APART, CopyAcknowledgement, Furthest, Keeping, KeyInForce};
pub use ladder::{Dropped, Ladder, Rung};
use limits::ChangedLimit;
pub use limits::{EarlierLimit, LimitState, Limits, Proposal, ProposalFate};
pub use planning::{AssumedForecast, LostDay, MadeForecast, Planning, ProposedDay};
pub use predictions::{DampingJudgement, MadePredictions, ModelReview, Predictions};
pub use quarantine::Quarantine;
pub use recordings::{
    Attachment, ClockOffset, Interval, RecordingState, RecordingTake, Recordings, Reduction,
    SetAside,
};
pub use results::{Lapse, ResultId, ResultState, Standing};
pub use revisions::Amendable;
pub use runs::{EnergyReading, KnockOff, Run, TimesCorrection};
pub use signing::{RefusedPart, Signature, SignedRelease, Signer};
pub use snags::{Snag, SnagWork};
pub use stops::{Observed, StandDown};

use crate::card::Card;
use crate::codes::{
    ChannelCode, DocumentCode, ExceedanceNumber, HazardCode, ItemCode, LimitCode, PersonHandle,
    ProgrammeId, RecorderCode, RunNumber, SnagNumber,
};
use crate::entry::Entry;
use crate::envelope::AxesShown;
use crate::nouns::{Aircraft, Channel, Document, Person, Phase, Point, Policy, Recorder, Role};
use crate::record::Record;

/// All that the records of one programme say, put together.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct State {
    /// The programme's id, once founded.
    pub id: Option<ProgrammeId>,
    /// What it is called.
    pub title: String,
    /// When it was founded: when its first record was taken in.
    pub founded_at: Option<DateTime<Utc>>,
    /// When the last record was taken in.
    pub last_at: Option<DateTime<Utc>>,
    /// The aircraft.
    pub aircraft: Option<Aircraft>,
    /// What the programme has decided for itself.
    pub policy: Option<Policy>,
    /// People by handle, also those who have left.
    pub people: BTreeMap<PersonHandle, Person>,
    /// What is fitted, and how it changed.
    pub configuration: Configuration,
    /// Channels and derived parameters.
    pub channels: BTreeMap<ChannelCode, Channel>,
    /// Recorders with the mapping of their columns.
    pub recorders: BTreeMap<RecorderCode, Recorder>,
    /// Limits and proposals to change them.
    pub limits: Limits,
    /// Checks and when they were done.
    pub checks: Checks,
    /// Hazards and accepted risk.
    pub hazards: BTreeMap<HazardCode, HazardState>,
    /// Documents.
    pub documents: BTreeMap<DocumentCode, Document>,
    /// The points.
    pub ladder: Ladder,
    /// Runs by number, from 1.
    pub runs: Vec<Run>,
    /// Results in the order recorded; [`ResultId`] is a place in it.
    pub results: Vec<ResultState>,
    /// Exceedances by number, from 1.
    pub exceedances: Vec<Exceedance>,
    /// Recordings, intervals and reductions of them.
    pub recordings: Recordings,
    /// What runs showed about the order in which components heat.
    pub heating: HeatingJudgements,
    /// What was predicted, reviews of models and judgements of damping.
    pub predictions: Predictions,
    /// Forecasts and plans of days. No hold looks at them.
    pub planning: Planning,
    /// Snags by number, from 1.
    pub snags: Vec<Snag>,
    /// Weather, oldest first.
    pub weather: Vec<Observed>,
    /// Stand-downs, oldest first.
    pub stand_downs: Vec<StandDown>,
    /// What accepted results have shown on each axis for what is fitted now.
    pub envelope: AxesShown,
    /// What was put into quarantine, oldest first; also what was let out again.
    pub quarantines: Vec<Quarantine>,
    /// Deviations from the build-up by number, from 1.
    pub deviations: Vec<Deviation>,
    /// Keys of checkpoints, and copies that the ledger goes on from.
    pub keeping: Keeping,
    /// How the ladder got on, day by day.
    pub course: Course,
    revisions: HashMap<Amendable, u64>,
    length: u64,
    open_exceedances: Vec<ExceedanceNumber>,
    unnoted_exceedances: Vec<(RunNumber, LimitCode)>,
    open_snags: Vec<SnagNumber>,
    latest_weather: Option<usize>,
    restood: Vec<ResultId>,
}

impl State {
    /// How many records were taken in; the number of the last one.
    pub const fn length(&self) -> u64 {
        self.length
    }

    /// Takes in the next record.
    pub fn apply(&mut self, entry: &Entry) {
        self.length = entry.seq;
        self.last_at = Some(entry.at);
        self.restood.clear();
        if self.id.is_none() {
            self.id = Some(entry.programme.clone());
            self.founded_at = Some(entry.at);
        }
        self.revise(entry);
        self.keeping.note(entry);
        match &entry.record {
            Record::ProgrammeFounded(body) => self.title.clone_from(&body.title),
            Record::AircraftDescribed(body) => self.aircraft = Some(body.aircraft.clone()),
            Record::PolicySet(body) => self.policy = Some(body.policy.clone()),
            Record::PersonListed(body) => {
                self.people.insert(body.person.handle.clone(), body.person.clone());
            }
            Record::ItemFitted(body) => {
                if self.configuration.fit(body, entry) {
                    self.item_changed(&body.item.code);
                }
            }
            Record::ItemRemoved(body) => {
                if self.configuration.remove(body, entry) {
                    self.item_changed(&body.item);
                }
            }
            Record::ChannelDefined(body) => {
                self.channels.insert(body.channel.code.clone(), body.channel.clone());
            }
            Record::RecorderDescribed(body) => {
                self.recorders.insert(body.recorder.code.clone(), body.recorder.clone());
            }
            Record::LimitSet(body) => {
                if let Some(changed) = self.limits.set(&body.limit, entry) {
                    self.limit_changed(&changed);
                }
            }
            Record::LimitChangeProposed(body) => self.limits.propose(body, entry),
            Record::LimitChangeAgreed(body) => {
                if let Some(changed) = self.limits.agree(body, entry) {
                    self.limit_changed(&changed);
                }
            }
            Record::LimitChangeDeclined(body) => self.limits.decline(body, entry),
            Record::CheckDefined(body) => self.checks.define(&body.check),
            Record::CheckDone(body) => {
                self.checks.done(body, &self.runs, entry);
                self.quarantine_checked(body, entry);
            }
            Record::EventHappened(body) => {
                self.checks.happened(body, entry);
                self.quarantine_after(body, entry);
            }
            Record::HazardRecorded(body) => {
                hazards::record(&mut self.hazards, &body.hazard, entry);
            }
            Record::RiskAccepted(body) => {
                let roles = self.roles(&entry.by).to_vec();
                hazards::accept(&mut self.hazards, body, roles, entry);
            }
            Record::DocumentFiled(body) => {
                self.documents.insert(body.document.code.clone(), body.document.clone());
            }
            Record::PointPlanned(body) => {
                if let Some(results) = self.ladder.plan(&body.point, entry) {
                    self.stand_anew(&results);
                }
            }
            Record::PointDropped(body) => self.ladder.drop(body, entry),
            Record::PartSigned(body) => self.sign(body, entry),
            Record::SigningRefused(body) => self.refuse(body, entry),
            Record::SignatureWithdrawn(body) => self.withdraw(body, entry),
            Record::RunOpened(body) => {
                let fitted = self.configuration.fitted();
                let run = Run::open(body, fitted, &self.ladder, entry);
                self.checks.run_changed(None, PoweredSpan::of(&run));
                self.runs.push(run);
            }
            Record::RunMomentNoted(body) => {
                self.change_run(body.run, |run| run.note(body.event, entry.happened_at()));
            }
            Record::RunEnergyRead(body) => {
                self.change_run(body.run, |run| run.read_energy(body, entry));
            }
            Record::KnockedOff(body) => {
                self.change_run(body.run, |run| run.knock_off(body, entry));
            }
            Record::RunClosed(body) => self.change_run(body.run, |run| run.close(body, entry)),
            Record::RunTimesCorrected(body) => {
                self.change_run(body.run, |run| run.correct(body, entry));
            }
            Record::ResultRecorded(body) => self.record_result(body, entry),
            Record::ExceedanceNoted(body) => {
                self.exceedance_noted(Exceedance::noted(body, entry));
            }
            Record::ExceedanceFound(body) => {
                self.exceedance_noted(Exceedance::found(body, entry));
            }
            Record::ExceedanceExplained(body) => {
                if let Some(exceedance) = self.exceedance_mut(body.exceedance) {
                    exceedance.explain(body, entry);
                }
            }
            Record::ExceedanceClosed(body) => {
                if let Some(exceedance) = self.exceedance_mut(body.exceedance) {
                    exceedance.close(body, entry);
                }
                self.open_exceedances.retain(|open| *open != body.exceedance);
            }
            Record::SnagOpened(body) => {
                self.snags.push(Snag::open(body, entry));
                self.open_snags.push(body.snag);
            }
            Record::SnagWorked(body) => {
                if let Some(snag) = self.snag_mut(body.snag) {
                    snag.work(body, entry);
                }
            }
            Record::SnagClosed(body) => {
                if let Some(snag) = self.snag_mut(body.snag) {
                    snag.close(body, entry);
                }
                self.open_snags.retain(|open| *open != body.snag);
            }
            Record::BuildUpDeviationProposed(body) => self.propose_deviation(body, entry),
            Record::BuildUpDeviationAgreed(body) => self.agree_deviation(body, entry),
            Record::BuildUpDeviationEnded(body) => self.end_deviation(body, entry),
            Record::RecordingTaken(body) => self.recordings.take(body, entry),
            Record::RecordingAttached(body) => self.recordings.attach(body, entry),
            Record::RecordingSetAside(body) => {
                self.recordings.set_aside(body, entry);
                self.recording_set_aside(&body.recording);
            }
            Record::ClockOffsetConfirmed(body) => self.recordings.confirm_clock(body, entry),
            Record::IntervalTaken(body) => self.recordings.take_interval(body, entry),
            Record::ReductionMade(body) => self.recordings.reduce(body, entry),
            Record::HeatingOrderJudged(body) => self.judge_heating(body, entry),
            Record::PredictionsMade(body) => self.predictions_made(body, entry),
            Record::ModelReviewed(body) => self.review_model(body, entry),
            Record::DampingStepJudged(body) => self.judge_damping(body, entry),
            Record::RepeatNarrowed(body) => self.narrow_repeat(body),
            Record::ForecastAssumed(body) => self.planning.assume(body, entry),
            Record::ForecastMade(body) => self.planning.forecast(body, entry),
            Record::DayPlanProposed(body) => self.planning.propose(body, entry),
            Record::WeatherObserved(body) => {
                let observed = Observed::new(body, entry);
                if !self.latest_weather().is_some_and(|latest| observed.was_before(latest)) {
                    self.latest_weather = Some(self.weather.len());
                }
                self.weather.push(observed);
            }
            Record::StandDownCalled(body) => {
                self.stand_downs.push(StandDown::called(body, entry));
            }
            Record::StandDownLifted(body) => {
                for stand_down in self.stand_downs.iter_mut().filter(|s| s.lifted.is_none()) {
                    stand_down.lift(body, entry);
                }
            }
            Record::CheckpointKeyChanged(body) => self.keeping.change_key(body, entry),
            Record::CopyAcknowledged(body) => self.keeping.acknowledge(body, entry),
            Record::ClockCompared(_) => self.keeping.compare_clock(entry),
            Record::DayLost(body) => self.planning.lose_day(body, entry),
        }
        self.follow(entry);
    }

    /// A rung by its point's code.
    pub fn rung(&self, code: &crate::codes::PointCode) -> Option<&Rung> {
        self.ladder.get(code)
    }

    /// A run by its number.
    pub fn run(&self, number: RunNumber) -> Option<&Run> {
        self.runs.get((number.0 as usize).checked_sub(1)?)
    }

    /// An exceedance by its number.
    pub fn exceedance(&self, number: ExceedanceNumber) -> Option<&Exceedance> {
        self.exceedances.get((number.0 as usize).checked_sub(1)?)
    }

    /// A snag by its number.
    pub fn snag(&self, number: SnagNumber) -> Option<&Snag> {
        self.snags.get((number.0 as usize).checked_sub(1)?)
    }

    /// Exceedances that nobody has closed.
    pub fn open_exceedances(&self) -> impl Iterator<Item = &Exceedance> {
        self.open_exceedances.iter().filter_map(|number| self.exceedance(*number))
    }

    /// Limits that results lie beyond, with the run, for which nobody has noted an exceedance.
    pub fn unnoted_exceedances(&self) -> &[(RunNumber, LimitCode)] {
        &self.unnoted_exceedances
    }

    /// Snags that nobody has closed, grounding or not.
    pub fn open_snags(&self) -> impl Iterator<Item = &Snag> {
        self.open_snags.iter().filter_map(|number| self.snag(*number))
    }

    /// The weather that was observed last; one reported late does not replace a newer one.
    pub fn latest_weather(&self) -> Option<&Observed> {
        self.weather.get(self.latest_weather?)
    }

    /// The results that the last record made stand otherwise, or speak otherwise, than before.
    pub fn restood(&self) -> &[ResultId] {
        &self.restood
    }

    /// The roles of a person; none for a stranger.
    pub fn roles(&self, person: &PersonHandle) -> &[Role] {
        self.people.get(person).map_or(&[], |listed| listed.roles.as_slice())
    }

    /// The stand-down in force, if any: the first that nobody has lifted.
    pub fn stand_down(&self) -> Option<&StandDown> {
        self.stand_downs.iter().find(|stand_down| stand_down.lifted.is_none())
    }

    /// The limits in force for a point: those it names and those of its phase, by code.
    pub fn limits_in_force<'a>(&'a self, point: &'a Point) -> impl Iterator<Item = &'a LimitState> {
        self.limits.by_code.values().filter(|state| {
            state.limit.phases.contains(&point.phase) || point.limits.contains(&state.limit.code)
        })
    }

    /// Whether an exceedance of a limit in a run concerns a point: the limit is in force for it, or was in its phase when
    /// the run was opened or since. So a limit that leaves a phase takes no exceedance with it.
    pub fn exceedance_concerns(&self, limit: &LimitCode, run: RunNumber, point: &Point) -> bool {
        let since = self.run(run).map_or(0, |run| run.seq);
        self.limits.concerns(limit, point, since)
    }

    /// The card of a point: what a signature on the plan, or with the configuration on a release, stands for.
    pub fn card(&self, rung: &Rung, with_configuration: bool) -> Card {
        let point = &rung.point;
        let mut hazards: Vec<_> = point
            .hazards
            .iter()
            .filter_map(|code| self.hazards.get(code))
            .map(|state| Arc::clone(&state.hazard))
            .collect();
        hazards.sort_by(|a, b| a.code.cmp(&b.code));
        Card {
            point: Arc::clone(point),
            limits: self.limits_in_force(point).map(|state| Arc::clone(&state.limit)).collect(),
            hazards,
            configuration: with_configuration.then(|| self.configuration.fitted()),
        }
    }

    /// The number of the last record that changed what a signature on the plan stands for.
    pub fn plan_changed_at(&self, rung: &Rung) -> u64 {
        let point = &rung.point;
        let named_limits = point
            .limits
            .iter()
            .filter_map(|code| self.limits.by_code.get(code))
            .map(|state| state.changed_at);
        let hazards =
            point.hazards.iter().filter_map(|code| self.hazards.get(code)).map(|h| h.changed_at);
        named_limits
            .chain(hazards)
            .fold(rung.changed_at.max(self.limits.changed_in(point.phase)), u64::max)
    }

    /// Whether a signature on the plan still stands for what the plan is now.
    pub fn plan_signature_stands(&self, rung: &Rung, signature: &Signature) -> bool {
        signature.seq > self.plan_changed_at(rung)
    }

    /// Whether a signature on plan and configuration still stands for what they are now.
    pub fn release_signature_stands(&self, rung: &Rung, signature: &Signature) -> bool {
        self.plan_signature_stands(rung, signature) && signature.seq > self.configuration.changed_at
    }

    /// Minutes under power over all runs, as recorded.
    pub fn powered_minutes(&self) -> u32 {
        self.runs.iter().filter_map(Run::powered_minutes).sum()
    }

    /// The run that was opened and not closed yet, if any.
    pub fn open_run(&self) -> Option<&Run> {
        self.runs.iter().rev().find(|run| run.closed.is_none())
    }

    fn change_run(&mut self, number: RunNumber, change: impl FnOnce(&mut Run)) {
        if let Some(run) =
            (number.0 as usize).checked_sub(1).and_then(|place| self.runs.get_mut(place))
        {
            let before = PoweredSpan::of(run);
            change(run);
            self.checks.run_changed(Some(before), PoweredSpan::of(run));
        }
    }

    fn exceedance_mut(&mut self, number: ExceedanceNumber) -> Option<&mut Exceedance> {
        self.exceedances.get_mut((number.0 as usize).checked_sub(1)?)
    }

    fn snag_mut(&mut self, number: SnagNumber) -> Option<&mut Snag> {
        self.snags.get_mut((number.0 as usize).checked_sub(1)?)
    }

    /// Results of the phases in which a changed limit holds or held are held against the limits again, so that none
    /// outlives a tighter limit.
    fn limit_changed(&mut self, changed: &ChangedLimit) {
        let concerned: Vec<ResultId> = (0..self.results.len())
            .map(ResultId)
            .filter(|id| {
                let point = &self.results[id.0].planned;
                changed.phases.contains(&point.phase) || point.limits.contains(&changed.code)
            })
            .collect();
        for id in &concerned {
            let verdict = {
                let result = &self.results[id.0];
                let limits = self.limits_in_force(&result.planned).map(|state| &*state.limit);
                crate::verdict::judge(&result.planned, limits, &result.values, &result.reached)
            };
            if self.results[id.0].verdict != verdict {
                self.results[id.0].verdict = verdict;
                self.restood.push(*id);
            }
        }
        self.stand_anew(&concerned);
    }

    /// Looks again at the results of points that are, or were when they were run, sensitive to a changed item.
    fn item_changed(&mut self, item: &ItemCode) {
        let mut concerned = Vec::new();
        for rung in self.ladder.rungs() {
            let sensitive_now = rung.point.sensitive_to.contains(item);
            concerned.extend(rung.results.iter().copied().filter(|id| {
                let planned = &self.results[id.0].planned;
                sensitive_now
                    || (!Arc::ptr_eq(planned, &rung.point) && planned.sensitive_to.contains(item))
            }));
        }
        concerned.sort_unstable();
        self.stand_anew(&concerned);
    }

    /// Which phases a limit or document of this list concerns, as an index.
    pub(crate) const fn phase_index(phase: Phase) -> usize {
        phase as usize
    }
}
