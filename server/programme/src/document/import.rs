//! Imports a document, or points from a spreadsheet, all or nothing.

use serde::Deserialize;

use super::records::{differs, is_being_written, is_planned_anew};
use super::{Places, ProgrammeDocument, check, points_table, read_toml, to_records};
use crate::codes::PersonHandle;
use crate::commands::{Command, Stamp, against_roles};
use crate::entry::Draft;
use crate::people::Act;
use crate::refusal::{Fault, Refusal};
use crate::state::State;

/// Asks for a document to be imported into a programme that exists.
///
/// The same document again gives no record.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ImportDocument {
    /// The TOML text.
    pub toml: String,
}

impl Command for ImportDocument {
    fn act(&self) -> Act {
        Act::Plan
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let document = read_toml(&self.toml).map_err(|faults| Refusal::Invalid { faults })?;
        let mut faults = check(&document, state);
        faults.extend(beyond_permission(&document, state, &stamp.by));
        if !faults.is_empty() {
            return Err(Refusal::Invalid { faults: Places::of(&self.toml).told(faults) });
        }
        Ok(to_records(&document, state))
    }
}

/// The file formats in which points can be kept in a spreadsheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PointsFile {
    /// Comma- or semicolon-separated text.
    Csv,
    /// An Office Open XML workbook; its first sheet is read.
    Xlsx,
}

/// Asks for points to be planned as a spreadsheet has them.
#[derive(Debug, Clone)]
pub struct ImportPoints {
    /// The file's format.
    pub format: PointsFile,
    /// The file.
    pub file: Vec<u8>,
}

impl Command for ImportPoints {
    fn act(&self) -> Act {
        Act::Plan
    }

    fn decide(&self, state: &State, _: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let read = match self.format {
            PointsFile::Csv => points_table::read_csv(&self.file),
            PointsFile::Xlsx => points_table::read_xlsx(&self.file),
        };
        let table = read.map_err(|faults| Refusal::Invalid { faults })?;
        let document = ProgrammeDocument { points: table.points, ..ProgrammeDocument::default() };
        let faults = check(&document, state);
        if !faults.is_empty() {
            return Err(Refusal::Invalid { faults: table.places.told(faults) });
        }
        Ok(to_records(&document, state))
    }
}

/// What a document would change that the importer may not change.
///
/// Whoever may plan writes the first document whole. Once something was signed or run, each section asks for the
/// permission that it asks for elsewhere, and roles change as they do elsewhere. Nobody ever gives themselves a role.
fn beyond_permission(document: &ProgrammeDocument, state: &State, by: &PersonHandle) -> Vec<Fault> {
    let mut faults = Vec::new();
    let being_written = is_being_written(state);
    for (place, person) in document.people.iter().enumerate() {
        let has = state.roles(by);
        if person.handle == *by && person.roles.iter().any(|role| !has.contains(role)) {
            let why = "nobody gives themselves a role: ask another who may list people";
            faults.push(Fault::at(format!("people[{place}].roles"), why));
        } else if !being_written {
            let holds = against_roles(state, by, person).into_iter();
            faults.extend(holds.map(|hold| {
                let field =
                    if hold.rule == "own-qualifications" { "qualifications" } else { "roles" };
                let at = format!("people[{place}].{field}");
                Fault::at(at, format!("{} {}", hold.why, hold.clears))
            }));
        }
    }
    if being_written {
        return faults;
    }
    for (section, act, changes) in sections(document, state) {
        if changes && !act.is_allowed_to(state.roles(by)) {
            faults.push(Fault::at(
                section,
                format!(
                    "would change, and {by} may not {}: that is for {}",
                    act.in_words(),
                    act.allowed_in_words()
                ),
            ));
        }
    }
    faults
}

/// Each section, what it takes to change it, and whether the document would.
fn sections(document: &ProgrammeDocument, state: &State) -> [(&'static str, Act, bool); 11] {
    let people = document.people.iter().any(|it| state.people.get(&it.handle) != Some(it));
    let channels = document.channels.iter().any(|it| state.channels.get(&it.code) != Some(it));
    let recorders = document.recorders.iter().any(|it| state.recorders.get(&it.code) != Some(it));
    let limits = document
        .limits
        .iter()
        .any(|it| state.limits.by_code.get(&it.code).is_none_or(|now| *now.limit != *it));
    let checks = document
        .checks
        .iter()
        .any(|it| state.checks.by_code.get(&it.code).is_none_or(|now| now.check != *it));
    let hazards = document
        .hazards
        .iter()
        .any(|it| state.hazards.get(&it.code).is_none_or(|now| *now.hazard != *it));
    let papers = document.documents.iter().any(|it| state.documents.get(&it.code) != Some(it));
    let aircraft = document.aircraft.is_some() && document.aircraft != state.aircraft;
    let policy = document.policy.is_some() && document.policy != state.policy;
    [
        ("aircraft", Act::DescribeAircraft, aircraft),
        ("policy", Act::SetPolicy, policy),
        ("people", Act::ListPeople, people),
        ("items", Act::Configure, document.items.iter().any(|it| differs(it, state))),
        ("channels", Act::DefineChannels, channels),
        ("recorders", Act::DescribeRecorders, recorders),
        ("limits", Act::ProposeLimit, limits),
        ("checks", Act::DefineChecks, checks),
        ("hazards", Act::RecordHazards, hazards),
        ("documents", Act::FileDocuments, papers),
        ("points", Act::Plan, document.points.iter().any(|it| is_planned_anew(it, state))),
    ]
}
