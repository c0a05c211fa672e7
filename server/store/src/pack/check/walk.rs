//! One walk along the leaves of a pack, with its records, proofs and checkpoints beside them: each is looked at once, in the
//! order of the ledger, and none is kept.

use std::collections::{BTreeMap, BTreeSet};
use std::panic::{AssertUnwindSafe, catch_unwind};

use chrono::{DateTime, Utc};
use programme::codes::PersonHandle;
use programme::entry::Entry;
use programme::ledger::checkpoint::{Checkpoint, Origin};
use programme::ledger::note::{Verifier, verifier_of};
use programme::ledger::{NodeHash, Tree, empty_root, inclusion_holds, leaf_hash};
use programme::record::{Digest, PublicKey, Record};
use programme::scope::Scope;
use programme::state::State;

use super::{Held, PackFault};
use crate::files::named_by;
use crate::pack::PersonNamed;
use crate::pack::contents::{
    About, CHECKPOINTS, CheckpointLine, FILES, FileLine, LEAVES, PROOFS, ProofLine, RECORDS,
    RecordingsIn, line,
};
use crate::pack::zipped::{Summed, Zipped};
use crate::verify::signatures::{Checked, ToCheck};
use crate::verify::{FirstFailure, Wrong};

/// Signatures that are checked at a time, on every core.
const AT_A_TIME: usize = 2048;

/// What a walk found.
pub(super) struct Walked {
    pub last_at: Option<DateTime<Utc>>,
    pub checkpoints: u64,
    pub signatures: u64,
    pub keys: Vec<Verifier>,
    pub keys_by_two_people: Vec<Verifier>,
    pub files: u64,
    pub held: Vec<Held>,
    pub people: Vec<PersonNamed>,
    /// The last checkpoint as it is signed.
    pub signed_last: Option<String>,
}

/// A walk that is under way.
pub(super) struct Walk<'a> {
    about: &'a About,
    origin: &'a Origin,
    summed: &'a Summed,
    tree: Tree,
    /// The fold; where records were left out, of those alone that say how the ledger is kept.
    state: State,
    records: u64,
    checkpoint_before: u64,
    first_key: Option<[u8; 32]>,
    unsigned: Vec<u64>,
    waiting: Vec<ToCheck>,
    files: BTreeSet<Digest>,
    people: BTreeMap<PersonHandle, Option<String>>,
    walked: Walked,
}

impl<'a> Walk<'a> {
    /// Walks along all of it.
    pub fn through(
        pack: &Zipped,
        about: &'a About,
        checkpoint: &'a Checkpoint,
        summed: &'a Summed,
        kept: &[Checkpoint],
    ) -> Result<Walked, PackFault> {
        let mut walk = Self {
            about,
            origin: &checkpoint.origin,
            summed,
            tree: Tree::default(),
            state: State::default(),
            records: 0,
            checkpoint_before: 0,
            first_key: None,
            unsigned: Vec::new(),
            waiting: Vec::new(),
            files: BTreeSet::new(),
            people: BTreeMap::new(),
            walked: Walked {
                last_at: None,
                checkpoints: 0,
                signatures: 0,
                keys: Vec::new(),
                keys_by_two_people: Vec::new(),
                files: 0,
                held: kept.iter().map(|kept| of_kept(kept, checkpoint)).collect(),
                people: Vec::new(),
                signed_last: None,
            },
        };
        let [mut one, mut two, mut three, mut four, mut five] =
            [pack.again()?, pack.again()?, pack.again()?, pack.again()?, pack.again()?];
        let mut leaves = one.lines(LEAVES)?;
        let mut records = two.lines(RECORDS)?;
        let mut proofs = three.lines(PROOFS)?;
        let mut checkpoints = four.lines(CHECKPOINTS)?;
        let mut files = five.lines(FILES)?;
        let mut proof: Option<ProofLine> = proofs.json()?;
        let mut made: Option<CheckpointLine> = checkpoints.json()?;
        loop {
            let leaf = match leaves.next()?.map(str::parse::<NodeHash>) {
                None => break,
                Some(Ok(leaf)) => leaf,
                Some(Err(_)) => return Err(leaves.wrong()),
            };
            walk.step(leaf)?;
            if let Some(of_record) = proof.take_if(|proof| proof.seq == walk.tree.size()) {
                let text = records.next()?.ok_or(PackFault::Count)?;
                let entry = walk.believe(text, leaf, &of_record)?;
                for file in named_by(&entry) {
                    let expected = line(&FileLine::from(&file));
                    if files.next()?.is_none_or(|found| found != expected.trim_end()) {
                        return Err(files.wrong());
                    }
                    walk.take_file(file.seq, file.digest)?;
                }
                walk.take(&entry)?;
                proof = proofs.json()?;
            }
            if let Some(of_size) = made.take_if(|made| made.size == walk.tree.size()) {
                walk.hold(of_size)?;
                made = checkpoints.json()?;
            }
            for (kept, held) in kept.iter().zip(&mut walk.walked.held) {
                if *held == Held::Stands
                    && kept.size == walk.tree.size()
                    && kept.root != walk.tree.root()
                {
                    *held = Held::Differs;
                }
            }
        }
        let none_left = proof.is_none() && made.is_none();
        if !none_left || records.next()?.is_some() || files.next()?.is_some() {
            return Err(PackFault::Count);
        }
        walk.arrive()
    }

