//! `rungbook export`: what the ledger says, in forms that others read.

use clap::{Args, Subcommand};
use programme::codes::ProgrammeId;
use programme::state::State;

use super::{Failure, place};
use crate::settings::Flags;

/// Export the programme's document, its points, or its completed hours, on standard output.
#[derive(Debug, Args)]
pub struct Export {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// The document that a team writes (TOML); importing it gives the same programme
    Programme(Of),
    /// The points as a spreadsheet reads them (CSV)
    Points(Of),
    /// Completed hours (JSON, against the schema that `rungbook openapi --schema hours` prints)
    Hours(Of),
}

#[derive(Debug, Args)]
struct Of {
    /// The programme's id on this server
    #[arg(long, value_name = "ID")]
    programme: ProgrammeId,
}

impl Export {
    /// Prints the export.
    ///
    /// # Errors
    ///
    /// [`Failure`] where there is no such programme.
    pub fn run(self, flags: &Flags) -> Result<(), Failure> {
        let (what, of): (Write, Of) = match self.what {
            What::Programme(of) => (document, of),
            What::Points(of) => (points, of),
            What::Hours(of) => (hours, of),
        };
        let programme = of.programme;
        let text = place::run(async {
            let store = place::open(flags).await?;
            let text = store.read(&programme, |state, _| what(state)).unwrap_or_else(|| {
                let known: Vec<_> = store.programmes().iter().map(ToString::to_string).collect();
                Err(Failure::of_input(format!(
                    "rungbook: there is no programme {programme} here; there is {}",
                    if known.is_empty() { "none yet".to_owned() } else { known.join(", ") }
                )))
            })?;
            store.close().await;
            Ok(text)
        })?;
        print!("{text}");
        Ok(())
    }
}

/// How an export is written.
type Write = fn(&State) -> Result<String, Failure>;

fn document(state: &State) -> Result<String, Failure> {
    Ok(programme::document::export(state)?)
}

fn points(state: &State) -> Result<String, Failure> {
    let planned = state.ladder.rungs().iter().filter(|rung| rung.dropped.is_none());
    Ok(programme::document::points_table::export_csv(planned.map(|rung| &*rung.point))?)
}

fn hours(state: &State) -> Result<String, Failure> {
    let hours = programme::hours::completed(state);
    Ok(format!("{}\n", serde_json::to_string_pretty(&hours)?))
}
