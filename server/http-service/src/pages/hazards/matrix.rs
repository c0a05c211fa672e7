//! The matrix of risk in words.

use maud::{Markup, html};
use programme::nouns::{AssessedRisk, Probability, RiskMatrix, Severity};

use crate::pages::words::roles;

/// The matrix in words.
#[derive(Debug, Clone)]
pub(crate) struct MatrixShown {
    pub source: String,
    /// Severity, and the level for each probability.
    pub rows: Vec<(&'static str, Vec<&'static str>)>,
    /// Level, and who may accept it.
    pub accepted_by: Vec<(&'static str, String)>,
}

pub(super) const fn severity(severity: Severity) -> &'static str {
    match severity {
        Severity::Catastrophic => "catastrophic",
        Severity::Critical => "critical",
        Severity::Marginal => "marginal",
        Severity::Negligible => "negligible",
    }
}

pub(super) const fn probability(probability: Probability) -> &'static str {
    match probability {
        Probability::Frequent => "frequent",
        Probability::Probable => "probable",
        Probability::Occasional => "occasional",
        Probability::Remote => "remote",
        Probability::Improbable => "improbable",
        Probability::Eliminated => "eliminated",
    }
}

impl MatrixShown {
    pub(super) fn of(matrix: &RiskMatrix) -> Self {
        let rows = Severity::ALL.into_iter().map(|of| {
            let levels = Probability::ALL.into_iter().map(|probability| {
                matrix.level(AssessedRisk { severity: of, probability }).as_str()
            });
            (severity(of), levels.collect())
        });
        Self {
            source: matrix.source.clone(),
            rows: rows.collect(),
            accepted_by: matrix
                .accepted_by
                .iter()
                .map(|it| (it.level.as_str(), roles(&it.roles)))
                .collect(),
        }
    }

    pub(super) fn shown(&self) -> Markup {
        html! {
            div.wide tabindex="0" role="region" aria-label="Matrix of risk" {
                table.matrix {
                    caption { "Level of risk by how severe and how probable. " (self.source) }
                    thead { tr { th scope="col" { "Severity" } @for it in Probability::ALL { th scope="col" { (probability(it)) } } } }
                    tbody { @for (severity, levels) in &self.rows { tr { th scope="row" { (severity) } @for level in levels { td.{ "level-" (level) } { (level) } } } } }
                }
            }
            ul { @for (level, roles) in &self.accepted_by { li { strong { (level) } ": accepted by " @if roles.is_empty() { "nobody" } @else { (roles) } } } }
        }
    }

    #[cfg(test)]
    pub(super) fn sample(many: usize) -> Self {
        Self {
            source: crate::pages::tests::long("The programme's own.", many),
            rows: vec![("catastrophic", vec!["high"; 6]); 4],
            accepted_by: vec![("high", "safety officer".to_owned())],
        }
    }
}
