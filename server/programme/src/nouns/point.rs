//! Test points: the rungs of the ladder.

mod faults;

use std::collections::BTreeMap;
use std::fmt;

use serde::{Deserialize, Serialize};

use crate::codes::{
    ChannelCode, CheckCode, DocumentCode, HazardCode, ItemCode, LimitCode, PointCode,
    QualificationCode,
};
use crate::measure::{Kind, Measure};
use crate::nouns::{Phase, Role};

/// What a condition is a condition on.
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
pub enum Axis {
    /// Calibrated airspeed, or ground speed on the ground.
    Speed,
    /// Pressure altitude.
    PressureAltitude,
    /// Load factor.
    LoadFactor,
    /// Mass at the start of the point.
    Mass,
    /// Centre of gravity, in per cent of the mean aerodynamic chord.
    CentreOfGravity,
    /// Shaft or electrical power, as the team has settled.
    Power,
    /// Time at that power.
    TimeAtPower,
    /// Charge state of the pack.
    ChargeState,
    /// Pack temperature.
    PackTemperature,
    /// Component of the wind across the runway.
    Crosswind,
    /// Propeller speed.
    PropellerSpeed,
    /// Angle of bank.
    BankAngle,
    /// Outside air temperature.
    AirTemperature,
}

impl Axis {
    /// Every axis.
    pub const ALL: [Axis; 13] = [
        Axis::Speed,
        Axis::PressureAltitude,
        Axis::LoadFactor,
        Axis::Mass,
        Axis::CentreOfGravity,
        Axis::Power,
        Axis::TimeAtPower,
        Axis::ChargeState,
        Axis::PackTemperature,
        Axis::Crosswind,
        Axis::PropellerSpeed,
        Axis::BankAngle,
        Axis::AirTemperature,
    ];

    /// The axis as written.
    pub const fn as_str(self) -> &'static str {
        match self {
            Axis::Speed => "speed",
            Axis::PressureAltitude => "pressure-altitude",
            Axis::LoadFactor => "load-factor",
            Axis::Mass => "mass",
            Axis::CentreOfGravity => "centre-of-gravity",
            Axis::Power => "power",
            Axis::TimeAtPower => "time-at-power",
            Axis::ChargeState => "charge-state",
            Axis::PackTemperature => "pack-temperature",
            Axis::Crosswind => "crosswind",
            Axis::PropellerSpeed => "propeller-speed",
            Axis::BankAngle => "bank-angle",
            Axis::AirTemperature => "air-temperature",
        }
    }

    /// The kind of quantity that figures on the axis are.
    pub const fn kind(self) -> Kind {
        match self {
            Axis::Speed | Axis::Crosswind => Kind::Speed,
            Axis::PressureAltitude => Kind::Length,
            Axis::LoadFactor => Kind::LoadFactor,
            Axis::Mass => Kind::Mass,
            Axis::CentreOfGravity => Kind::Chord,
            Axis::Power => Kind::Power,
            Axis::TimeAtPower => Kind::Time,
            Axis::ChargeState => Kind::Share,
            Axis::PackTemperature | Axis::AirTemperature => Kind::Temperature,
            Axis::PropellerSpeed => Kind::Turning,
            Axis::BankAngle => Kind::Angle,
        }
    }
}

impl fmt::Display for Axis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// A target and how far from it still counts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Condition {
    /// What is to be held.
    pub target: f64,
    /// Plus or minus, in the same unit.
    pub tolerance: f64,
    /// Unit of both.
    pub unit: crate::measure::Unit,
}

impl Condition {
    /// The target with its unit.
    pub const fn target(self) -> Measure {
        Measure::new(self.target, self.unit)
    }
}

/// What is taken from a channel over the point.
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
pub enum Statistic {
    /// The greatest value.
    Max,
    /// The smallest value.
    Min,
    /// The mean over time.
    Mean,
    /// The value at the start.
    First,
    /// The value at the end.
    Last,
    /// The greatest change in a second.
    Rate,
    /// The greatest difference in the group at one moment.
    Spread,
    /// Seconds above a limit's threshold or continuous rating.
    TimeAbove,
    /// A single figure that a person or a reduction gives.
    Value,
}

