//! Steps that deviate from the build-up.

use serde::{Deserialize, Serialize};

use crate::measure::Measure;
use crate::nouns::{Axis, Direction};

/// One step that is larger than the build-up allows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DeviatingStep {
    /// On which axis.
    pub axis: Axis,
    /// Which way it counts.
    pub direction: Direction,
    /// The target.
    pub target: Measure,
    /// What was shown; absent: nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shown: Option<Measure>,
    /// What the build-up would allow.
    pub allowed: Measure,
}
