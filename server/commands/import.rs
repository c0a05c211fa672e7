//! `rungbook import`: a team's document into the ledger, all or nothing.

use std::path::PathBuf;

use chrono::Utc;
use clap::Args;
use programme::codes::{PersonHandle, ProgrammeId};
use programme::commands::{self, Stamp};
use programme::document::{self, ImportDocument};
use programme::entry::Draft;
use programme::record::Record;
use programme::refusal::Refusal;
use store::{Act, ActError, Reply};

use super::{Failure, place, told};
use crate::settings::Flags;

/// Import a programme's document (TOML), all or nothing; begin the programme where there is none of that name.
///
/// Every problem is told with its line and field. The same document again changes nothing.
#[derive(Debug, Args)]
pub struct Import {
    /// The document
    file: PathBuf,
    /// The programme's id on this server
    #[arg(long, value_name = "ID")]
    programme: ProgrammeId,
    /// Who imports it: the handle of somebody whom the programme lists
    #[arg(long, value_name = "HANDLE")]
    by: PersonHandle,
}

impl Import {
    /// Imports, and says what was recorded.
    ///
    /// # Errors
    ///
    /// [`Failure`] with every problem of the document; nothing was changed then.
    pub fn run(self, flags: &Flags) -> Result<(), Failure> {
        if store::looks_like_a_pack(&self.file) {
            return Err(Failure::of_input(format!(
                "rungbook: {0} is a pack or another zip file, not a document; take a whole programme over with: rungbook adopt {0}",
                self.file.display()
            )));
        }
        let text = std::fs::read_to_string(&self.file).map_err(|error| {
            Failure::of_input(format!("rungbook: {}: {error}", self.file.display()))
        })?;
        place::run(async {
            let store = place::open(flags).await?;
            let now = Utc::now();
            let exists = store.read(&self.programme, |_, _| ()).is_some();
            let act = |decide: store::Decide| Act {
                programme: self.programme.clone(),
                by: self.by.clone(),
                at: now,
                idempotency: None,
                decide,
                reply: Box::new(|_, _| Reply {
                    status: 200,
                    body: Vec::new(),
                    headers: Vec::new(),
                }),
            };
            let outcome = if exists {
                let stamp = Stamp { by: self.by.clone(), now };
                let command = ImportDocument { toml: text };
                let decide: store::Decide =
                    Box::new(move |state| commands::decide(state, &command, &stamp));
                store.act(act(decide)).await
            } else {
                let mut drafts =
                    document::found(&text).map_err(|refusal| self.refused(&refusal))?;
                let title = title(&drafts);
                drafts.retain(|draft| !matches!(draft.record, Record::ProgrammeFounded(_)));
                if !drafts.iter().any(|draft| lists(draft, &self.by)) {
                    return Err(Failure::of_input(format!(
                        "rungbook: the document lists nobody called {}; give --by with the handle of one of its people",
                        self.by
                    )));
                }
                store.found(title, act(Box::new(move |_| Ok(drafts)))).await
            };
            let written = match outcome {
                Ok(acted) => acted.entries.len(),
                Err(ActError::Refused(refusal)) => return Err(self.refused(&refusal)),
                Err(error) => return Err(error.into()),
            };
            store.close().await;
            match written {
                0 => println!(
                    "The programme {} says all of that already; nothing was recorded.",
                    self.programme
                ),
                1 => println!("1 record was added to the programme {}.", self.programme),
                many => println!("{many} records were added to the programme {}.", self.programme),
            }
            Ok(())
        })
    }

    fn refused(&self, refusal: &Refusal) -> Failure {
        let mut lines = format!("{}; nothing was imported", told(refusal));
        if let Refusal::Invalid { faults } = refusal {
            for fault in faults {
                lines.push_str(&format!(
                    "\n  {}: {} {}",
                    self.file.display(),
                    fault.field,
                    fault.why
                ));
            }
        }
        Failure::of_input(lines)
    }
}

fn title(drafts: &[Draft]) -> String {
    drafts
        .iter()
        .find_map(|draft| match &draft.record {
            Record::ProgrammeFounded(founded) => Some(founded.title.clone()),
            _ => None,
        })
        .unwrap_or_default()
}

fn lists(draft: &Draft, handle: &PersonHandle) -> bool {
    matches!(&draft.record, Record::PersonListed(listed) if listed.person.handle == *handle)
}
