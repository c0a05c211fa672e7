//! Why a day was lost.

use serde::{Deserialize, Serialize};

/// What a day on which the team wanted to work was lost to.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    Serialize,
    Deserialize,
    utoipa::ToSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum LostTo {
    /// The weather did not do.
    Weather,
    /// The aircraft was not fit: a snag, a quarantine, work that took longer.
    Aircraft,
    /// Chargers, recorders, vehicles or tools were not fit.
    Equipment,
    /// Somebody who was needed was not there.
    People,
    /// The field was closed, too wet, or used by others.
    Airfield,
    /// A permit, a release or another paper was not there.
    Papers,
    /// A stand-down.
    StandDown,
    /// Something else, as the account says.
    Other,
}

impl LostTo {
    /// Every cause.
    pub const ALL: [Self; 8] = [
        Self::Weather,
        Self::Aircraft,
        Self::Equipment,
        Self::People,
        Self::Airfield,
        Self::Papers,
        Self::StandDown,
        Self::Other,
    ];

    /// The cause as written.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Weather => "weather",
            Self::Aircraft => "aircraft",
            Self::Equipment => "equipment",
            Self::People => "people",
            Self::Airfield => "airfield",
            Self::Papers => "papers",
            Self::StandDown => "stand-down",
            Self::Other => "other",
        }
    }

    /// The cause in words.
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::Weather => "weather",
            Self::Aircraft => "the aircraft: a snag, a quarantine, work on it",
            Self::Equipment => "chargers, recorders or tools",
            Self::People => "somebody was not there",
            Self::Airfield => "the airfield",
            Self::Papers => "papers",
            Self::StandDown => "a stand-down",
            Self::Other => "something else",
        }
    }
}
