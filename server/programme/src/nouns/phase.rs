//! The five phases of a programme.

use std::fmt;

use serde::{Deserialize, Serialize};

/// How far up the ladder a point stands; later phases are greater.
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
pub enum Phase {
    /// Tests with the propeller off or the powerplant not turning.
    Static,
    /// Powered, tied down or chocked.
    GroundRun,
    /// Moving on the ground under own power.
    Taxi,
    /// The first flight.
    FirstFlight,
    /// Flights that widen the envelope.
    Envelope,
}

impl Phase {
    /// Every phase, in order.
    pub const ALL: [Phase; 5] =
        [Phase::Static, Phase::GroundRun, Phase::Taxi, Phase::FirstFlight, Phase::Envelope];

    /// The phase as written in documents.
    pub const fn as_str(self) -> &'static str {
        match self {
            Phase::Static => "static",
            Phase::GroundRun => "ground-run",
            Phase::Taxi => "taxi",
            Phase::FirstFlight => "first-flight",
            Phase::Envelope => "envelope",
        }
    }

    /// Whether the aircraft leaves the ground.
    pub const fn is_flight(self) -> bool {
        matches!(self, Phase::FirstFlight | Phase::Envelope)
    }
}

impl fmt::Display for Phase {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}
