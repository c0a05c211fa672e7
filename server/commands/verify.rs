//! `rungbook verify`: compute every record's hash again, and name the first that fails.

use std::path::{Path, PathBuf};

use clap::Args;
use programme::ledger::checkpoint::{Checkpoint, SignedCheckpoint};
use programme::ledger::note::Verifier;
use store::{
    FirstFailure, Held, PackVerdict, ProgrammeVerdict, RecordingsIn, TrustedHead, Whereabouts,
};

use super::{Failure, place, told};
use crate::settings::{Flags, Settings};

/// Check that no record was altered, from the records themselves, and none of the files that they speak of.
///
/// Works beside a running server. It finds every alteration that did not also rewrite the whole ledger with all its roots,
/// signatures and the file rungbook.fence beside it; that is found only against a checkpoint kept elsewhere (--against).
#[derive(Debug, Args)]
pub struct Verify {
    /// Check a backup file instead of the data folder
    #[arg(long, value_name = "FILE")]
    backup: Option<PathBuf>,
    /// Check a pack instead, with nothing but the pack
    #[arg(long, value_name = "FILE", conflicts_with = "backup")]
    pack: Option<PathBuf>,
    /// A checkpoint that was kept elsewhere; may be repeated. The ledger must be a longer form of it
    #[arg(long, value_name = "FILE")]
    against: Vec<PathBuf>,
    /// A key that was noted elsewhere and must have signed those checkpoints, itself or through the keys that it handed over
    /// to, such as ledger/keys gives; may be repeated
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
        if let Some(pack) = &self.pack {
            return self.check_pack(pack);
        }
        let settings = Settings::gather(flags, None)?;
        let at = match &self.backup {
            Some(file) => Whereabouts::from(file.as_path()),
            None => settings.whereabouts()?,
        };
        let kept = self.kept()?;
        let mut failures = two_views(&kept);
        let heads: Vec<TrustedHead> = kept.iter().map(|kept| kept.head.clone()).collect();
        let verdicts = place::run(async { Ok(store::verify_at(&at, &heads).await?) })?;
        for verdict in &verdicts {
            println!("{}", in_words(verdict));
            besides(verdict).iter().for_each(|line| println!("{line}"));
        }
        for kept in &kept {
            let head = &kept.head;
            let of_head = verdicts.iter().find(|it| it.programme == head.programme.as_str());
            if let Some(why) = kept.is_doubtful(&self.key, of_head) {
                failures.push(why);
            } else if of_head.is_some_and(|it| it.first_failure.is_none()) {
                println!("{}: what was kept of {} records still stands", head.programme, head.size);
            }
        }
        let fails: Vec<_> = verdicts
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
        failures.extend(fails.into_iter().chain(lost));
        if failures.is_empty() { Ok(()) } else { Err(Failure::of_work(failures.join("\n"))) }
    }

    fn kept(&self) -> Result<Vec<Kept>, Failure> {
        self.against.iter().map(|file| Kept::read(file)).collect()
    }

    fn check_pack(&self, pack: &Path) -> Result<(), Failure> {
        let kept = self.kept()?;
        let mut failures = two_views(&kept);
        let checkpoints: Vec<Checkpoint> =
            kept.iter().map(|kept| kept.signed.checkpoint.clone()).collect();
        let verdict = store::check_pack(pack, &checkpoints)?;
        pack_in_words(pack, &verdict).iter().for_each(|line| println!("{line}"));
        for (kept, held) in kept.iter().zip(&verdict.held) {
            if let Some(why) =
                kept.is_doubtful_by(&self.key, &verdict.keys, &verdict.keys_by_two_people)
            {
                failures.push(why);
                continue;
            }
            let size = kept.signed.checkpoint.size;
            match held {
                Held::Stands => println!("{}: what was kept of {size} records still stands", kept.file),
                Held::Differs => failures.push(format!(
                    "rungbook: {}: the ledger of the pack is another one than that of which {size} records were kept",
                    kept.file
                )),
                Held::Beyond => failures.push(format!(
                    "rungbook: {}: it is of {size} records, and the pack of an earlier moment: ask for a newer pack",
                    kept.file
                )),
                Held::OtherLedger => failures.push(format!(
                    "rungbook: {}: it is of another ledger than the pack",
                    kept.file
                )),
            }
        }
        if kept.is_empty() {
            println!(
                "A pack that was made anew as a whole, by somebody who has the keys or made others, passes as well: hold it against a checkpoint that was kept elsewhere (--against)"
            );
        }
        if failures.is_empty() { Ok(()) } else { Err(Failure::of_work(failures.join("\n"))) }
    }
}