    fn step(&mut self, leaf: NodeHash) -> Result<(), PackFault> {
        if self.tree.size() == 0 && Origin::new(&self.about.programme, &leaf) != *self.origin {
            return Err(PackFault::Foreign { seq: 1 });
        }
        if self.tree.size() >= self.about.size {
            return Err(PackFault::Count);
        }
        self.tree.push(leaf);
        Ok(())
    }

    /// Reads a record, once it is known to be the one whose leaf this is.
    fn believe(
        &mut self,
        text: &str,
        leaf: NodeHash,
        proof: &ProofLine,
    ) -> Result<Entry, PackFault> {
        let seq = proof.seq;
        if leaf_hash(text.as_bytes()) != leaf {
            return Err(PackFault::Leaf { seq });
        }
        let About { size, root, .. } = *self.about;
        let leads = inclusion_holds(leaf, seq - 1, size, &proof.proof, root);
        if proof.leaf != leaf || !leads {
            return Err(PackFault::Proof { seq });
        }
        let entry = Entry::from_json(text).map_err(|source| PackFault::Record { seq, source })?;
        let in_place = entry.seq == seq && entry.programme == self.about.programme;
        if !in_place || entry.canonical_json().ok().as_deref() != Some(text) {
            return Err(PackFault::Foreign { seq });
        }
        Ok(entry)
    }

    fn take(&mut self, entry: &Entry) -> Result<(), PackFault> {
        let (seq, whole) = (entry.seq, self.about.scope == Scope::Programme);
        self.records += 1;
        self.walked.last_at = Some(entry.at);
        self.people.entry(entry.by.clone()).or_default();
        if let Record::PersonListed(listed) = &entry.record {
            let name = Some(listed.person.name.clone());
            self.people.insert(listed.person.handle.clone(), name);
        }
        let keeps =
            matches!(entry.record, Record::CheckpointKeyChanged(_) | Record::CopyAcknowledged(_));
        if whole || keeps {
            let folded = catch_unwind(AssertUnwindSafe(|| self.state.apply(entry)));
            if folded.is_err() || (whole && self.state.length() != self.records) {
                return Err(FirstFailure { seq, wrong: Wrong::Unfoldable }.into());
            }
        }
        Ok(())
    }

    fn take_file(&mut self, seq: u64, digest: Digest) -> Result<(), PackFault> {
        let came = self.summed.files.contains_key(&digest);
        if self.about.recordings == RecordingsIn::Included && !came {
            return Err(PackFault::FileMissing { seq, digest });
        }
        self.files.insert(digest);
        Ok(())
    }

