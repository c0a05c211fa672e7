//! An order of evidence: what somebody wants made, and how far it has come.

use chrono::{DateTime, Utc};
use paper::Draft;
use parking_lot::Mutex;
use programme::codes::{PersonHandle, ProgrammeId};
use programme::ledger::NodeHash;
use programme::record::Digest;
use programme::scope::Scope;
use serde::{Deserialize, Serialize};
use store::{Idempotency, Progress};
use uuid::Uuid;

/// What can be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum EvidenceKind {
    /// A pack: records with their proofs, checkpoints, keys, recordings and a document to read, in one zip.
    Pack,
    /// The evidence document alone (PDF).
    EvidenceDocument,
    /// Draft: what is going to be tested, where, by whom, in which order (PDF).
    FlightTestProgramme,
    /// Draft: hazards, mitigations and accepted risk (PDF).
    RiskRegister,
    /// Draft: what is fitted, and within which limits it is operated (PDF).
    ConfigurationAndLimitations,
    /// Draft: what the tests came to: hours, areas and speeds (PDF).
    ClosingStatement,
    /// Draft: lines for the aircraft's log (PDF).
    LogEntries,
}

impl EvidenceKind {
    /// Every kind, in reading order.
    pub const ALL: [EvidenceKind; 7] = [
        EvidenceKind::Pack,
        EvidenceKind::EvidenceDocument,
        EvidenceKind::FlightTestProgramme,
        EvidenceKind::RiskRegister,
        EvidenceKind::ConfigurationAndLimitations,
        EvidenceKind::ClosingStatement,
        EvidenceKind::LogEntries,
    ];

    /// The draft that it is; none for the pack and the document.
    pub const fn draft(self) -> Option<Draft> {
        match self {
            EvidenceKind::Pack | EvidenceKind::EvidenceDocument => None,
            EvidenceKind::FlightTestProgramme => Some(Draft::FlightTestProgramme),
            EvidenceKind::RiskRegister => Some(Draft::RiskRegister),
            EvidenceKind::ConfigurationAndLimitations => Some(Draft::ConfigurationAndLimitations),
            EvidenceKind::ClosingStatement => Some(Draft::ClosingStatement),
            EvidenceKind::LogEntries => Some(Draft::LogEntries),
        }
    }

    /// What it is called.
    pub const fn title(self) -> &'static str {
        match self {
            EvidenceKind::Pack => "Pack of evidence",
            EvidenceKind::EvidenceDocument => "Evidence document",
            EvidenceKind::FlightTestProgramme => Draft::FlightTestProgramme.title(),
            EvidenceKind::RiskRegister => Draft::RiskRegister.title(),
            EvidenceKind::ConfigurationAndLimitations => Draft::ConfigurationAndLimitations.title(),
            EvidenceKind::ClosingStatement => Draft::ClosingStatement.title(),
            EvidenceKind::LogEntries => Draft::LogEntries.title(),
        }
    }

    /// What it is for, in a sentence.
    pub const fn is_for(self) -> &'static str {
        match self {
            EvidenceKind::Pack => {
                "Records with their proofs, every signed checkpoint, the keys, the recordings and a document to read, in one zip."
            }
            EvidenceKind::EvidenceDocument => {
                "What was shown, by whom, under which limits, and who signed what: the document of a pack alone."
            }
            EvidenceKind::FlightTestProgramme => Draft::FlightTestProgramme.is_for(),
            EvidenceKind::RiskRegister => Draft::RiskRegister.is_for(),
            EvidenceKind::ConfigurationAndLimitations => {
                Draft::ConfigurationAndLimitations.is_for()
            }
            EvidenceKind::ClosingStatement => Draft::ClosingStatement.is_for(),
            EvidenceKind::LogEntries => Draft::LogEntries.is_for(),
        }
    }

    /// The media type of its file.
    pub const fn media_type(self) -> &'static str {
        match self {
            EvidenceKind::Pack => "application/zip",
            EvidenceKind::EvidenceDocument
            | EvidenceKind::FlightTestProgramme
            | EvidenceKind::RiskRegister
            | EvidenceKind::ConfigurationAndLimitations
            | EvidenceKind::ClosingStatement
            | EvidenceKind::LogEntries => "application/pdf",
        }
    }

    /// The name of its file, without programme and ending.
    const fn stem(self) -> &'static str {
        match self {
            EvidenceKind::Pack => "pack",
            EvidenceKind::EvidenceDocument => "evidence",
            EvidenceKind::FlightTestProgramme => Draft::FlightTestProgramme.as_str(),
            EvidenceKind::RiskRegister => Draft::RiskRegister.as_str(),
            EvidenceKind::ConfigurationAndLimitations => {
                Draft::ConfigurationAndLimitations.as_str()
            }
            EvidenceKind::ClosingStatement => Draft::ClosingStatement.as_str(),
            EvidenceKind::LogEntries => Draft::LogEntries.as_str(),
        }
    }
}

