//! Recurring inspections and how long each is good for.

use serde::{Deserialize, Serialize};

use crate::codes::{CheckCode, EventCode};
use crate::nouns::{Phase, Role};

/// How long a passed check is good for; whichever ends first ends it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Validity {
    /// Powered hours since it was done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub powered_hours: Option<f64>,
    /// Hours by the clock since it was done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clock_hours: Option<f64>,
    /// Days of 24 hours since it was done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub days: Option<u32>,
    /// Happenings that end it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub until: Vec<EventCode>,
}

/// A recurring inspection.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Check {
    /// Its code.
    pub code: CheckCode,
    /// What is inspected.
    pub title: String,
    /// How it is done and what passes.
    pub method: String,
    /// How long it is good for.
    pub validity: Validity,
    /// Phases in which every point needs it; points may name it besides.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub phases: Vec<Phase>,
    /// Who may do it.
    pub by: Vec<Role>,
    /// Who or what asks for it.
    pub source: String,
}