/// What a pack showed, a line each.
fn pack_in_words(pack: &Path, verdict: &PackVerdict) -> Vec<String> {
    let Checkpoint { size, root, .. } = &verdict.checkpoint;
    let programme = &verdict.programme;
    let files = match verdict.recordings {
        RecordingsIn::Included => {
            format!("{} files of recordings are in it and agree", verdict.files)
        }
        RecordingsIn::Digests => {
            format!(
                "{} files of recordings are named by their digests and are not in it",
                verdict.files
            )
        }
    };
    let mut lines = vec![
        format!("{}: SHA-256 {}", pack.display(), verdict.digest),
        format!(
            "{programme}: {}; {} records, each of which stands in the ledger of {size} records with root {root}",
            verdict.scope, verdict.records
        ),
        format!(
            "{programme}: {} checkpoints agree; {} signatures are right; {files}",
            verdict.checkpoints, verdict.signatures
        ),
    ];
    let keys: Vec<_> = verdict.keys.iter().map(ToString::to_string).collect();
    lines.push(format!("{programme}: signed by {}", keys.join(", then by ")));
    lines.extend(
        verdict.keys_by_two_people.iter().map(|key| by_two_people(programme.as_str(), key)),
    );
    if !verdict.besides.is_empty() {
        lines.push(format!(
            "{programme}: nothing binds these to the ledger: {}",
            verdict.besides.join(", ")
        ));
    }
    lines
}

/// A checkpoint that somebody kept.
struct Kept {
    file: String,
    signed: SignedCheckpoint,
    head: TrustedHead,
}

impl Kept {
    fn read(file: &Path) -> Result<Self, Failure> {
        let unusable = |why: &dyn std::fmt::Display| {
            Failure::of_input(format!("rungbook: {} cannot be used: {why}", file.display()))
        };
        let text = std::fs::read_to_string(file).map_err(|error| unusable(&error))?;
        let signed: SignedCheckpoint = text.parse().map_err(|error| unusable(&error))?;
        let Checkpoint { origin, size, root } = signed.checkpoint.clone();
        let programme = origin.programme().ok_or_else(|| {
            unusable(&format!("{origin} is not the name of a ledger of this program"))
        })?;
        let head = TrustedHead { programme, size, root };
        Ok(Self { file: file.display().to_string(), signed, head })
    }

    /// Why nothing should be made of it; none: a key that was noted signed it, or one that such a key handed over to.
    fn is_doubtful(
        &self,
        noted: &[Verifier],
        verdict: Option<&ProgrammeVerdict>,
    ) -> Option<String> {
        let (keys, by_two_people) = verdict.map_or((&[][..], &[][..]), |verdict| {
            (&verdict.keys[..], &verdict.keys_by_two_people[..])
        });
        self.is_doubtful_by(noted, keys, by_two_people)
    }

    /// The same, of a ledger with these keys, the oldest first.
    fn is_doubtful_by(
        &self,
        noted: &[Verifier],
        keys: &[Verifier],
        by_two_people: &[Verifier],
    ) -> Option<String> {
        let handed_over = || {
            let known = keys.iter().position(|key| noted.contains(key))?;
            keys[known..]
                .iter()
                .take_while(|key| !by_two_people.contains(key))
                .find(|key| self.signed.is_signed_by(key))
        };
        let signed = noted.is_empty()
            || noted.iter().any(|key| self.signed.is_signed_by(key))
            || handed_over().is_some();
        (!signed).then(|| {
            format!(
                "rungbook: {} cannot be used: none of the keys given signed it, nor one that they handed over to; it may not be of this server",
                self.file
            )
        })
    }
}

/// Checkpoints of one size that tell of different ledgers: somebody was shown another one.
fn two_views(kept: &[Kept]) -> Vec<String> {
    let mut found = Vec::new();
    for (place, one) in kept.iter().enumerate() {
        let differs = |other: &&Kept| {
            other.head.programme == one.head.programme
                && other.head.size == one.head.size
                && other.head.root != one.head.root
        };
        found.extend(kept[place + 1..].iter().filter(differs).map(|other| {
            format!(
                "rungbook: {} and {} tell of different ledgers of {} records of programme {}: somebody was shown another one",
                one.file, other.file, one.head.size, one.head.programme
            )
        }));
    }
    found
}

/// What else should be known of a programme.
fn besides(verdict: &ProgrammeVerdict) -> Vec<String> {
    let programme = &verdict.programme;
    let mut lines = Vec::new();
    if let Some(copy) = verdict.copy {
        let known = copy.known.map_or_else(
            || "how many there had been is not known".to_owned(),
            |known| format!("there had been {known}"),
        );
        lines.push(format!(
            "{programme}: goes on from a copy of {} records, and {known}; nobody signs until test lead and safety officer have acknowledged that",
            copy.head.size
        ));
    }
    if verdict.keys.len() > 1 {
        let keys: Vec<_> = verdict.keys.iter().map(ToString::to_string).collect();
        lines.push(format!("{programme}: signed by one key after the other: {}", keys.join(", ")));
    }
    lines.extend(verdict.keys_by_two_people.iter().map(|key| by_two_people(programme, key)));
    lines
}

fn by_two_people(programme: &str, key: &Verifier) -> String {
    format!(
        "{programme}: the key before did not hand over to {key}; test lead and safety officer put it in force for a copy, so compare it with what they noted"
    )
}

/// One programme's verdict, as `verify`, `backup` and `restore` tell it.
pub fn in_words(verdict: &ProgrammeVerdict) -> String {
    let end =
        if verdict.first_failure.is_none() { "all pass" } else { "pass, and the next one fails" };
    format!(
        "{}: {} records {end}; root {}; {} kept roots agree; {} signatures are right; {} files agree",
        verdict.programme,
        verdict.head.size,
        verdict.head.root,
        verdict.roots_agreed,
        verdict.signatures_right,
        verdict.files_agreed
    )
}
