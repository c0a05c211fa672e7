//! The aircraft and the items of its configuration.

use serde::{Deserialize, Serialize};

use crate::codes::ItemCode;
use crate::measure::{Kind, Measure};
use crate::nouns::judging::Judging;
use crate::nouns::{LoadingLimits, StructuralDesign};
use crate::refusal::Fault;

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
    /// Greatest pressure altitude it may ever be flown at.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub maximum_altitude: Option<Measure>,
    /// Greatest take-off mass.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub maximum_mass: Option<Measure>,
    /// Seats, the pilot's included.
    pub seats: u8,
    /// The loading it is tested at.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub loading: Vec<LoadingStation>,
    /// Where its mass and centre of gravity may be.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loading_limits: Option<LoadingLimits>,
    /// What its limit load factors follow from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub structure: Option<StructuralDesign>,
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

impl Aircraft {
    /// What is wrong with it when it is looked at alone; `at` is its place in what was given.
    pub fn faults(&self, at: &str) -> Vec<Fault> {
        let mut judging = Judging::of(at);
        judging.title("name", &self.name);
        judging.text("description", &self.description);
        if let Some(registration) = &self.registration {
            judging.title("registration", registration);
        }
        if let Some(airfield) = &self.airfield {
            judging.title("airfield", airfield);
        }
        if let Some(speed) = self.never_exceed_speed {
            judging.measure_positive("never_exceed_speed", speed, Kind::Speed);
        }
        if let Some(altitude) = self.maximum_altitude {
            judging.measure_positive("maximum_altitude", altitude, Kind::Length);
        }
        if let Some(mass) = self.maximum_mass {
            judging.measure_positive("maximum_mass", mass, Kind::Mass);
        }
        judging.must(self.seats > 0, "seats", "must count the pilot's seat at least");
        for (place, station) in self.loading.iter().enumerate() {
            let field = |name: &str| format!("loading[{place}].{name}");
            judging.title(&field("name"), &station.name);
            judging.measure_not_negative(&field("mass"), station.mass, Kind::Mass);
            judging.measure(&field("arm"), station.arm, Kind::Length);
        }
        if let Some(limits) = &self.loading_limits {
            limits.judge("loading_limits", &mut judging);
        }
        if let Some(structure) = &self.structure {
            structure.judge("structure", &mut judging);
        }
        judging.done()
    }
}

impl Item {
    /// What is wrong with it when it is looked at alone; `at` is its place in what was given.
    pub fn faults(&self, at: &str) -> Vec<Fault> {
        let mut judging = Judging::of(at);
        judging.title("title", &self.title);
        judging.title("version", &self.version);
        judging.done()
    }
}
