//! What the ledger keeps. Each record is a past fact; its JSON form is a promise and never changes.
//!
//! A kind whose shape must change gets a new version with its own decoder, beside the old one.

mod build_up;
#[cfg(test)]
mod frozen;
mod keeping;
mod predictions;
mod recordings;
mod runs;
mod shapes;
mod signing;
mod told;

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

pub use build_up::DeviatingStep;
pub use keeping::PublicKey;
pub use predictions::{KeptPrediction, Predicted, ToleratedChange};
pub use recordings::{
    EventMark, HeatingComponent, HeatingOutcome, IntervalBasis, RecordedChannel, RecordedMoment,
    SteadyChannel,
};
pub use runs::{
    CrewMember, MeasuredValue, ReadingMoment, RunEvent, RunKind, RunTimes, ValueSource,
};
pub use signing::{BadDigest, Digest, Part, ReleaseWindow};

use crate::codes::{
    ChannelCode, CheckCode, DayPlanNumber, DeviationNumber, EventCode, ExceedanceNumber,
    ForecastNumber, HazardCode, IntervalNumber, ItemCode, LimitCode, PointCode, ProposalNumber,
    RecorderCode, ReductionNumber, RunNumber, SnagNumber,
};
use crate::day_plan::{DayPlan, DayTerms};
use crate::forecast::{Assumptions, Driver, Forecast};
use crate::ledger::NodeHash;
use crate::measure::Measure;
use crate::nouns::{
    Aircraft, Axis, Channel, Check, Document, Hazard, Item, Limit, LostTo, Person, Phase, Point,
    Policy, Recorder, RiskLevel, Role, Severity, Statistic, WeatherObservation,
};

