//! `rungbook verify`: compute every record's hash again, and name the first that fails.

use std::path::{Path, PathBuf};

use clap::Args;
use programme::ledger::checkpoint::{Checkpoint, SignedCheckpoint};
use programme::ledger::note::Verifier;
use store::{FirstFailure, ProgrammeVerdict, TrustedHead};

use super::{Failure, place, told};
use crate::settings::{Flags, Settings};

/// Check that no record was altered, from the records themselves, and none of the files that they speak of.
///
/// Works beside a running server. It finds every alteration that did not also rewrite the whole ledger with all its roots and
/// signatures; that is found only against a checkpoint kept elsewhere (--against).
#[derive(Debug, Args)]
pub struct Verify {
    /// Check a backup file instead of the data folder
    #[arg(long, value_name = "FILE")]
    backup: Option<PathBuf>,
    /// A checkpoint that was kept elsewhere; may be repeated. The ledger must be a longer form of it
    #[arg(long, value_name = "FILE")]
    against: Vec<PathBuf>,
    /// A key that was noted elsewhere and must have signed those checkpoints, such as ledger/keys gives; may be repeated
    #[arg(long, value_name = "KEY", requires = "against")]
    key: Vec<Verifier>,
}

impl Verify {
    /// Checks, and prints a line for each programme.
    ///
    /// # Errors
    ///
    /// [`Failure`] where a record fails, or there is nothing to check.
    pub fn run(self, flags: &Flags) -> Result<(), Failure> {
        let settings = Settings::gather(flags, None)?;
        let at = match &self.backup {
            Some(file) => file.as_path(),
            None => settings.data()?,
        };
        let kept = self.against.iter().map(|file| kept(file, &self.key));
        let kept = kept.collect::<Result<Vec<_>, _>>()?;
        let verdicts = place::run(async { Ok(store::verify(at, &kept).await?) })?;
        for verdict in &verdicts {
            println!("{}", in_words(verdict));
        }
        for head in kept.iter().filter(|head| agrees(head, &verdicts)) {
            println!("{}: what was kept of {} records still stands", head.programme, head.size);
        }
        let failures: Vec<_> = verdicts
            .iter()
            .filter_map(|verdict| {
                let failure: &FirstFailure = verdict.first_failure.as_ref()?;
                Some(format!("programme {}: {}", verdict.programme, told(failure)))
            })
            .collect();
        let lost = verdicts.iter().flat_map(|verdict| {
            let programme = &verdict.programme;
            verdict
                .files_lost
                .iter()
                .map(move |lost| format!("programme {programme}: {}", told(lost)))
        });
        let failures: Vec<_> = failures.into_iter().chain(lost).collect();
        if failures.is_empty() { Ok(()) } else { Err(Failure::of_work(failures.join("\n"))) }
    }
}

/// What a checkpoint that somebody kept says.
fn kept(file: &Path, keys: &[Verifier]) -> Result<TrustedHead, Failure> {
    let unusable = |why: &dyn std::fmt::Display| {
        Failure::of_input(format!("rungbook: {} cannot be used: {why}", file.display()))
    };
    let text = std::fs::read_to_string(file).map_err(|error| unusable(&error))?;
    let signed: SignedCheckpoint = text.parse().map_err(|error| unusable(&error))?;
    if !keys.is_empty() && !keys.iter().any(|key| signed.is_signed_by(key)) {
        return Err(unusable(&"none of the keys given signed it; it may not be of this server"));
    }
    let Checkpoint { origin, size, root } = signed.checkpoint;
    let programme = origin.programme().ok_or_else(|| {
        unusable(&format!("{origin} is not the name of a ledger of this program"))
    })?;
    Ok(TrustedHead { programme, size, root })
}

fn agrees(head: &TrustedHead, verdicts: &[ProgrammeVerdict]) -> bool {
    let of_head = |verdict: &&ProgrammeVerdict| verdict.programme == head.programme.as_str();
    verdicts
        .iter()
        .find(of_head)
        .is_some_and(|it| it.first_failure.is_none() && it.head.size >= head.size)
}

/// One programme's verdict, as `verify`, `backup` and `restore` tell it.
pub fn in_words(verdict: &ProgrammeVerdict) -> String {
    let end =
        if verdict.first_failure.is_none() { "all pass" } else { "pass, and the next one fails" };
    format!(
        "{}: {} records {end}; root {}; {} kept roots agree; {} files agree",
        verdict.programme,
        verdict.head.size,
        verdict.head.root,
        verdict.roots_agreed,
        verdict.files_agreed
    )
}
