//! `rungbook adopt`: a whole programme from another server.

use std::path::PathBuf;

use chrono::Utc;
use clap::Args;
use programme::codes::PersonHandle;
use rand::TryRng;

use super::{Failure, place};
use crate::settings::{Flags, Settings};

/// Take a whole programme over from another server, by its pack with recordings: the same records, checkpoints and root.
///
/// It is a copy, and the server that it came from may go on: nobody signs in it here until its test lead and safety officer
/// have both acknowledged that. People get accounts that an administrator has to give a password and enable.
#[derive(Debug, Args)]
pub struct Adopt {
    /// The pack of the whole programme, with recordings
    pack: PathBuf,
    /// Somebody of the programme who has an account here already and is the same person; may be repeated
    #[arg(long, value_name = "HANDLE")]
    same: Vec<PersonHandle>,
}

impl Adopt {
    /// Checks the pack, and takes the programme over.
    ///
    /// # Errors
    ///
    /// [`Failure`] where the pack does not pass or is a part only, or the programme or one of its people is here already.
    pub fn run(self, flags: &Flags) -> Result<(), Failure> {
        let settings = Settings::gather(flags, None)?;
        let whereabouts = settings.whereabouts()?;
        let mut random = [0_u8; 32];
        rand::rngs::SysRng.try_fill_bytes(&mut random)?;
        let nobody_knows: String = random.iter().map(|byte| format!("{byte:02x}")).collect();
        let nobody = "nobody".parse()?;
        let hash = http_service::hash_password(&nobody, &nobody_knows)?;
        let moved = place::run(async {
            place::must_hold_a_ledger(&whereabouts).await?;
            let hash_for = |_: &PersonHandle| hash.clone();
            Ok(store::move_in(&whereabouts, &self.pack, &self.same, Utc::now(), hash_for).await?)
        })?;
        let verdict = &moved.verdict;
        println!(
            "{}: {} records are here; root {}",
            verdict.programme, verdict.checkpoint.size, verdict.checkpoint.root
        );
        if !moved.to_be_claimed.is_empty() {
            let handles: Vec<_> = moved.to_be_claimed.iter().map(PersonHandle::as_str).collect();
            println!(
                "Give each of these a password and enable them (rungbook person password, person enable): {}",
                handles.join(", ")
            );
        }
        println!(
            "It goes on from a copy: test lead and safety officer have to acknowledge that before anybody signs (page \"Ledger\")."
        );
        Ok(())
    }
}