macro_rules! records {
    ($($(#[$note:meta])* $name:ident $kind:literal { $($(#[$field_note:meta])* $field:ident: $type:ty,)* })+) => {
        /// One fact of a programme, each kind with its body.
        #[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
        #[serde(tag = "kind", content = "body", deny_unknown_fields)]
        pub enum Record {
            $(
                $(#[$note])*
                #[serde(rename = $kind)]
                $name(Box<$name>),
            )+
        }

        $(
            $(#[$note])*
            #[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
            #[serde(deny_unknown_fields)]
            pub struct $name {
                $($(#[$field_note])* pub $field: $type,)*
            }

            impl From<$name> for Record {
                fn from(body: $name) -> Self {
                    Record::$name(Box::new(body))
                }
            }
        )+

        impl Record {
            /// Every kind of record, as written.
            pub const KINDS: &'static [&'static str] = &[$($kind),+];

            /// The kind as written in the ledger.
            pub const fn kind(&self) -> &'static str {
                match self { $(Record::$name(_) => $kind),+ }
            }

            /// Reads the body of a kind; absent where there is no such kind.
            pub(crate) fn read(kind: &str, body: &str) -> Option<serde_json::Result<Self>> {
                match kind {
                    $($kind => Some(serde_json::from_str(body).map(Record::$name)),)+
                    _ => None,
                }
            }

            /// The name of a kind's body, and the shapes of all that is in it.
            fn shapes(kind: &str) -> Option<(String, crate::json_schema::Shapes)> {
                match kind {
                    $($kind => Some(shapes::of::<$name>()),)+
                    _ => None,
                }
            }

            /// The version of the kind's shape. All are at their first.
            pub const fn version(&self) -> u32 {
                1
            }
        }
    };
}

records! {
    /// The programme was begun.
    ProgrammeFounded "programme-founded" {
        /// What the programme is called.
        title: String,
    }
    /// The aircraft was described, or described anew.
    AircraftDescribed "aircraft-described" {
        /// The aircraft.
        aircraft: Aircraft,
    }
    /// What the programme has decided for itself was set.
    PolicySet "policy-set" {
        /// All of it.
        policy: Policy,
    }
    /// A person was listed with roles and qualifications, or listed anew.
    PersonListed "person-listed" {
        /// The person.
        person: Person,
    }
    /// An item was fitted, or exchanged for another version.
    ItemFitted "item-fitted" {
        /// The item as it is now.
        item: Item,
        /// Why.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reason: Option<String>,
    }
    /// An item was taken off and nothing put in its place.
    ItemRemoved "item-removed" {
        /// Which.
        item: ItemCode,
        /// Why.
        reason: String,
    }
    /// A channel or derived parameter was defined.
    ChannelDefined "channel-defined" {
        /// The channel.
        channel: Channel,
    }
    /// A recorder and the mapping of its columns were described, or described anew.
    RecorderDescribed "recorder-described" {
        /// The recorder.
        recorder: Recorder,
    }
    /// A limit was set when the programme was written.
    LimitSet "limit-set" {
        /// The limit.
        limit: Limit,
    }
    /// An engineer proposed a new or changed limit.
    LimitChangeProposed "limit-change-proposed" {
        /// Which proposal.
        proposal: ProposalNumber,
        /// The limit as it would be.
        limit: Limit,
        /// Why.
        reason: String,
        /// Of the proposal's canonical form; the safety officer's agreement names the same.
        digest: Digest,
    }
    /// The safety officer agreed; from now on the proposed limit holds.
    LimitChangeAgreed "limit-change-agreed" {
        /// Which proposal.
        proposal: ProposalNumber,
        /// Of the proposal as agreed.
        digest: Digest,
    }
    /// The safety officer declined, or the proposer withdrew.
    LimitChangeDeclined "limit-change-declined" {
        /// Which proposal.
        proposal: ProposalNumber,
        /// Why.
        reason: String,
    }
    /// A check was defined or redefined.
    CheckDefined "check-defined" {
        /// The check.
        check: Check,
    }
    /// A check was done.
    CheckDone "check-done" {
        /// Which.
        check: CheckCode,
        /// Whether it passed.
        passed: bool,
        /// Readings and what was seen.
        findings: String,
    }
    /// Something happened that may end checks' validity.
    EventHappened "event-happened" {
        /// What kind of happening.
        event: EventCode,
        /// What happened.
        account: String,
    }
    /// A hazard was recorded, or judged anew.
    HazardRecorded "hazard-recorded" {
        /// The hazard.
        hazard: Hazard,
    }
    /// The residual risk of a hazard was accepted.
    RiskAccepted "risk-accepted" {
        /// Which hazard.
        hazard: HazardCode,
        /// The level that was accepted.
        level: RiskLevel,
        /// Of the hazard as accepted.
        digest: Digest,
    }
    /// A document was filed, or filed anew.
    DocumentFiled "document-filed" {
        /// The document.
        document: Document,
    }
    /// A point was planned, or its plan changed.
    PointPlanned "point-planned" {
        /// The point.
        point: Point,
    }
    /// A point was taken out of the plan.
    PointDropped "point-dropped" {
        /// Which.
        point: PointCode,
        /// Why.
        reason: String,
    }
    /// Somebody signed a part of a point's step.
    PartSigned "part-signed" {
        /// The point.
        point: PointCode,
        /// Plan approval, release, acknowledgement, or acceptance.
        part: Part,
        /// When a release is good; only a release has it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        window: Option<ReleaseWindow>,
        /// Of exactly what was signed.
        digest: Digest,
    }
    /// Somebody refused to sign, with reasons.
    SigningRefused "signing-refused" {
        /// The point.
        point: PointCode,
        /// What was not signed.
        part: Part,
        /// Why not.
        reasons: String,
    }
    /// A signature, or a refusal, was withdrawn by the person who gave it.
    SignatureWithdrawn "signature-withdrawn" {
        /// The point.
        point: PointCode,
        /// Which part.
        part: Part,
        /// Why.
        reason: String,
    }
    /// A run was opened.
    RunOpened "run-opened" {
        /// Which run.
        run: RunNumber,
        /// Ground run, taxi run or flight.
        what: RunKind,
        /// Points in the order planned.
        points: Vec<PointCode>,
        /// Who is there, and who is on board.
        crew: Vec<CrewMember>,
    }
    /// A moment of a run was noted. The moment itself is the record's `observed_at`.
    RunMomentNoted "run-moment-noted" {
        /// Which run.
        run: RunNumber,
        /// What happened at that moment.
        event: RunEvent,
    }
    /// Energy and charge were read before or after a run.
    RunEnergyRead "run-energy-read" {
        /// Which run.
        run: RunNumber,
        /// Before or after.
        moment: ReadingMoment,
        /// Charge state, per cent.
        charge_percent: f64,
        /// Energy counter, kilowatt-hours taken out of the pack in its life.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        energy_counter_kwh: Option<f64>,
    }
    /// Somebody called knock-it-off.
    KnockedOff "knocked-off" {
        /// Which run.
        run: RunNumber,
        /// Why.
        reason: String,
    }
    /// A run was closed.
    RunClosed "run-closed" {
        /// Which run.
        run: RunNumber,
        /// What is worth saying about it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        debrief: Option<String>,
    }
    /// The times of a run were corrected; these hold from now on.
    RunTimesCorrected "run-times-corrected" {
        /// Which run.
        run: RunNumber,
        /// All of them.
        times: RunTimes,
        /// Why.
        reason: String,
    }
    /// The result of a run for one point was recorded, or recorded anew.
    ResultRecorded "result-recorded" {
        /// Which run.
        run: RunNumber,
        /// Which point.
        point: PointCode,
        /// What was measured.
        values: Vec<MeasuredValue>,
        /// What was really reached on each axis.
        #[serde(default, skip_serializing_if = "std::collections::BTreeMap::is_empty")]
        reached: std::collections::BTreeMap<Axis, Measure>,
        /// What was seen, heard and felt.
        observations: String,
    }
    /// An exceedance was noted: one that a result showed, or one that a person saw besides.
    ExceedanceNoted "exceedance-noted" {
        /// Which exceedance.
        exceedance: ExceedanceNumber,
        /// In which run.
        run: RunNumber,
        /// Of which limit.
        limit: LimitCode,
        /// For which point, where a result showed it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        point: Option<PointCode>,
        /// Which statistic went beyond.
        statistic: Statistic,
        /// Its peak, in the limit's unit; of `time-above` in seconds, of `rate` in the unit a second.
        peak: f64,
        /// How long, in seconds.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        duration_s: Option<f64>,
    }
    /// An exceedance was found in a recording.
    ExceedanceFound "exceedance-found" {
        /// Which exceedance.
        exceedance: ExceedanceNumber,
        /// In which run.
        run: RunNumber,
        /// In which recording.
        recording: Digest,
        /// Of which limit.
        limit: LimitCode,
        /// The record that set the limit as it was evaluated.
        limit_revision: u64,
        /// For which point, where an interval of one shows it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        point: Option<PointCode>,
        /// Which statistic went beyond.
        statistic: Statistic,
        /// When it began.
        started_at: DateTime<Utc>,
        /// How long, in seconds.
        duration_s: f64,
        /// Its peak, in the limit's unit; of `time-above` in seconds, of `rate` in the unit a second.
        peak: f64,
        /// When that was.
        peak_at: DateTime<Utc>,
        /// How long a value could be beyond the limit before it counted, in seconds.
        dwell_s: f64,
        /// The sensor that disagrees with the rest of its group.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        odd_one_out: Option<ChannelCode>,
    }
    /// An engineer explained an exceedance.
    ExceedanceExplained "exceedance-explained" {
        /// Which.
        exceedance: ExceedanceNumber,
        /// The explanation.
        explanation: String,
        /// What is done about it.
        action: String,
    }
    /// The safety officer closed an explained exceedance.
    ExceedanceClosed "exceedance-closed" {
        /// Which.
        exceedance: ExceedanceNumber,
        /// Of the explanation as signed.
        digest: Digest,
    }
    /// A snag was found.
    SnagOpened "snag-opened" {
        /// Which.
        snag: SnagNumber,
        /// What was found.
        title: String,
        /// Whether it grounds the aircraft.
        grounding: bool,
        /// How bad it could be.
        severity: Severity,
        /// On which item.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        item: Option<ItemCode>,
        /// In which run.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        run: Option<RunNumber>,
        /// Phases that it grounds; none: all.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        phases: Vec<Phase>,
    }
    /// Something was found out about a snag, or done about it.
    SnagWorked "snag-worked" {
        /// Which.
        snag: SnagNumber,
        /// Its cause, as far as known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        cause: Option<String>,
        /// What was done.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        action: Option<String>,
        /// Whether it grounds the aircraft from now on; it can be made to, and never the other way round.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        grounds_now: bool,
    }
    /// A snag was closed.
    SnagClosed "snag-closed" {
        /// Which.
        snag: SnagNumber,
        /// Its cause.
        cause: String,
        /// What was done, and how it was seen to help.
        action: String,
        /// Of the snag as signed.
        digest: Digest,
    }
    /// The test lead proposed that a point may go further beyond what was shown than the build-up allows, and signed it.
    BuildUpDeviationProposed "build-up-deviation-proposed" {
        /// Which deviation.
        deviation: DeviationNumber,
        /// For which point.
        point: PointCode,
        /// Every step that is larger than the build-up allows, as it was then.
        steps: Vec<DeviatingStep>,
        /// Why.
        reason: String,
        /// Of the deviation with the plan; the safety officer's agreement names the same.
        digest: Digest,
    }
    /// The safety officer signed a deviation too; from now on it lifts the holds of those steps.
    BuildUpDeviationAgreed "build-up-deviation-agreed" {
        /// Which deviation.
        deviation: DeviationNumber,
        /// Of the deviation as agreed.
        digest: Digest,
    }
    /// A deviation was declined, or taken back.
    BuildUpDeviationEnded "build-up-deviation-ended" {
        /// Which deviation.
        deviation: DeviationNumber,
        /// Why.
        reason: String,
    }
    /// A recorder's file was taken in, or taken in anew by another mapping.
    RecordingTaken "recording-taken" {
        /// SHA-256 of the file as it came.
        recording: Digest,
        /// The recorder.
        recorder: RecorderCode,
        /// The record that described the recorder as it was read.
        recorder_revision: u64,
        /// What the file was called.
        name: String,
        /// Its size.
        bytes: u64,
        /// The moment of its first row.
        started: DateTime<Utc>,
        /// The moment of its last row.
        ended: DateTime<Utc>,
        /// Rows that were taken.
        rows: u64,
        /// SHA-256 of the columns as they are kept.
        columns: Digest,
        /// What it holds of each channel.
        channels: Vec<RecordedChannel>,
        /// Rows that were refused whole.
        refused_rows: u64,
    }
    /// A recording was attached to a run.
    RecordingAttached "recording-attached" {
        /// Which recording.
        recording: Digest,
        /// The run.
        run: RunNumber,
    }
    /// A recording was a mistake: it counts for nothing any more.
    RecordingSetAside "recording-set-aside" {
        /// Which.
        recording: Digest,
        /// Why.
        reason: String,
    }
    /// A person confirmed by how much the clocks of two recorders differ.
    ClockOffsetConfirmed "clock-offset-confirmed" {
        /// The recording whose clock is told.
        recording: Digest,
        /// The one that it is held against.
        against: Digest,
        /// The channel that both have.
        channel: ChannelCode,
        /// How much the clock of the first is ahead, in seconds; negative: behind.
        offset_s: f64,
        /// How well both agree then, from -1 to 1.
        correlation: f64,
    }
    /// An interval of a recording was taken for a point.
    IntervalTaken "interval-taken" {
        /// Which interval.
        interval: IntervalNumber,
        /// Of which recording.
        recording: Digest,
        /// Of which run.
        run: RunNumber,
        /// For which point.
        point: PointCode,
        /// From then on, by the recorder's clock.
        from: DateTime<Utc>,
        /// Up to and including then.
        to: DateTime<Utc>,
        /// How it was found.
        how: IntervalBasis,
    }
    /// Something was worked out of a recording.
    ReductionMade "reduction-made" {
        /// Which reduction.
        reduction: ReductionNumber,
        /// Of which recording.
        recording: Digest,
        /// Of which run.
        run: RunNumber,
        /// For which point.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        point: Option<PointCode>,
        /// Of which interval; absent: of all of it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        interval: Option<IntervalNumber>,
        /// What was worked out.
        topic: String,
        /// The version of the method.
        version: String,
        /// The channels it was worked out of.
        channels: Vec<ChannelCode>,
        /// Other recordings of the run that had some of the channels.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        others: Vec<Digest>,
        /// Of all that was given to the method.
        given: Digest,
        /// What came out, as RFC 8785 text.
        result: String,
        /// The earlier one that it takes the place of.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        replaces: Option<ReductionNumber>,
    }
    /// It was judged which component would reach its limit first.
    HeatingOrderJudged "heating-order-judged" {
        /// In which run.
        run: RunNumber,
        /// By which recording.
        recording: Digest,
        /// Each component, in the order in which they are meant to reach their limits.
        components: Vec<HeatingComponent>,
        /// How it came out.
        outcome: HeatingOutcome,
        /// The limit that would be reached first; absent: none, or not known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        first: Option<LimitCode>,
        /// The policy's horizon by which it was judged, in minutes.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        horizon_min: Option<u32>,
    }
    /// What was predicted for the points of a run as it was opened.
    PredictionsMade "predictions-made" {
        /// Which run.
        run: RunNumber,
        /// Each prediction, by point in the order of the run.
        predictions: Vec<KeptPrediction>,
    }
    /// A person has looked at why predictions missed: an engineer at the model, or the safety officer at what the engineer
    /// found.
    ModelReviewed "model-reviewed" {
        /// The model of what.
        what: Predicted,
        /// What was found, and what was done.
        findings: String,
    }
    /// A person judged the damping before a step in speed.
    DampingStepJudged "damping-step-judged" {
        /// The point that is the step.
        point: PointCode,
        /// Whether it may be taken, as far as damping goes.
        go_on: bool,
        /// The damping that was looked at.
        reductions: Vec<ReductionNumber>,
        /// Why.
        reasons: String,
    }
    /// The safety officer let a result stand though an item changed that its point is sensitive to.
    RepeatNarrowed "repeat-narrowed" {
        /// The point.
        point: PointCode,
        /// The run whose result stands.
        run: RunNumber,
        /// The changes for which it does; with any other it lapses.
        changes: Vec<ToleratedChange>,
        /// Why it need not be shown again.
        reason: String,
    }
    /// The test lead assumed what forecasts rest on from now on.
    ForecastAssumed "forecast-assumed" {
        /// All of it.
        assumptions: Assumptions,
    }
    /// A forecast was made. It opens no rung and holds none.
    ForecastMade "forecast-made" {
        /// Which.
        forecast: ForecastNumber,
        /// The record of what was assumed.
        assumed: u64,
        /// The dates as distributions, and how critical each point is.
        told: Forecast,
        /// What would move the dates most.
        drivers: Vec<Driver>,
    }
    /// A plan for a day was proposed. It releases nothing.
    DayPlanProposed "day-plan-proposed" {
        /// Which.
        plan: DayPlanNumber,
        /// The plan of the same day whose place it takes.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        replaces: Option<DayPlanNumber>,
        /// The forecast by which points count as critical; absent: there was none.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        forecast: Option<ForecastNumber>,
        /// What was given for the day.
        terms: DayTerms,
        /// The plan.
        day: DayPlan,
    }
    /// A day on which the team wanted to work was lost, or turned out not to be. What was noted last of a day holds.
    DayLost "day-lost" {
        /// Which day.
        date: NaiveDate,
        /// To what; absent: it was not lost, because no work was meant.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        cause: Option<LostTo>,
        /// What there is to say about it.
        account: String,
    }
    /// The weather was observed.
    WeatherObserved "weather-observed" {
        /// What was observed.
        weather: WeatherObservation,
    }
    /// Somebody called a stand-down of the whole programme.
    StandDownCalled "stand-down-called" {
        /// Why.
        reason: String,
    }
    /// The safety officer lifted the stand-down.
    StandDownLifted "stand-down-lifted" {
        /// Why it can be lifted.
        reasons: String,
    }
    /// Checkpoints are signed by another key from now on. The one before signs the checkpoint that has this record.
    CheckpointKeyChanged "checkpoint-key-changed" {
        /// The key that signed until now.
        before: PublicKey,
        /// The key that signs from now on.
        key: PublicKey,
        /// Why.
        reason: String,
    }
    /// Somebody knows that the ledger goes on from a copy that may be older than what was recorded.
    CopyAcknowledged "copy-acknowledged" {
        /// How many records the copy has.
        records: u64,
        /// The root over them.
        root: NodeHash,
        /// How many records there are known to have been; absent: not known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        known: Option<u64>,
        /// The key that signs checkpoints once both have acknowledged it.
        key: PublicKey,
        /// As whom.
        role: Role,
        /// What was done to find out what is missing.
        account: String,
    }
    /// The safety officer compared the server's clock, which is right, with another one: what was recorded before at later times
    /// was recorded by a clock that was wrong.
    ClockCompared "clock-compared" {
        /// What the other clock showed.
        shown: DateTime<Utc>,
        /// Which clock that was.
        other: String,
    }
}

impl Record {
    /// Whether somebody signs something by it that can open a rung.
    pub const fn signs(&self) -> bool {
        matches!(
            self,
            Record::LimitChangeAgreed(_)
                | Record::RiskAccepted(_)
                | Record::PartSigned(_)
                | Record::SignatureWithdrawn(_)
                | Record::ExceedanceClosed(_)
                | Record::SnagClosed(_)
                | Record::BuildUpDeviationProposed(_)
                | Record::BuildUpDeviationAgreed(_)
                | Record::RepeatNarrowed(_)
                | Record::DampingStepJudged(_)
                | Record::ModelReviewed(_)
                | Record::StandDownLifted(_)
                | Record::ClockCompared(_)
        )
    }
}

/// Parameters that channels and derived values share.
pub type Parameter = ChannelCode;

/// A moment, to the microsecond.
pub type Moment = DateTime<Utc>;
