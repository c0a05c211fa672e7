//! Checking a pack with nothing but the pack: every digest, leaf, proof, root and signature is computed again.

mod walk;

use std::fs::File;
use std::io;
use std::path::Path;

use chrono::{DateTime, Utc};
use programme::codes::ProgrammeId;
use programme::entry::UnreadableEntry;
use programme::ledger::checkpoint::{Checkpoint, SignedCheckpoint};
use programme::ledger::note::Verifier;
use programme::record::Digest;
use programme::scope::Scope;

use super::PersonNamed;
use super::contents::{ABOUT, About, CHECKPOINT, FORM, KEYS, RecordingsIn, key_name, keys_text};
use super::zipped::Zipped;
use crate::files::pass_on;
use crate::verify::FirstFailure;
use walk::Walk;

pub(super) use walk::from_hex as signature_from_hex;

/// What a pack showed.
#[derive(Debug)]
pub struct PackVerdict {
    /// Of which programme.
    pub programme: ProgrammeId,
    /// Which part of it.
    pub scope: Scope,
    /// Whether the files of recordings came along.
    pub recordings: RecordingsIn,
    /// Its checkpoint.
    pub checkpoint: Checkpoint,
    /// SHA-256 of the pack.
    pub digest: Digest,
    /// How many records it has, each of which stands in the ledger.
    pub records: u64,
    /// When the last of them was recorded.
    pub last_at: Option<DateTime<Utc>>,
    /// How many checkpoints agree with the leaves.
    pub checkpoints: u64,
    /// How many signatures of them are right.
    pub signatures: u64,
    /// The keys that made them, the oldest first.
    pub keys: Vec<Verifier>,
    /// Keys to which the one before did not hand over: lead and safety officer put them in force for a copy.
    pub keys_by_two_people: Vec<Verifier>,
    /// How many files its records speak of.
    pub files: u64,
    /// Other files, which nothing binds to the ledger.
    pub besides: Vec<String>,
    /// What came of each checkpoint that was kept elsewhere, in the order in which they were given.
    pub held: Vec<Held>,
    /// Everybody whom its records name.
    pub people: Vec<PersonNamed>,
}

/// What a checkpoint that was kept elsewhere says of a pack.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Held {
    /// The ledger of the pack is a longer form of it, or the same.
    Stands,
    /// The ledger of the pack is another one, though it has the same name.
    Differs,
    /// The pack is of an earlier moment, so that nothing can be said.
    Beyond,
    /// It is of another ledger.
    OtherLedger,
}

/// Why a pack cannot be believed: the first thing that is wrong.
#[derive(Debug, thiserror::Error)]
pub enum PackFault {
    /// It cannot be read.
    #[error("the file cannot be read")]
    Unreadable(#[source] io::Error),
    /// It has not the form.
    #[error("the file is no pack, or it is damaged beyond reading")]
    NoPack,
    /// It has more parts than any pack.
    #[error("it has more than {most} parts, so it is no pack")]
    TooMany {
        /// How many may be.
        most: usize,
    },
    /// Two parts have one name.
    #[error(
        "two parts of it have the same name, so that it shows different things to different programs"
    )]
    Twice,
    /// There is something between or behind its parts.
    #[error("what it says of its parts in two places differs, or something is hidden between them")]
    Hidden,
    /// A part has a name that leads elsewhere, or is no plain file.
    #[error("it has a part \"{name}\", which no pack has: do not unpack it")]
    Name {
        /// The name.
        name: String,
    },
    /// A part would unfold to far more than it could hold.
    #[error("its part {name} unfolds to more than is believable: do not unpack it")]
    Unfolds {
        /// Which.
        name: String,
    },
    /// A part is not there.
    #[error("its part {name} is not there")]
    Missing {
        /// Which.
        name: String,
    },
    /// A part cannot be unfolded.
    #[error("its part {name} is damaged")]
    Part {
        /// Which.
        name: String,
        /// Why.
        #[source]
        source: io::Error,
    },
    /// A part has another size than it says.
    #[error("its part {name} has another size than it says")]
    Size {
        /// Which.
        name: String,
    },
    /// A part is not the one that the digests name.
    #[error("its part {name} was altered: it has another digest than SHA256SUMS or its name gives")]
    Sum {
        /// Which.
        name: String,
    },
    /// A line is not what it should be.
    #[error("line {line} of its part {name} is not what stands there in a pack")]
    Line {
        /// Which part.
        name: &'static str,
        /// Which line, from 1.
        line: u64,
    },
    /// It says of itself what cannot be read.
    #[error("what it says of itself in {name} cannot be read, or does not fit the rest")]
    About {
        /// Which part.
        name: &'static str,
    },
    /// A newer program made it.
    #[error("it has form {form}, which this version of the program does not know; use a newer one")]
    Newer {
        /// Its form.
        form: u32,
    },
    /// The text of a record is not the one that was hashed.
    #[error("record {seq} was altered: its text has another hash than the ledger")]
    Leaf {
        /// Which.
        seq: u64,
    },
    /// A proof does not lead to the root.
    #[error("the proof of record {seq} does not lead from it to the root")]
    Proof {
        /// Which.
        seq: u64,
    },
    /// A record is not one of this ledger.
    #[error("record {seq} is not one of this ledger")]
    Foreign {
        /// Which.
        seq: u64,
    },
    /// A record cannot be read.
    #[error("record {seq} cannot be read")]
    Record {
        /// Which.
        seq: u64,
        /// Why.
        #[source]
        source: UnreadableEntry,
    },
    /// Root, signature or key of a checkpoint is not right.
    #[error("a checkpoint is not right")]
    Checkpoint(#[from] FirstFailure),
    /// There are more or fewer records, leaves, proofs or checkpoints than there should be.
    #[error("it has not as many records, proofs, leaves or checkpoints as it says")]
    Count,
    /// The keys are not those that signed.
    #[error("its keys are not those that signed its checkpoints")]
    Keys,
    /// A file that a record speaks of did not come along.
    #[error("the file {digest} that record {seq} speaks of is not in it")]
    FileMissing {
        /// The record.
        seq: u64,
        /// The file.
        digest: Digest,
    },
    /// There are files that no record speaks of.
    #[error("there are files among its recordings that no record of it speaks of")]
    Stray,
}

