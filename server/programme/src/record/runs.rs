//! The parts of records about runs and results.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::codes::{ChannelCode, IntervalNumber, PersonHandle};
use crate::measure::Unit;
use crate::nouns::{Phase, Role, Statistic};
use crate::record::Digest;

/// What kind of outing a run is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RunKind {
    /// On the spot.
    GroundRun,
    /// Moving on the ground.
    TaxiRun,
    /// Leaves the ground.
    Flight,
}

impl RunKind {
    /// The kind that a phase's points are run in.
    pub const fn of_phase(phase: Phase) -> Self {
        match phase {
            Phase::Static | Phase::GroundRun => RunKind::GroundRun,
            Phase::Taxi => RunKind::TaxiRun,
            Phase::FirstFlight | Phase::Envelope => RunKind::Flight,
        }
    }

    /// The kind in words.
    pub const fn in_words(self) -> &'static str {
        match self {
            RunKind::GroundRun => "ground run",
            RunKind::TaxiRun => "taxi run",
            RunKind::Flight => "flight",
        }
    }
}

/// One person of a run's crew.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CrewMember {
    /// Who.
    pub person: PersonHandle,
    /// In which role.
    pub role: Role,
    /// Whether on board.
    pub on_board: bool,
}

/// Moments of a run, in the order in which they come.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    Hash,
    PartialOrd,
    Ord,
    Serialize,
    Deserialize,
    utoipa::ToSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum RunEvent {
    /// The high-voltage system was switched on.
    PowerOn,
    /// The aircraft began to move.
    OffBlocks,
    /// It left the ground.
    TakeOff,
    /// It came down; a touch-and-go is a landing and a take-off.
    Landing,
    /// It came to rest.
    OnBlocks,
    /// The high-voltage system was switched off.
    PowerOff,
}

impl RunEvent {
    /// The moment in words.
    pub const fn in_words(self) -> &'static str {
        match self {
            RunEvent::PowerOn => "power on",
            RunEvent::OffBlocks => "off blocks",
            RunEvent::TakeOff => "take-off",
            RunEvent::Landing => "landing",
            RunEvent::OnBlocks => "on blocks",
            RunEvent::PowerOff => "power off",
        }
    }
}

/// All the times of a run.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RunTimes {
    /// Power on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub power_on: Option<DateTime<Utc>>,
    /// Off blocks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub off_blocks: Option<DateTime<Utc>>,
    /// Take-offs, in order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub take_offs: Vec<DateTime<Utc>>,
    /// Landings, in order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub landings: Vec<DateTime<Utc>>,
    /// On blocks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub on_blocks: Option<DateTime<Utc>>,
    /// Power off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub power_off: Option<DateTime<Utc>>,
}

impl RunTimes {
    /// Puts a moment in its place: take-offs and landings in the order in which they happened, whenever they were
    /// noted.
    pub fn put(&mut self, event: RunEvent, at: DateTime<Utc>) {
        let in_order = |moments: &mut Vec<DateTime<Utc>>| {
            moments.insert(moments.partition_point(|before| *before <= at), at);
        };
        match event {
            RunEvent::PowerOn => self.power_on = Some(at),
            RunEvent::OffBlocks => self.off_blocks = Some(at),
            RunEvent::TakeOff => in_order(&mut self.take_offs),
            RunEvent::Landing => in_order(&mut self.landings),
            RunEvent::OnBlocks => self.on_blocks = Some(at),
            RunEvent::PowerOff => self.power_off = Some(at),
        }
    }
}

/// When energy was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ReadingMoment {
    /// Before the run.
    Before,
    /// After the run.
    After,
}

/// Where a measured value comes from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(tag = "from", rename_all = "kebab-case", deny_unknown_fields)]
pub enum ValueSource {
    /// A person read it off an instrument and typed it in.
    TypedIn {},
    /// It was worked out of a recording, and a person confirmed it.
    Recording {
        /// Which recording.
        recording: Digest,
        /// Which interval of it.
        interval: IntervalNumber,
        /// How: the statistic of the interval, or the reduction.
        method: String,
        /// The version of that.
        version: String,
    },
}

/// One measured value; absent where the reading is missing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MeasuredValue {
    /// Channel or derived parameter.
    pub parameter: ChannelCode,
    /// What was taken from it.
    pub statistic: Statistic,
    /// The figure; absent: not measured, which is never a pass.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// Its unit.
    pub unit: Unit,
    /// Where it comes from.
    pub source: ValueSource,
}
