//! What a programme has decided for itself: risk matrix, steps, totals to reach, ages.

use serde::{Deserialize, Serialize};

use crate::measure::Measure;
use crate::nouns::{Axis, Phase, RiskMatrix};

/// How far beyond what was shown a point may go on one axis.
///
/// The rule with the greatest `from` that is not above what was shown holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BuildUpRule {
    /// The axis.
    pub axis: Axis,
    /// Holds once this much was shown; absent: from the start.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<Measure>,
    /// The greatest step; a target exactly at shown plus step is allowed.
    pub step: Measure,
    /// What a first point may reach before anything was shown on the axis.
    pub first: Measure,
    /// Where the rule comes from.
    pub source: String,
}

/// A total that is counted over runs.
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
pub enum Total {
    /// Minutes under power.
    PoweredMinutes,
    /// Minutes moving on the ground.
    TaxiMinutes,
    /// Minutes in the air.
    AirborneMinutes,
    /// Minutes from off blocks to on blocks.
    BlockMinutes,
    /// Landings.
    Landings,
    /// Runs.
    Runs,
}

/// A total that the programme must reach.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RequiredTotal {
    /// What is counted.
    pub total: Total,
    /// How much of it, in minutes or in number.
    pub at_least: u32,
    /// Counted in these phases only; none: in all.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub phases: Vec<Phase>,
    /// Who asks for it.
    pub source: String,
}

/// What the programme has decided for itself.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Policy {
    /// How old a weather observation may be, in minutes.
    pub weather_good_for_min: u32,
    /// How long a release may last, in hours.
    pub longest_release_h: u32,
    /// The risk matrix.
    pub risk: RiskMatrix,
    /// Steps by axis.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub build_up: Vec<BuildUpRule>,
    /// Totals to reach.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub required_totals: Vec<RequiredTotal>,
}
