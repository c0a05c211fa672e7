//! The risk of a mishap from how bad it would be and how likely it is.

use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::catalogue::{Field, Refused, Topic, answer};
use crate::input::Reader;

/// How bad the mishap would be, MIL-STD-882E Table I.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// 1: death, permanent total disability, or a loss of 10 million US dollars or more.
    Catastrophic,
    /// 2: permanent partial disability, three or more people in hospital, or a loss of 1 to 10 million US dollars.
    Critical,
    /// 3: injury or illness that costs a work day, or a loss of 100 000 to 1 million US dollars.
    Marginal,
    /// 4: injury or illness that costs no work day, or a loss below 100 000 US dollars.
    Negligible,
}

impl Severity {
    /// All four, the worst first.
    pub const ALL: [Self; 4] =
        [Self::Catastrophic, Self::Critical, Self::Marginal, Self::Negligible];

    /// The category number of the standard, 1 (worst) to 4.
    pub const fn category(self) -> u8 {
        match self {
            Self::Catastrophic => 1,
            Self::Critical => 2,
            Self::Marginal => 3,
            Self::Negligible => 4,
        }
    }

    /// The severity with this category number, if it is 1 to 4.
    pub const fn from_category(category: i64) -> Option<Self> {
        match category {
            1 => Some(Self::Catastrophic),
            2 => Some(Self::Critical),
            3 => Some(Self::Marginal),
            4 => Some(Self::Negligible),
            _ => None,
        }
    }

    /// The word of the standard.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Catastrophic => "catastrophic",
            Self::Critical => "critical",
            Self::Marginal => "marginal",
            Self::Negligible => "negligible",
        }
    }

    /// The monetary loss from which on the category applies, in US dollars.
    pub const fn loss_usd_at_least(self) -> f64 {
        match self {
            Self::Catastrophic => 1.0e7,
            Self::Critical => 1.0e6,
            Self::Marginal => 1.0e5,
            Self::Negligible => 0.0,
        }
    }
}

/// How likely the mishap is during the life of one item, MIL-STD-882E Table II.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Probability {
    /// Frequent: at least one in ten.
    A,
    /// Probable: at least one in a hundred.
    B,
    /// Occasional: at least one in a thousand.
    C,
    /// Remote: at least one in a million.
    D,
    /// Improbable: less than one in a million.
    E,
    /// Eliminated: the hazard is no longer there. No training, warning or protective clothing brings a mishap here.
    F,
}

impl Probability {
    /// All six, the likeliest first.
    pub const ALL: [Self; 6] = [Self::A, Self::B, Self::C, Self::D, Self::E, Self::F];

    /// The level's letter.
    pub const fn letter(self) -> &'static str {
        match self {
            Self::A => "A",
            Self::B => "B",
            Self::C => "C",
            Self::D => "D",
            Self::E => "E",
            Self::F => "F",
        }
    }

    /// The level with this letter, if it is A to F.
    pub fn from_letter(letter: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|level| level.letter() == letter)
    }

    /// The word of the standard.
    pub const fn word(self) -> &'static str {
        match self {
            Self::A => "frequent",
            Self::B => "probable",
            Self::C => "occasional",
            Self::D => "remote",
            Self::E => "improbable",
            Self::F => "eliminated",
        }
    }

    /// The probability in the life of one item from which on the level applies; none for an eliminated hazard.
    pub const fn at_least(self) -> Option<f64> {
        match self {
            Self::A => Some(1.0e-1),
            Self::B => Some(1.0e-2),
            Self::C => Some(1.0e-3),
            Self::D => Some(1.0e-6),
            Self::E => Some(0.0),
            Self::F => None,
        }
    }

    /// The probability in the life of one item below which the level applies; none for the highest and for an
    /// eliminated hazard.
    pub const fn below(self) -> Option<f64> {
        match self {
            Self::A | Self::F => None,
            Self::B => Some(1.0e-1),
            Self::C => Some(1.0e-2),
            Self::D => Some(1.0e-3),
            Self::E => Some(1.0e-6),
        }
    }
}

/// The risk level; a greater one is worse.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RiskLevel {
    /// The hazard is no longer there.
    Eliminated,
    /// Low.
    Low,
    /// Medium.
    Medium,
    /// Serious.
    Serious,
    /// High.
    High,
}

impl RiskLevel {
    /// The word as it stands in answers and records.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Eliminated => "eliminated",
            Self::Low => "low",
            Self::Medium => "medium",
            Self::Serious => "serious",
            Self::High => "high",
        }
    }
}

/// The risk assessment matrix: a row for each probability A to F, in it a cell for each severity 1 to 4.
pub const MIL_STD_882E_MATRIX: [[RiskLevel; 4]; 6] = {
    use RiskLevel::{Eliminated, High, Low, Medium, Serious};
    [
        [High, High, Serious, Medium],
        [High, High, Serious, Medium],
        [High, Serious, Medium, Low],
        [Serious, Medium, Medium, Low],
        [Medium, Medium, Medium, Low],
        [Eliminated, Eliminated, Eliminated, Eliminated],
    ]
};

