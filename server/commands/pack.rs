//! `rungbook pack`: evidence of a programme in one file.

use std::path::PathBuf;

use chrono::NaiveDate;
use clap::Args;
use http_service::pack_document;
use programme::codes::{PointCode, ProgrammeId};
use programme::nouns::Phase;
use programme::scope::Scope;
use store::{PackOrder, Progress, RecordingsIn};

use super::{Failure, place};
use crate::settings::Flags;

/// Put a programme, or a part of it, with its proofs into one file that anybody can check.
///
/// It has a document to read (PDF), the records, a proof for each that it stands in the ledger, every signed checkpoint, the keys, the recordings or their
/// digests, and a README that tells how to check it without this program; `rungbook verify --pack` does so with it. The
/// server of the folder must not be running.
#[derive(Debug, Args)]
pub struct Pack {
    /// The file to make (zip)
    file: PathBuf,
    /// The programme's id on this server
    #[arg(long, value_name = "ID")]
    programme: ProgrammeId,
    /// Which part of it.
    #[command(flatten)]
    part: Part,
    /// Name the files of recordings by their digests instead of taking them along
    #[arg(long)]
    digests_only: bool,
}

/// A part of a programme.
#[derive(Debug, Args)]
pub struct Part {
    /// Only the points of a phase and their runs: static, ground-run, taxi, first-flight or envelope
    #[arg(long, value_name = "PHASE", value_parser = phase, conflicts_with_all = ["point", "day"])]
    phase: Option<Phase>,
    /// Only a point and the runs that were to show it
    #[arg(long, value_name = "CODE", conflicts_with = "day")]
    point: Option<PointCode>,
    /// Only what was done or recorded on a day in UTC, such as 2026-05-09
    #[arg(long, value_name = "DATE")]
    day: Option<NaiveDate>,
}

impl Part {
    /// The part; without a flag the whole programme.
    pub fn scope(&self) -> Scope {
        match (self.phase, &self.point, self.day) {
            (Some(phase), ..) => Scope::Phase { phase },
            (_, Some(point), _) => Scope::Point { point: point.clone() },
            (.., Some(day)) => Scope::Day { day },
            (None, None, None) => Scope::Programme,
        }
    }
}

fn phase(text: &str) -> Result<Phase, String> {
    serde_json::from_value(text.into())
        .map_err(|_| "it is one of static, ground-run, taxi, first-flight, envelope".to_owned())
}

impl Pack {
    /// Makes the pack.
    ///
    /// # Errors
    ///
    /// [`Failure`] where there is no such programme or part, or the file exists or cannot be written.
    pub fn run(self, flags: &Flags) -> Result<(), Failure> {
        let recordings = match self.digests_only {
            true => RecordingsIn::Digests,
            false => RecordingsIn::Included,
        };
        let mut order = PackOrder {
            programme: self.programme,
            scope: self.part.scope(),
            recordings,
            besides: Vec::new(),
        };
        let made = place::run(async {
            let store = place::open(flags).await?;
            order.besides.extend(pack_document(&store, &order).await?);
            let made = store.write_pack(&order, &self.file, &Progress::default()).await;
            store.close().await;
            Ok(made?)
        })?;
        println!(
            "{} has {} of the {} records of {} as of its last checkpoint; root {}",
            self.file.display(),
            made.records,
            made.size,
            order.programme,
            made.root
        );
        println!(
            "SHA-256 {} ({} bytes). Whoever asks for the same again gets the same file.",
            made.digest, made.bytes
        );
        Ok(())
    }
}