    /// Holds a checkpoint against the leaves, and notes its signature.
    fn hold(&mut self, made: CheckpointLine) -> Result<(), PackFault> {
        let CheckpointLine { size, root, key, signature } = made;
        let failure = |wrong| PackFault::from(FirstFailure { seq: size, wrong });
        let computed = self.tree.root();
        if computed != root {
            return Err(failure(Wrong::OtherRoot { size, computed }));
        }
        self.walked.checkpoints += 1;
        self.walked.signed_last = None;
        match (key, signature) {
            (None, None) => {
                if self.first_key.is_some() {
                    self.unsigned.push(size);
                }
            }
            (Some(key), Some(signature)) => {
                let key = *key.bytes();
                let first = *self.first_key.get_or_insert(key);
                let named = self.state.keeping.key_at(self.checkpoint_before);
                if named.map_or(first, |named| *named.bytes()) != key {
                    let key = PublicKey::from_bytes(key);
                    return Err(failure(Wrong::OtherKey { size, key }));
                }
                let bad = || failure(Wrong::BadSignature { size });
                let verifier = verifier_of(self.origin.as_str(), &key).ok_or_else(bad)?;
                let signature = from_hex(&signature).ok_or_else(bad)?;
                let checkpoint = Checkpoint { origin: self.origin.clone(), size, root };
                if size == self.about.size {
                    let signed = checkpoint.with_signature(&verifier, &signature);
                    self.walked.signed_last = Some(signed.to_string());
                }
                if self.walked.keys.last() != Some(&verifier) {
                    self.walked.keys.push(verifier);
                }
                self.waiting.push(ToCheck { checkpoint, key, signature: signature.to_vec() });
                if self.waiting.len() == AT_A_TIME {
                    self.check_signatures()?;
                }
            }
            _ => return Err(failure(Wrong::BadSignature { size })),
        }
        self.checkpoint_before = size;
        Ok(())
    }

    fn check_signatures(&mut self) -> Result<(), PackFault> {
        let checked = Checked::of(&std::mem::take(&mut self.waiting));
        self.walked.signatures += checked.right;
        checked.first_failure.map_or(Ok(()), |failure| Err(failure.into()))
    }

    fn arrive(mut self) -> Result<Walked, PackFault> {
        self.check_signatures()?;
        let About { size, root, records, recordings, .. } = *self.about;
        let whole = self.about.scope == Scope::Programme;
        if self.tree.size() != size || self.records != records || (whole && records != size) {
            return Err(PackFault::Count);
        }
        if self.tree.root() != root {
            let wrong = Wrong::OtherRoot { size, computed: self.tree.root() };
            return Err(FirstFailure { seq: 1, wrong }.into());
        }
        if let Some(size) =
            self.unsigned.iter().find(|size| !self.state.keeping.was_waiting(**size))
        {
            let wrong = Wrong::Unsigned { size: *size };
            return Err(FirstFailure { seq: *size, wrong }.into());
        }
        let came = if recordings == RecordingsIn::Included { self.files.len() } else { 0 };
        if self.summed.files.len() != came {
            return Err(PackFault::Stray);
        }
        self.walked.files = self.files.len() as u64;
        let given: Vec<_> = self.state.keeping.keys.iter().filter(|key| !key.handed_over).collect();
        let by_two = |key: &&Verifier| given.iter().any(|it| *it.key.bytes() == key.key());
        let later = self.walked.keys.iter().skip(1);
        self.walked.keys_by_two_people = later.filter(by_two).cloned().collect();
        let named = self.people.into_iter().map(|(handle, name)| PersonNamed {
            name: name.unwrap_or_else(|| handle.to_string()),
            handle,
        });
        self.walked.people = named.collect();
        Ok(self.walked)
    }
}

/// What a kept checkpoint says before anything was computed: it stands until it differs.
fn of_kept(kept: &Checkpoint, of_pack: &Checkpoint) -> Held {
    if kept.origin != of_pack.origin {
        Held::OtherLedger
    } else if kept.size > of_pack.size {
        Held::Beyond
    } else if kept.size == 0 && kept.root != empty_root() {
        Held::Differs
    } else {
        Held::Stands
    }
}

/// The bytes of a signature in lower-case hexadecimal digits.
pub(in crate::pack) fn from_hex(text: &str) -> Option<[u8; 64]> {
    let lower = |byte: u8| byte.is_ascii_digit() || (b'a'..=b'f').contains(&byte);
    if text.len() != 128 || !text.bytes().all(lower) {
        return None;
    }
    let mut bytes = [0; 64];
    for (place, byte) in bytes.iter_mut().enumerate() {
        *byte = u8::from_str_radix(&text[2 * place..2 * place + 2], 16).ok()?;
    }
    Some(bytes)
}
