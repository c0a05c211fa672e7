//! Hazards, and the matrix that turns severity and probability into a level of risk.

#[cfg(test)]
mod published;

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::codes::HazardCode;
use crate::nouns::Role;
use crate::nouns::judging::Judging;
use crate::people::Act;
use crate::refusal::Fault;

/// Severity category as MIL-STD-882E, table I.
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
pub enum Severity {
    /// Category 1.
    Catastrophic,
    /// Category 2.
    Critical,
    /// Category 3.
    Marginal,
    /// Category 4.
    Negligible,
}

impl Severity {
    /// All, from category 1 to 4.
    pub const ALL: [Severity; 4] =
        [Severity::Catastrophic, Severity::Critical, Severity::Marginal, Severity::Negligible];

    /// The category's number, 1 to 4.
    pub const fn number(self) -> u8 {
        match self {
            Severity::Catastrophic => 1,
            Severity::Critical => 2,
            Severity::Marginal => 3,
            Severity::Negligible => 4,
        }
    }
}

/// Probability level as MIL-STD-882E, table II.
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
pub enum Probability {
    /// Level A.
    Frequent,
    /// Level B.
    Probable,
    /// Level C.
    Occasional,
    /// Level D.
    Remote,
    /// Level E.
    Improbable,
    /// Level F: the hazard no longer exists.
    Eliminated,
}

impl Probability {
    /// All, from A to F.
    pub const ALL: [Probability; 6] = [
        Probability::Frequent,
        Probability::Probable,
        Probability::Occasional,
        Probability::Remote,
        Probability::Improbable,
        Probability::Eliminated,
    ];

    /// The level's letter, A to F.
    pub const fn letter(self) -> char {
        match self {
            Probability::Frequent => 'A',
            Probability::Probable => 'B',
            Probability::Occasional => 'C',
            Probability::Remote => 'D',
            Probability::Improbable => 'E',
            Probability::Eliminated => 'F',
        }
    }
}

/// Level of risk, worst first.
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
pub enum RiskLevel {
    /// High.
    High,
    /// Serious.
    Serious,
    /// Medium.
    Medium,
    /// Low.
    Low,
    /// The hazard is gone.
    Eliminated,
}

impl RiskLevel {
    /// The level as written.
    pub const fn as_str(self) -> &'static str {
        match self {
            RiskLevel::High => "high",
            RiskLevel::Serious => "serious",
            RiskLevel::Medium => "medium",
            RiskLevel::Low => "low",
            RiskLevel::Eliminated => "eliminated",
        }
    }
}

impl fmt::Display for RiskLevel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// Severity and probability of one hazard at one moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AssessedRisk {
    /// How bad the effect would be.
    pub severity: Severity,
    /// How likely it is.
    pub probability: Probability,
}

/// Turns severity and probability into a level, and says who may accept each level.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RiskMatrix {
    /// Where the matrix comes from.
    pub source: String,
    /// Four rows, categories 1 to 4, each with six levels, A to F.
    pub rows: [[RiskLevel; 6]; 4],
    /// Levels whose residual risk must be accepted before a point may go ahead, and by whom.
    pub accepted_by: Vec<AcceptingRole>,
}

/// Who may accept residual risk of a level.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AcceptingRole {
    /// The level.
    pub level: RiskLevel,
    /// The roles that may accept it; an empty list means that it is never acceptable.
    pub roles: Vec<Role>,
}

impl RiskMatrix {
    /// The level that the matrix gives.
    pub fn level(&self, risk: AssessedRisk) -> RiskLevel {
        let row = usize::from(risk.severity.number() - 1);
        let column = match risk.probability {
            Probability::Frequent => 0,
            Probability::Probable => 1,
            Probability::Occasional => 2,
            Probability::Remote => 3,
            Probability::Improbable => 4,
            Probability::Eliminated => 5,
        };
        self.rows[row][column]
    }

    /// The roles that may accept a level: any of them, and where there are none nobody may. Absent: it needs no
    /// acceptance. A level that is not named, though a lesser one is, was forgotten, so nobody may accept it.
    pub fn may_accept(&self, level: RiskLevel) -> Option<&[Role]> {
        let named = self.accepted_by.iter().find(|accepting| accepting.level == level);
        // The levels are ordered worst first.
        let lesser = || self.accepted_by.iter().any(|accepting| accepting.level > level);
        match named {
            Some(accepting) => Some(accepting.roles.as_slice()),
            None => lesser().then_some(&[]),
        }
    }
}

/// A hazard of the programme.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Hazard {
    /// Its code.
    pub code: HazardCode,
    /// What can go wrong.
    pub title: String,
    /// What brings it about.
    pub cause: String,
    /// What follows from it.
    pub effect: String,
    /// Before mitigations.
    pub before: AssessedRisk,
    /// What is done against it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub mitigations: Vec<String>,
    /// After mitigations; absent while nobody has judged it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub after: Option<AssessedRisk>,
}

impl RiskMatrix {
    /// What is wrong with it when it is looked at alone; `at` is its place in what was given.
    pub fn faults(&self, at: &str) -> Vec<Fault> {
        let mut judging = Judging::of(at);
        judging.text("source", &self.source);
        for (row, levels) in self.rows.iter().enumerate() {
            for (column, level) in levels.iter().enumerate() {
                let field = format!("rows[{row}][{column}]");
                // The levels are ordered worst first, so that a greater level is a lesser risk.
                if column > 0 && levels[column - 1] > *level {
                    judging.fault(
                        &field,
                        format!("is {level}, worse than a more probable case of the same severity"),
                    );
                }
                if row > 0 && self.rows[row - 1][column] > *level {
                    judging.fault(
                        &field,
                        format!("is {level}, worse than a more severe case as probable"),
                    );
                }
                judging.must(
                    *level != RiskLevel::Eliminated || column == 5,
                    &field,
                    "only the last column, probability F, can be eliminated",
                );
            }
        }
        let levels: Vec<_> = self.accepted_by.iter().map(|accepting| accepting.level).collect();
        judging.no_repeats("accepted_by", &levels);
        for (place, accepting) in self.accepted_by.iter().enumerate() {
            let field = format!("accepted_by[{place}].roles");
            judging.no_repeats(&field, &accepting.roles);
            for (seat, role) in accepting.roles.iter().enumerate() {
                judging.must(
                    Act::AcceptRisk.allowed().contains(role),
                    &format!("{field}[{seat}]"),
                    format!(
                        "the {} accepts no risk: that is for {}",
                        role.in_words(),
                        Act::AcceptRisk.allowed_in_words()
                    ),
                );
            }
        }
        judging.done()
    }
}

impl Hazard {
    /// What is wrong with it when it is looked at alone; `at` is its place in what was given.
    pub fn faults(&self, at: &str) -> Vec<Fault> {
        let mut judging = Judging::of(at);
        judging.title("title", &self.title);
        judging.text("cause", &self.cause);
        judging.text("effect", &self.effect);
        judging.texts("mitigations", &self.mitigations);
        if let Some(after) = self.after {
            judging.must(
                after == self.before || !self.mitigations.is_empty(),
                "after",
                "is judged otherwise than before mitigations, and no mitigation is named",
            );
            judging.must(
                after.severity >= self.before.severity
                    || after.probability >= self.before.probability,
                "after",
                "is both more severe and more probable than before mitigations",
            );
        }
        judging.done()
    }
}
