//! The matrix of MIL-STD-882E as published, cell by cell, and the demonstration's matrix held against it.

#![allow(clippy::unwrap_used)]

use std::collections::BTreeSet;

use super::*;
use crate::document::read_toml;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Published {
    severity: Vec<Category>,
    probability: Vec<Level>,
    cell: Vec<Cell>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Category {
    number: u8,
    name: Severity,
    source: String,
    status: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Level {
    letter: char,
    name: Probability,
    source: String,
    status: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Cell {
    severity: u8,
    probability: char,
    level: RiskLevel,
    source: String,
    status: String,
}

fn published() -> Published {
    toml::from_str(include_str!("../../../published/risk_matrix.toml")).unwrap()
}

/// The demonstration's matrix.
fn of_the_demonstration() -> RiskMatrix {
    let document = read_toml(include_str!("../../../../../seed/programme.toml")).unwrap();
    document.policy.unwrap().risk
}

/// The risk that a published cell is the level of.
fn risk(cell: &Cell) -> AssessedRisk {
    let severity = Severity::ALL.into_iter().find(|severity| severity.number() == cell.severity);
    let probability =
        Probability::ALL.into_iter().find(|probability| probability.letter() == cell.probability);
    AssessedRisk { severity: severity.unwrap(), probability: probability.unwrap() }
}

/// A team's matrix that holds the published cells, laid out by number and letter alone.
fn as_published() -> RiskMatrix {
    let mut rows = [[RiskLevel::High; 6]; 4];
    for cell in published().cell {
        let column = usize::try_from(cell.probability as u32 - 'A' as u32).unwrap();
        rows[usize::from(cell.severity) - 1][column] = cell.level;
    }
    RiskMatrix { source: "MIL-STD-882E, table III".to_owned(), rows, accepted_by: Vec::new() }
}

#[test]
fn categories_and_levels_have_their_published_numbers_letters_and_names() {
    let published = published();
    assert_eq!((published.severity.len(), published.probability.len()), (4, 6));
    for category in published.severity {
        assert_eq!(category.name.number(), category.number, "{}", category.source);
        assert!(!category.status.is_empty());
    }
    for level in published.probability {
        assert_eq!(level.name.letter(), level.letter, "{}", level.source);
        assert!(!level.status.is_empty());
    }
}

#[test]
fn the_matrix_gives_the_published_level_of_every_severity_and_probability() {
    let cells = published().cell;
    let places: BTreeSet<_> = cells.iter().map(|cell| (cell.severity, cell.probability)).collect();
    assert_eq!((cells.len(), places.len()), (24, 24), "all cells are there, each once");
    let matrix = as_published();
    assert_eq!(matrix.faults("risk"), vec![]);
    for cell in cells {
        let level = matrix.level(risk(&cell));
        assert_eq!(level, cell.level, "{} ({})", cell.source, cell.status);
    }
}

#[test]
fn the_demonstrations_matrix_is_the_published_table() {
    let demonstration = of_the_demonstration();
    for cell in published().cell {
        let level = demonstration.level(risk(&cell));
        let place = format!("{}{}", cell.severity, cell.probability);
        assert_eq!(level, cell.level, "cell {place}: {} ({})", cell.source, cell.status);
    }
    assert_eq!(demonstration.rows, as_published().rows);
    assert!(demonstration.source.contains("MIL-STD-882E"), "{}", demonstration.source);
    assert!(
        demonstration.source.contains("marginal/improbable from memory"),
        "the cell in which copies disagree is named beside the table"
    );
}
