//! `rungbook key`: the key by which checkpoints are signed.

use chrono::Utc;
use clap::{Args, Subcommand};
use programme::codes::PersonHandle;

use super::{Failure, place};
use crate::settings::Flags;

/// The key by which checkpoints of the ledgers are signed.
#[derive(Debug, Args)]
pub struct Key {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Change(Change),
}

/// Sign with a new key from now on, and record so in every programme's ledger.
///
/// The old key signs the checkpoint that has this record, so that whoever noted it can follow; then it is forgotten. Checkpoints
/// that it signed stay good. Stop the server first. Do it when a machine or a backup has gone where it should not have.
#[derive(Debug, Args)]
struct Change {
    /// Who changes it, in whose name it is recorded
    #[arg(long, value_name = "HANDLE")]
    by: PersonHandle,
    /// Why
    #[arg(long, value_name = "TEXT")]
    reason: String,
}

impl Key {
    /// Does what was asked of the key.
    ///
    /// # Errors
    ///
    /// [`Failure`] where there is no such person, or the folder cannot be used.
    pub fn run(self, flags: &Flags) -> Result<(), Failure> {
        let What::Change(Change { by, reason }) = self.what;
        if reason.trim().is_empty() {
            return Err(Failure::of_input("rungbook: say why the key is changed (--reason)"));
        }
        place::run(async {
            let store = place::open(flags).await?;
            if store.account(&by).is_none() {
                return Err(Failure::of_input(format!("rungbook: there is no account \"{by}\"")));
            }
            let changed = store.change_key(&by, Utc::now(), &reason).await?;
            let at_once = store.programmes();
            for programme in at_once.into_iter().filter(|it| !changed.waiting.contains(it)) {
                let keys = store.checkpoint_keys(&programme).await?;
                let Some((origin, _)) = keys else { continue };
                if let Some(key) = store::verifier(&origin, &changed.key) {
                    println!("{programme}: signed by {key} from now on");
                }
            }
            for programme in &changed.waiting {
                println!(
                    "{programme}: goes on from a copy; the new key signs it once that is acknowledged"
                );
            }
            store.close().await;
            println!("Note the new key elsewhere than on this server.");
            Ok(())
        })
    }
}
