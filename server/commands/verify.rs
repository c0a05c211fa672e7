//! `rungbook verify`: compute every record's hash again, and name the first that fails.

use std::path::PathBuf;

use clap::Args;
use store::{FirstFailure, ProgrammeVerdict};

use super::{Failure, place, told};
use crate::settings::{Flags, Settings};

/// Check that no record was altered, from the records themselves, and none of the files that they speak of.
///
/// Works beside a running server. It finds every alteration that did not also rewrite the whole ledger with all its roots;
/// that is found only against a size and root kept elsewhere.
#[derive(Debug, Args)]
pub struct Verify {
    /// Check a backup file instead of the data folder
    #[arg(long, value_name = "FILE")]
    backup: Option<PathBuf>,
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
        let verdicts = place::run(async { Ok(store::verify(at, &[]).await?) })?;
        for verdict in &verdicts {
            println!("{}", in_words(verdict));
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
