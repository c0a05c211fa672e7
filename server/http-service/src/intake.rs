//! From a recorder's file to its record: read by the recorder's mapping, checked, kept, and told to the ledger.

use std::io::Write as _;

use chrono::{DateTime, Utc};
use evaluation::plan::{ReadingPlan, plan};
use evaluation::taken::{KeptFile, taken};
use programme::codes::{ProgrammeId, RecorderCode};
use programme::commands::{self, Stamp, TakeRecording};
use programme::refusal::Refusal;
use programme::state::{Amendable, State};
use recordings::check::StuckAfter;
use recordings::intake;
use store::{Incoming, Objects};

use crate::office::Office;
use crate::problem::{COMPRESSED, FAULT, INVALID, Problem, RECORDING_UNREADABLE};

/// Which file it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileOf {
    /// The recorder that wrote it.
    pub recorder: RecorderCode,
    /// What it is called.
    pub name: String,
    /// The moment at which it begins, for a recorder whose files do not say that.
    pub began: Option<DateTime<Utc>>,
}

/// How the recorder was described when the file came.
struct Mapping {
    plan: ReadingPlan,
    revision: u64,
}

/// The first bytes of what is packed: gzip, zstd, zip, bzip2, xz.
const PACKED: [&[u8]; 5] = [
    &[0x1f, 0x8b],
    &[0x28, 0xb5, 0x2f, 0xfd],
    b"PK\x03\x04",
    b"BZh",
    &[0xfd, b'7', b'z', b'X', b'Z'],
];

/// The code of the refusal of a file that was taken in before.
const KNOWN: &str = "recording-known";

/// As many bytes as the longest of these has.
pub(crate) const LONGEST_MARK: usize = 5;

/// Refuses bytes that begin as something packed does, which could unfold without end.
pub(crate) fn refuse_packed(first: &[u8]) -> Result<(), Problem> {
    if PACKED.iter().any(|begins| first.starts_with(begins)) {
        return Err(packed());
    }
    Ok(())
}

/// Why a packed file is not taken.
pub(crate) fn packed() -> Problem {
    Problem::new(
        COMPRESSED,
        "The file is packed. Unpack it and send what the recorder wrote: its digest is taken of that.",
    )
}

fn mapping(state: &State, file: &FileOf) -> Result<Mapping, Problem> {
    let recorder = state.recorders.get(&file.recorder);
    let recorder = recorder.ok_or_else(|| Problem::unknown("recorder", &file.recorder))?;
    let plan = plan(recorder, state, file.began).map_err(Problem::no_plan)?;
    Ok(Mapping { plan, revision: state.revision(&Amendable::Recorder(file.recorder.clone())) })
}

impl Office {
    /// Refuses a file that could not be taken in, before it comes.
    pub(crate) fn would_take(&self, programme: &ProgrammeId, file: &FileOf) -> Result<(), Problem> {
        self.mapping(programme, file).map(|_| ())
    }

    fn mapping(&self, programme: &ProgrammeId, file: &FileOf) -> Result<Mapping, Problem> {
        self.store
            .read(programme, |state, _| mapping(state, file))
            .unwrap_or_else(|| Err(Problem::unknown("programme", programme)))
    }

    /// Reads a file that came, and keeps it with its columns where it would be taken. What it gives is to be decided on and
    /// recorded then; a file that no record speaks of counts for nothing.
    pub(crate) async fn take_in(
        &self,
        programme: &ProgrammeId,
        stamp: &Stamp,
        file: FileOf,
        original: Incoming,
    ) -> Result<TakeRecording, Problem> {
        let Mapping { plan, revision } = self.mapping(programme, &file)?;
        let objects = self.store.objects().clone();
        let (read, original, columns) = self
            .aside(move || {
                let (report, columns) = read(&objects, &plan, &original)?;
                Ok((report, original, columns))
            })
            .await?;
        let kept = KeptFile {
            recording: original.digest(),
            bytes: original.bytes(),
            columns: columns.digest(),
            name: file.name,
            recorder: file.recorder,
            recorder_revision: revision,
        };
        let taken = taken(kept, &read.quality).ok_or_else(|| {
            Problem::new(
                RECORDING_UNREADABLE,
                "The moments of the file lie outside the years that a calendar has. Look how the recorder writes its time.",
            )
        })?;
        let command = TakeRecording { taken };
        // What is refused now is not kept; it is decided once more when it is recorded.
        let decided =
            self.store.read(programme, |state, _| commands::decide(state, &command, stamp));
        let decided = decided.ok_or_else(|| Problem::unknown("programme", programme))?;
        if let Err(refusal) = decided {
            return Err(self.mended(programme, refusal, original, columns).await?.into());
        }
        let objects = self.store.objects();
        objects.keep(original).await?;
        objects.keep(columns).await?;
        Ok(command)
    }
}

impl Office {
    /// Where a file is refused because it was taken in before, its bytes take the place of those that were lost or damaged
    /// since, and the refusal says so.
    async fn mended(
        &self,
        programme: &ProgrammeId,
        refusal: Refusal,
        original: Incoming,
        columns: Incoming,
    ) -> Result<Refusal, Problem> {
        let Refusal::NotNow { code: KNOWN, why, clears } = refusal else { return Ok(refusal) };
        let of_record = self.store.read(programme, |state, _| {
            Some(state.recordings.get(&original.digest())?.take()?.columns.clone())
        });
        let of_record = of_record.flatten();
        let mut told = Vec::new();
        let objects = self.store.objects();
        if !objects.is_whole(&original.digest()).await? {
            objects.keep(original).await?;
            told.push("its file had been lost or damaged, and is whole again by what you sent");
        }
        match of_record {
            Some(digest) if !objects.is_whole(&digest).await? => {
                if digest == columns.digest() {
                    objects.keep(columns).await?;
                    told.push("its columns had been lost or damaged, and were read from it again");
                } else {
                    told.push(
                        "its columns were lost or damaged and do not come out as they were: set it aside and send it once more",
                    );
                }
            }
            Some(_) | None => {}
        }
        let why = std::iter::once(why.as_str()).chain(told).collect::<Vec<_>>().join("; ");
        Ok(Refusal::NotNow { code: KNOWN, why, clears })
    }
}

fn read(
    objects: &Objects,
    plan: &ReadingPlan,
    original: &Incoming,
) -> Result<(recordings::Report, Incoming), Problem> {
    let source = original.reader().map_err(store::ObjectError::from)?;
    let into = std::io::BufWriter::with_capacity(1 << 20, objects.begin()?);
    let taken = intake(source, &plan.file, &plan.columns, &StuckAfter::default(), into)?;
    let mut written = taken.into;
    written.flush().map_err(store::ObjectError::from)?;
    let columns =
        written.into_inner().map_err(|error| store::ObjectError::from(error.into_error()))?;
    Ok((taken.report, columns))
}

/// A file's name as people gave it.
///
/// # Errors
///
/// Where it is empty or has control characters.
pub(crate) fn name(given: &str) -> Result<String, Problem> {
    let name = given.trim();
    if name.is_empty() || name.chars().any(char::is_control) {
        return Err(Problem::of_field(
            INVALID,
            "name",
            "name is what the file is called, such as bms_2026-05-02.csv.",
        ));
    }
    Ok(name.to_owned())
}

/// A thread of the pool was lost.
pub(crate) fn thread_lost(error: tokio::task::JoinError) -> Problem {
    Problem::new(FAULT, "The program failed while the file came: nothing was kept. Send it again.")
        .because(error)
}