/// The risk level of a mishap.
///
/// Valid for every severity and probability. Marginal and improbable (3E) is medium: copies of the table disagree in
/// this one cell, and the indices of the edition before it (17, in the band 10 to 17) give medium.
///
/// # Source
///
/// MIL-STD-882E (11 May 2012), Table III.
/// Checked by `published/risk.toml`.
pub const fn mil_std_882e(severity: Severity, probability: Probability) -> RiskLevel {
    let row = match probability {
        Probability::A => 0,
        Probability::B => 1,
        Probability::C => 2,
        Probability::D => 3,
        Probability::E => 4,
        Probability::F => 5,
    };
    MIL_STD_882E_MATRIX[row][severity.category() as usize - 1]
}

/// The topic `risk`.
pub static TOPIC: Topic = Topic {
    name: "risk",
    version: 1,
    title: "Risk level of a mishap",
    gives: "The risk level of a mishap from its severity and its probability, read from the matrix of MIL-STD-882E. \
            Who may accept which level is for the team and its authority to say.",
    valid_range: "Severity 1 (catastrophic) to 4 (negligible); probability A (frequent) to F (eliminated). F is only for \
                  a hazard that is no longer there: no training, warning or protective clothing brings a mishap to F.",
    inputs: &[
        Field::required(
            "severity",
            "category 1–4",
            "How bad the mishap would be: 1 catastrophic, 2 critical, 3 marginal, 4 negligible.",
        ),
        Field::required(
            "probability",
            "level A–F",
            "How likely it is: A frequent, B probable, C occasional, D remote, E improbable, F eliminated.",
        ),
    ],
    outputs: &[
        Field::required(
            "level",
            "text",
            "The risk level: high, serious, medium, low or eliminated.",
        ),
        Field::required("severity_name", "text", "The severity in words."),
        Field::required("probability_name", "text", "The probability in words."),
        Field::required(
            "loss_usd_at_least",
            "US dollars",
            "The monetary loss from which on this severity applies.",
        ),
        Field::required(
            "probability_at_least",
            "ratio",
            "The probability in the life of one item from which on this level applies; null for F.",
        ),
        Field::required(
            "probability_below",
            "ratio",
            "The probability in the life of one item below which this level applies; null for A and F.",
        ),
    ],
    equations: &[
        "Look up the cell of the matrix: a row for each probability, a column for each severity.",
    ],
    sources: &[
        "MIL-STD-882E (11 May 2012), Tables I, II and III, as reproduced in public copies; cell 3E is medium, where copies disagree",
        "MIL-STD-882E, Appendix A, Table A-II: probabilities in the life of one item; copies differ on which level owns a limit itself",
    ],
    published: &[("risk.toml", include_str!("../published/risk.toml"))],
    example: r#"{ "severity": 1, "probability": "D" }"#,
    compute,
};

#[derive(Serialize)]
struct Output {
    level: RiskLevel,
    severity_name: &'static str,
    probability_name: &'static str,
    loss_usd_at_least: f64,
    probability_at_least: Option<f64>,
    probability_below: Option<f64>,
}

fn compute(input: &Value) -> Result<Value, Refused> {
    let letters = Probability::ALL.map(|level| (level.letter(), level));
    let mut reader = Reader::object(input);
    let severity = reader.required_integer("severity", 1.0..=4.0).and_then(Severity::from_category);
    let probability = reader.one_of("probability", &letters);
    let (severity, probability) = reader.finish(|| Some((severity?, probability?)))?;
    answer(&Output {
        level: mil_std_882e(severity, probability),
        severity_name: severity.word(),
        probability_name: probability.word(),
        loss_usd_at_least: severity.loss_usd_at_least(),
        probability_at_least: probability.at_least(),
        probability_below: probability.below(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_likelier_or_worse_mishap_never_has_a_lower_level() {
        for (place, severity) in Severity::ALL.into_iter().enumerate() {
            for (row, probability) in Probability::ALL.into_iter().enumerate() {
                let level = mil_std_882e(severity, probability);
                for milder in &Severity::ALL[place..] {
                    assert!(mil_std_882e(*milder, probability) <= level);
                }
                for rarer in &Probability::ALL[row..] {
                    assert!(mil_std_882e(severity, *rarer) <= level);
                }
            }
        }
    }

    #[test]
    fn a_hazard_is_eliminated_only_at_level_f() {
        for severity in Severity::ALL {
            for probability in Probability::ALL {
                let eliminated = mil_std_882e(severity, probability) == RiskLevel::Eliminated;
                assert_eq!(eliminated, probability == Probability::F);
            }
        }
    }

    #[test]
    fn every_category_and_letter_reads_back_as_itself() {
        for severity in Severity::ALL {
            assert_eq!(Severity::from_category(i64::from(severity.category())), Some(severity));
        }
        for probability in Probability::ALL {
            assert_eq!(Probability::from_letter(probability.letter()), Some(probability));
        }
        assert_eq!(Severity::from_category(0), None);
        assert_eq!(Severity::from_category(5), None);
        assert_eq!(Probability::from_letter("a"), None);
    }
}