impl PackFault {
    pub(super) fn of_zip(error: zip::result::ZipError) -> Self {
        match error {
            zip::result::ZipError::Io(error) => PackFault::Unreadable(error),
            _ => PackFault::NoPack,
        }
    }
}

/// Checks a pack, also one that was made to harm whoever opens it: nothing is written, and memory stays small.
///
/// # Errors
///
/// [`PackFault`]: the first thing that is wrong. What `kept` says is no error but part of the verdict.
pub fn check_pack(file: &Path, kept: &[Checkpoint]) -> Result<PackVerdict, PackFault> {
    let mut pack = Zipped::open(file)?;
    let summed = pack.sum()?;
    let about: About =
        serde_json::from_str(&pack.text(ABOUT)?).map_err(|_| PackFault::About { name: ABOUT })?;
    if about.form != FORM {
        return Err(PackFault::Newer { form: about.form });
    }
    let signed = pack.text(CHECKPOINT)?;
    let checkpoint = signed
        .parse()
        .map(|signed: SignedCheckpoint| signed.checkpoint)
        .map_err(|_| PackFault::About { name: CHECKPOINT })?;
    let fits = checkpoint.size == about.size && checkpoint.root == about.root;
    if !fits || checkpoint.origin.programme().as_ref() != Some(&about.programme) {
        return Err(PackFault::About { name: CHECKPOINT });
    }
    let walked = Walk::through(&pack, &about, &checkpoint, &summed, kept)?;
    if walked.signed_last != Some(signed) {
        return Err(PackFault::About { name: CHECKPOINT });
    }
    let mut named = walked.keys.iter().enumerate();
    let pem = |(place, key): (usize, &Verifier)| {
        Ok::<_, PackFault>(pack.text(&key_name(place))? == key.to_pem())
    };
    let pems_fit = named.by_ref().map(pem).collect::<Result<Vec<_>, _>>()?;
    let keys_fit = pack.text(KEYS)? == keys_text(&walked.keys);
    if summed.keys != walked.keys.len() || !keys_fit || pems_fit.contains(&false) {
        return Err(PackFault::Keys);
    }
    let mut whole = File::open(file).map_err(PackFault::Unreadable)?;
    let digest = pass_on(&mut whole, &mut io::sink()).map_err(PackFault::Unreadable)?;
    Ok(PackVerdict {
        programme: about.programme,
        scope: about.scope,
        recordings: about.recordings,
        checkpoint,
        digest,
        records: about.records,
        last_at: walked.last_at,
        checkpoints: walked.checkpoints,
        signatures: walked.signatures,
        keys: walked.keys,
        keys_by_two_people: walked.keys_by_two_people,
        files: walked.files,
        besides: summed.besides,
        held: walked.held,
        people: walked.people,
    })
}
