//! `rungbook paper`: a programme as a document to read, and drafts of what a team owes its authority.

use std::io::Write;
use std::path::PathBuf;

use clap::{Args, ValueEnum};
use http_service::facts;
use paper::Draft;
use programme::codes::ProgrammeId;
use programme::scope::Scope;

use super::pack::Part;
use super::{Failure, place};
use crate::settings::Flags;

/// Which paper.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Which {
    /// What was shown, by whom, under which limits, and who signed what
    Evidence,
    /// Draft: what is going to be tested, where, by whom, in which order
    FlightTestProgramme,
    /// Draft: hazards, mitigations and accepted risk
    RiskRegister,
    /// Draft: what is fitted, and within which limits it is operated
    ConfigurationAndLimitations,
    /// Draft: what the tests came to: hours, areas and speeds
    ClosingStatement,
    /// Draft: lines for the aircraft's log
    LogEntries,
}

impl Which {
    fn draft(self) -> Option<Draft> {
        Some(match self {
            Which::Evidence => return None,
            Which::FlightTestProgramme => Draft::FlightTestProgramme,
            Which::RiskRegister => Draft::RiskRegister,
            Which::ConfigurationAndLimitations => Draft::ConfigurationAndLimitations,
            Which::ClosingStatement => Draft::ClosingStatement,
            Which::LogEntries => Draft::LogEntries,
        })
    }
}

/// Write a paper as PDF: the evidence document, or a draft to be read, completed and signed by people.
///
/// Each page names the ledger's size and root. What is not recorded is printed as that. No authority's form is imitated; its
/// current text and the licensed inspectors come first. The server of the folder must not be running.
#[derive(Debug, Args)]
pub struct Paper {
    /// Which paper
    which: Which,
    /// The file to make (PDF)
    file: PathBuf,
    /// The programme's id on this server
    #[arg(long, value_name = "ID")]
    programme: ProgrammeId,
    /// Which part the evidence document is of.
    #[command(flatten)]
    part: Part,
}

impl Paper {
    /// Writes the paper.
    ///
    /// # Errors
    ///
    /// [`Failure`] where there is no such programme or part, a draft is asked for of a part, or the file is there already.
    pub fn run(self, flags: &Flags) -> Result<(), Failure> {
        let scope = self.part.scope();
        if self.which.draft().is_some() && scope != Scope::Programme {
            return Err(Failure::of_input(
                "rungbook: a draft is of the whole programme; leave --phase, --point and --day out",
            ));
        }
        let bytes = place::run(async {
            let store = place::open(flags).await?;
            let written = store.read(&self.programme, |state, head| {
                let facts = facts(state, head.size, head.root);
                let manuscript = match self.which.draft() {
                    Some(which) => paper::draft(which, state, facts.at),
                    None => paper::evidence(&scope, state, facts.at),
                };
                manuscript.map(|manuscript| (manuscript, facts))
            });
            store.close().await;
            let (manuscript, facts) = written.ok_or_else(|| {
                Failure::of_input(format!(
                    "rungbook: there is no programme {} here",
                    self.programme
                ))
            })??;
            Ok(manuscript.typeset(&facts)?)
        })?;
        let mut file = std::fs::File::create_new(&self.file).map_err(|error| {
            Failure::of_work(format!("rungbook: {} cannot be made: {error}", self.file.display()))
        })?;
        file.write_all(&bytes)?;
        file.sync_all()?;
        println!(
            "{} is written: {} bytes. It clears nobody to fly.",
            self.file.display(),
            bytes.len()
        );
        Ok(())
    }
}
