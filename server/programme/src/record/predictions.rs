//! The parts of records about predictions.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::codes::{ChannelCode, ItemCode, LimitCode, PointCode, ReductionNumber, RunNumber};
use crate::measure::Unit;
use crate::nouns::PredictionKind;
use crate::record::Digest;

/// What is predicted.
#[derive(
    Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, utoipa::ToSchema,
)]
#[serde(tag = "of", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Predicted {
    /// The temperature of a component at the end of the planned time at power.
    Temperature {
        /// The limit that it must not reach.
        limit: LimitCode,
    },
    /// Energy out of the pack for the point, in kilowatt-hours.
    Energy {},
    /// Energy left at landing, in kilowatt-hours.
    LandingEnergy {},
    /// Damping of what a channel shows at the planned speed, in per cent of critical.
    Damping {
        /// The channel.
        channel: ChannelCode,
    },
}

impl Predicted {
    /// Which kind that is.
    pub const fn kind(&self) -> PredictionKind {
        match self {
            Predicted::Temperature { .. } => PredictionKind::Temperature,
            Predicted::Energy {} => PredictionKind::Energy,
            Predicted::LandingEnergy {} => PredictionKind::LandingEnergy,
            Predicted::Damping { .. } => PredictionKind::Damping,
        }
    }
}

impl fmt::Display for Predicted {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Predicted::Temperature { limit } => write!(f, "temperature of {limit}"),
            Predicted::Energy {} => f.write_str("energy"),
            Predicted::LandingEnergy {} => f.write_str("energy at landing"),
            Predicted::Damping { channel } => write!(f, "damping of {channel}"),
        }
    }
}

/// A prediction as it stood when a run was opened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct KeptPrediction {
    /// For which point.
    pub point: PointCode,
    /// Of what.
    pub what: Predicted,
    /// The estimate, in `unit`.
    pub estimate: f64,
    /// Lower end of the 95 % interval.
    pub low: f64,
    /// Upper end of the 95 % interval.
    pub high: f64,
    /// The unit of all three.
    pub unit: Unit,
    /// Reductions that it rests on.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reductions: Vec<ReductionNumber>,
    /// Runs that it rests on.
    pub runs: Vec<RunNumber>,
    /// Recordings that it rests on.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub recordings: Vec<Digest>,
    /// How far it extrapolates, in per cent of the range seen; absent: not known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub extrapolated_percent: Option<f64>,
    /// The ambient temperature that a predicted temperature takes, degrees Celsius.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ambient_c: Option<f64>,
}

/// A change of an item for which a result need not be shown again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ToleratedChange {
    /// Which item.
    pub item: ItemCode,
    /// What it was in the run; absent: not fitted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub was: Option<String>,
    /// What it is now; absent: not fitted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub is: Option<String>,
}