/// What somebody wants.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct EvidenceWanted {
    /// What is to be made.
    pub what: EvidenceKind,
    /// Of which part; absent: of the whole programme. Drafts are of the whole programme alone.
    #[serde(default = "whole")]
    pub scope: Scope,
    /// Whether a pack names the files of recordings by their SHA-256 instead of taking them along.
    #[serde(default)]
    pub digests_only: bool,
}

fn whole() -> Scope {
    Scope::Programme
}

/// How far something has come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Stage {
    /// Others come first.
    Waiting,
    /// It is written: first the document that is read, then the rest.
    BeingMade {
        /// Whether the document is being set, of which nobody knows how long it takes.
        document: bool,
    },
    /// It can be had.
    Ready(Made),
    /// It was not made, and why, in a sentence.
    Failed(String),
}

/// A file that was made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Made {
    pub bytes: u64,
    pub sha256: Digest,
    /// How many records the ledger had.
    pub records: u64,
    /// The root over them.
    pub root: NodeHash,
    /// When it was done.
    pub at: DateTime<Utc>,
}

/// An order.
#[derive(Debug)]
pub(crate) struct Order {
    pub id: Uuid,
    pub programme: ProgrammeId,
    pub wanted: EvidenceWanted,
    pub by: PersonHandle,
    pub at: DateTime<Utc>,
    /// By what a repeat of the request is known.
    pub asked: Option<Idempotency>,
    pub progress: Progress,
    stage: Mutex<Stage>,
}

impl Order {
    pub fn new(
        programme: ProgrammeId,
        by: PersonHandle,
        at: DateTime<Utc>,
        wanted: EvidenceWanted,
        asked: Option<Idempotency>,
    ) -> Self {
        Self {
            id: Uuid::now_v7(),
            programme,
            wanted,
            by,
            at,
            asked,
            progress: Progress::default(),
            stage: Mutex::new(Stage::Waiting),
        }
    }

    /// How far it has come.
    pub fn stage(&self) -> Stage {
        self.stage.lock().clone()
    }

    pub(super) fn goes_to(&self, stage: Stage) {
        *self.stage.lock() = stage;
    }

    /// Whether nothing more comes of it.
    pub(super) fn is_over(&self) -> bool {
        match *self.stage.lock() {
            Stage::Waiting | Stage::BeingMade { .. } => false,
            Stage::Ready(_) | Stage::Failed(_) => true,
        }
    }

    /// The name under which its file is taken away.
    pub fn file_name(&self) -> String {
        let part = match &self.wanted.scope {
            Scope::Programme => String::new(),
            Scope::Phase { phase } => format!("-{phase}"),
            Scope::Point { point } => format!("-{point}"),
            Scope::Day { day } => format!("-{day}"),
        };
        let ending = if self.wanted.what == EvidenceKind::Pack { "zip" } else { "pdf" };
        format!("{}{part}-{}.{ending}", self.programme, self.wanted.what.stem())
    }
}