impl Statistic {
    /// The statistic as written.
    pub const fn as_str(self) -> &'static str {
        match self {
            Statistic::Max => "max",
            Statistic::Min => "min",
            Statistic::Mean => "mean",
            Statistic::First => "first",
            Statistic::Last => "last",
            Statistic::Rate => "rate",
            Statistic::Spread => "spread",
            Statistic::TimeAbove => "time-above",
            Statistic::Value => "value",
        }
    }
}

impl fmt::Display for Statistic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// How a figure is compared; a figure exactly at the bound meets it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Comparison {
    /// Not above.
    AtMost,
    /// Not below.
    AtLeast,
    /// From `value` to `upper`, both included.
    Between,
}

/// One thing that the point must show.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Criterion {
    /// Channel or derived parameter.
    pub parameter: ChannelCode,
    /// What is taken from it.
    pub statistic: Statistic,
    /// How it is compared.
    pub comparison: Comparison,
    /// The bound, or the lower one of two.
    pub value: f64,
    /// The upper bound of `between`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub upper: Option<f64>,
    /// Unit of the bounds.
    pub unit: crate::measure::Unit,
}

/// A person that the point needs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CrewSeat {
    /// In which role.
    pub role: Role,
    /// How many of them.
    pub count: u8,
    /// Whether they are on board.
    #[serde(default)]
    pub on_board: bool,
    /// What each must be qualified for.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub qualifications: Vec<QualificationCode>,
}

/// The worst weather in which the point may be run. What is absent does not matter to it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WeatherMinima {
    /// Mean wind at most.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wind_at_most: Option<Measure>,
    /// Gusts at most.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gust_at_most: Option<Measure>,
    /// Crosswind at most.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crosswind_at_most: Option<Measure>,
    /// Visibility at least.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub visibility_at_least: Option<Measure>,
    /// Cloud base at least.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cloud_base_at_least: Option<Measure>,
    /// Air temperature at least.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_at_least: Option<Measure>,
    /// Air temperature at most.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_at_most: Option<Measure>,
    /// Nothing may fall from the sky.
    #[serde(default)]
    pub dry: bool,
}

impl WeatherMinima {
    /// Whether any minimum is stated.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

/// An item that must be fitted at one version.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RequiredItem {
    /// The item.
    pub item: ItemCode,
    /// Its version; absent: any, so long as it is fitted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub version: Option<String>,
}

/// One thing to show under stated conditions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Point {
    /// Its code.
    pub code: PointCode,
    /// What it is called.
    pub title: String,
    /// How far up the ladder it stands.
    pub phase: Phase,
    /// What it is for.
    pub objective: String,
    /// How it is done, step by step.
    pub technique: String,
    /// Targets and tolerances by axis.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub conditions: BTreeMap<Axis, Condition>,
    /// Whether the plan means to go beyond what was shown on two axes at once.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub axes_together: bool,
    /// Planned duration, in minutes.
    pub duration_min: f64,
    /// Planned energy out of the pack, in kilowatt-hours.
    pub energy_kwh: f64,
    /// Channels that must be recorded.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub data_required: Vec<ChannelCode>,
    /// What must be shown.
    pub criteria: Vec<Criterion>,
    /// Limits that every result must be held against, so that a missing reading is not a pass.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub limits: Vec<LimitCode>,
    /// When to stop at once.
    pub stop_criteria: Vec<String>,
    /// Hazards of the point.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hazards: Vec<HazardCode>,
    /// Points whose result must be accepted before.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub after_points: Vec<PointCode>,
    /// Checks that must be good, besides those of the phase.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub after_checks: Vec<CheckCode>,
    /// Documents that must be in force, besides those of the phase.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub after_documents: Vec<DocumentCode>,
    /// Who is needed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub crew: Vec<CrewSeat>,
    /// How many may be on board at most.
    pub most_on_board: u8,
    /// The worst weather for it.
    #[serde(default, skip_serializing_if = "WeatherMinima::is_empty")]
    pub weather: WeatherMinima,
    /// Items that must be fitted.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub configuration: Vec<RequiredItem>,
    /// Items whose change makes an accepted result lapse.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sensitive_to: Vec<ItemCode>,
}
