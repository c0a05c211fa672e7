//! Checkpoints: size and root of a ledger, signed, as a text that a person can keep on paper.
//!
//! # Source
//!
//! The public specification "tlog-checkpoint" of the C2SP, from memory: a signed note of the lines origin, size, root in
//! base64, and further lines that do not matter to whoever checks these.

use std::fmt;
use std::str::FromStr;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use super::NodeHash;
use super::note::{BadNote, Note, Signer, Verifier};
use crate::codes::ProgrammeId;

/// Size and root of a ledger, and which ledger it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checkpoint {
    /// Which ledger: the same on every server that has it, and never that of another.
    pub origin: Origin,
    /// How many records.
    pub size: u64,
    /// The root over them.
    pub root: NodeHash,
}

/// The name of a ledger, from its first record and its programme: `rungbook/0123456789abcdef/tug`.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Origin(String);

/// What the names of ledgers begin with.
const KIND: &str = "rungbook";

/// Digits of the first record's hash in a name.
const DIGITS: usize = 16;

impl Origin {
    /// The name of the ledger of a programme whose first record has this hash.
    pub fn new(programme: &ProgrammeId, first: &NodeHash) -> Self {
        let first = first.to_string();
        Self(format!("{KIND}/{}/{programme}", &first[..DIGITS]))
    }

    /// The programme that it names.
    pub fn programme(&self) -> Option<ProgrammeId> {
        let mut parts = self.0.splitn(3, '/');
        let (kind, first) = (parts.next()?, parts.next()?);
        let hash = first.len() == DIGITS && first.bytes().all(|digit| digit.is_ascii_hexdigit());
        ProgrammeId::new(parts.next()?).ok().filter(|_| kind == KIND && hash)
    }

    /// As text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// A text that is no checkpoint.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadCheckpoint {
    /// It is no signed note.
    #[error(transparent)]
    Note(#[from] BadNote),
    /// Its lines are not those of a checkpoint.
    #[error("its first three lines are not the name of a ledger, a size and a root in base64")]
    Lines,
}

impl Checkpoint {
    /// The lines that are signed.
    pub fn text(&self) -> String {
        format!("{}\n{}\n{}\n", self.origin, self.size, STANDARD.encode(self.root.bytes()))
    }

    /// The checkpoint as a note signed by a key.
    pub fn signed_by(&self, signer: &Signer) -> SignedCheckpoint {
        self.with_signature(signer.verifier(), &signer.sign(&self.text()))
    }

    /// The checkpoint as a note with a signature that was made before.
    pub fn with_signature(&self, by: &Verifier, signature: &[u8; 64]) -> SignedCheckpoint {
        SignedCheckpoint {
            checkpoint: self.clone(),
            note: Note::signed(self.text(), by, signature),
        }
    }
}

/// A checkpoint with its signatures.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SignedCheckpoint {
    /// What it says.
    pub checkpoint: Checkpoint,
    note: Note,
}

impl SignedCheckpoint {
    /// Whether a key signed it.
    pub fn is_signed_by(&self, verifier: &Verifier) -> bool {
        self.note.is_signed_by(verifier)
    }
}

impl fmt::Display for SignedCheckpoint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.note.fmt(f)
    }
}

impl FromStr for SignedCheckpoint {
    type Err = BadCheckpoint;

    fn from_str(text: &str) -> Result<Self, BadCheckpoint> {
        let note: Note = text.parse()?;
        let checkpoint = read(note.text()).ok_or(BadCheckpoint::Lines)?;
        Ok(Self { checkpoint, note })
    }
}

fn read(text: &str) -> Option<Checkpoint> {
    let mut lines = text.strip_suffix('\n')?.split('\n');
    let (origin, size, root) = (lines.next()?, lines.next()?, lines.next()?);
    if lines.any(str::is_empty) || origin.is_empty() {
        return None;
    }
    let number: u64 = size.parse().ok()?;
    let root: [u8; 32] = STANDARD.decode(root).ok()?.try_into().ok()?;
    let origin = Origin(origin.to_owned());
    // A size has one form only, without a sign or leading zeros.
    (size == number.to_string()).then(|| Checkpoint {
        origin,
        size: number,
        root: NodeHash::from_bytes(root),
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::ledger::leaf_hash;

    fn checkpoint() -> Checkpoint {
        let programme = ProgrammeId::new("tug").unwrap();
        let first = leaf_hash(b"the first record");
        Checkpoint { origin: Origin::new(&programme, &first), size: 20, root: leaf_hash(b"root") }
    }

    #[test]
    fn a_checkpoint_is_read_as_it_was_written_and_names_its_programme() {
        let signer = Signer::new(checkpoint().origin.as_str(), &[9; 32]).unwrap();
        let signed = checkpoint().signed_by(&signer);

        let read: SignedCheckpoint = signed.to_string().parse().unwrap();

        assert_eq!(read, signed);
        assert!(read.is_signed_by(signer.verifier()));
        assert_eq!(read.checkpoint.origin.programme(), Some(ProgrammeId::new("tug").unwrap()));
        assert_eq!(signed.to_string().lines().count(), 5, "it fits on a card:\n{signed}");
    }

    #[test]
    fn lines_that_are_none_of_a_checkpoint_are_refused_and_further_lines_are_not() {
        let signer = Signer::new("log", &[9; 32]).unwrap();
        let note = |text: &str| {
            Note::signed(text.to_owned(), signer.verifier(), &signer.sign(text)).to_string()
        };
        let root = STANDARD.encode([1; 32]);
        assert!(note(&format!("log\n7\n{root}\nmore\n")).parse::<SignedCheckpoint>().is_ok());
        for wrong in [
            format!("log\n07\n{root}\n"),
            format!("log\n-7\n{root}\n"),
            format!("log\n+7\n{root}\n"),
            format!("\n7\n{root}\n"),
            format!("log\n7\n{}\n", STANDARD.encode([1; 31])),
            "log\n7\n".to_owned(),
        ] {
            assert!(note(&wrong).parse::<SignedCheckpoint>().is_err(), "{wrong:?}");
        }
    }
}
