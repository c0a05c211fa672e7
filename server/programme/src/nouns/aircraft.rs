//! The aircraft and the items of its configuration.

use serde::{Deserialize, Serialize};

use crate::codes::ItemCode;
use crate::measure::Measure;

/// One place of the aircraft that carries mass.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LoadingStation {
    /// What is carried there.
    pub name: String,
    /// Mass carried.
    pub mass: Measure,
    /// Distance aft of the datum.
    pub arm: Measure,
}

/// The aircraft under test.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Aircraft {
    /// What the team calls it.
    pub name: String,
    /// Its marks, where it has any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub registration: Option<String>,
    /// What it is, in a sentence or two.
    pub description: String,
    /// Where it is tested.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub airfield: Option<String>,
    /// Greatest speed it may ever be flown at.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub never_exceed_speed: Option<Measure>,
    /// Greatest take-off mass.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub maximum_mass: Option<Measure>,
    /// Seats, the pilot's included.
    pub seats: u8,
    /// The loading it is tested at.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub loading: Vec<LoadingStation>,
}

/// Whether an item is a thing or a program.
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
pub enum ItemKind {
    /// A part.
    Part,
    /// Software, firmware or a set of parameters.
    Software,
}

/// One item of the configuration, at the version that is fitted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Item {
    /// Its code.
    pub code: ItemCode,
    /// What it is.
    pub title: String,
    /// Part or software.
    pub kind: ItemKind,
    /// Version, part and serial number, or parameter set as fitted now.
    pub version: String,
}
