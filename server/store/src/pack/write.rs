//! Writing a pack.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::Write as _;
use std::path::Path;

use programme::entry::Entry;
use programme::ledger::NodeHash;
use programme::ledger::checkpoint::Origin;
use programme::ledger::note::Verifier;
use programme::record::{Digest, Record};
use programme::scope::{Reach, Survey};

use super::contents::{
    ABOUT, About, CHECKPOINT, CHECKPOINTS, CheckpointLine, FILES, FORM, FileLine, KEYS, LEAVES,
    PROOFS, ProofLine, README, README_TEXT, RECORDS, RecordingsIn, file_name, is_plain, key_name,
    keys_text, line, schema_name,
};
use super::parts::Parts;
use super::{PackError, PackMade, PackOrder, Progress};
use crate::data_dir::private_file;
use crate::entries::StoredEntry;
use crate::files::{self, FileOfRecord};
use crate::notary::{Notarised, verifier};
use crate::objects::ObjectError;
use crate::sql;
use crate::store::Store;

/// Records, hashes or checkpoints in memory at a time.
const AT_A_TIME: u32 = 1000;

/// What reading a record is reckoned at beside a byte of a recording.
const RECORD: u64 = 2000;

impl Store {
    /// Makes a pack as of the last signed checkpoint, in a new file, in memory that does not grow with the recordings.
    ///
    /// # Errors
    ///
    /// [`PackError`]; there is no file then.
    pub async fn write_pack(
        &self,
        order: &PackOrder,
        to: &Path,
        progress: &Progress,
    ) -> Result<PackMade, PackError> {
        if to.exists() {
            return Err(PackError::Exists { path: to.to_owned() });
        }
        let made = self.write_parts(order, to, progress).await;
        if made.is_err() {
            // It may not have been begun at all.
            let _ = fs::remove_file(to);
        }
        made
    }

    async fn write_parts(
        &self,
        order: &PackOrder,
        to: &Path,
        progress: &Progress,
    ) -> Result<PackMade, PackError> {
        let programme = &order.programme;
        if self.tree(programme).is_none() {
            return Err(PackError::UnknownProgramme(programme.clone()));
        }
        if let Some(wrong) = order.besides.iter().find(|file| !is_plain(&file.name)) {
            return Err(PackError::Name { name: wrong.name.clone() });
        }
        let head = self.checkpoint(programme, None).await?.ok_or(PackError::NotSigned)?;
        let making = Making { store: self, order, head: &head, progress };
        let size = head.signed.checkpoint.size;
        progress.expect(2 * size * RECORD);

        let reach = making.reach().await?;
        let mut parts = Parts::new(private_file(to)?);
        parts.put(README, README_TEXT.as_bytes())?;
        parts.put(CHECKPOINT, head.signed.to_string().as_bytes())?;
        let keys = making.write_checkpoints(&mut parts).await?;
        parts.put(KEYS, keys_text(&keys).as_bytes())?;
        for (place, key) in keys.iter().enumerate() {
            parts.put(&key_name(place), key.to_pem().as_bytes())?;
        }
        let chosen = making.write_records(&mut parts, &reach).await?;
        let about = About {
            form: FORM,
            programme: programme.clone(),
            scope: order.scope.clone(),
            recordings: order.recordings,
            records: chosen.seqs.len() as u64,
            size,
            root: head.signed.checkpoint.root,
        };
        parts.put(ABOUT, line(&about).as_bytes())?;
        making.write_proofs(&mut parts, &chosen.seqs)?;
        making.write_leaves(&mut parts)?;
        let lines: String = chosen.files.iter().map(|file| line(&FileLine::from(file))).collect();
        parts.put(FILES, lines.as_bytes())?;
        for (kind, version) in &chosen.shapes {
            // Every record that was read is of a kind that has one.
            let Some(shape) = Record::json_schema(kind, *version) else { continue };
            parts.put(&schema_name(kind, *version), shape.as_bytes())?;
        }
        for file in &order.besides {
            parts.put(&file.name, &file.bytes)?;
        }
        if order.recordings == RecordingsIn::Included {
            making.write_files(&mut parts, &chosen.files).await?;
        }
        let (bytes, digest) = parts.finish()?;
        let (records, root) = (about.records, about.root);
        Ok(PackMade { bytes, digest, records, size, root })
    }

    /// Hashes of leaves from one on, counted from 0.
    pub(super) fn leaves(
        &self,
        programme: &programme::codes::ProgrammeId,
        from: u64,
        to: u64,
    ) -> Vec<NodeHash> {
        let Some(published) = self.shared().programme(programme) else { return Vec::new() };
        let published = published.read();
        (from..to).map_while(|index| published.tree.leaf(index)).collect()
    }
}

/// A pack that is being made.
struct Making<'a> {
    store: &'a Store,
    order: &'a PackOrder,
    head: &'a Notarised,
    progress: &'a Progress,
}

/// What belongs to the pack.
#[derive(Default)]
struct Chosen {
    seqs: Vec<u64>,
    files: Vec<FileOfRecord>,
    /// Kinds and versions of its records.
    shapes: BTreeSet<(&'static str, u32)>,
}

impl Making<'_> {
    fn size(&self) -> u64 {
        self.head.signed.checkpoint.size
    }

    fn origin(&self) -> &Origin {
        &self.head.signed.checkpoint.origin
    }

    /// Hands each record up to the checkpoint to `take`.
    async fn each(
        &self,
        mut take: impl FnMut(StoredEntry, Entry) -> Result<(), PackError>,
    ) -> Result<(), PackError> {
        let mut read = 0;
        while read < self.size() {
            let some = self.store.entries(&self.order.programme, read, AT_A_TIME).await?;
            if some.is_empty() {
                return Err(PackError::Altered { seq: read + 1 });
            }
            for stored in some.into_iter().take_while(|it| it.seq <= self.size()) {
                let seq = stored.seq;
                if seq != read + 1 {
                    return Err(PackError::Altered { seq: read + 1 });
                }
                let entry = Entry::from_json(&stored.text)
                    .map_err(|source| PackError::Unreadable { seq, source })?;
                take(stored, entry)?;
                read = seq;
                self.progress.advance(RECORD)?;
            }
        }
        Ok(())
    }

    async fn reach(&self) -> Result<Reach, PackError> {
        let mut survey = Survey::of(self.order.scope.clone());
        self.each(|_, entry| {
            survey.take(&entry);
            Ok(())
        })
        .await?;
        Ok(survey.settle()?)
    }

    /// Writes every checkpoint, and gives the keys that signed them, the oldest first.
    async fn write_checkpoints(&self, parts: &mut Parts) -> Result<Vec<Verifier>, PackError> {
        let mut keys: Vec<Verifier> = Vec::new();
        let mut reader = self.store.shared().readers.acquire().await?;
        let (programme, mut after) = (self.order.programme.as_str(), 0);
        parts.begin(CHECKPOINTS)?;
        loop {
            let page = sql::ledger::signed_after(
                &mut reader.link(),
                programme,
                after,
                self.size(),
                AT_A_TIME,
            )
            .await?;
            let Some((last, ..)) = page.last() else { return Ok(keys) };
            after = last.unsigned_abs();
            for (size, root, key, signature) in page {
                let key = key.map(|key| sql::hash(&key)).transpose()?;
                if let Some(key) = &key
                    && keys.last().is_none_or(|last| last.key() != *key)
                {
                    keys.push(verifier(self.origin(), key)?);
                }
                let one = CheckpointLine {
                    size: size.unsigned_abs(),
                    root: NodeHash::from_bytes(sql::hash(&root)?),
                    key: key.map(Digest::from_bytes),
                    signature: signature.map(|bytes| sql::hex(&bytes)),
                };
                parts.write_all(line(&one).as_bytes())?;
            }
            self.progress.advance(0)?;
        }
    }

    async fn write_records(&self, parts: &mut Parts, reach: &Reach) -> Result<Chosen, PackError> {
        let mut chosen = Chosen::default();
        parts.begin(RECORDS)?;
        self.each(|stored, entry| {
            if reach.has(&entry) {
                chosen.seqs.push(stored.seq);
                chosen.files.extend(files::named_by(&entry));
                chosen.shapes.insert((entry.record.kind(), entry.record.version()));
                parts.write_all(stored.text.as_bytes())?;
                parts.write_all(b"\n")?;
            }
            Ok(())
        })
        .await?;
        Ok(chosen)
    }

    fn write_proofs(&self, parts: &mut Parts, seqs: &[u64]) -> Result<(), PackError> {
        parts.begin(PROOFS)?;
        for seq in seqs {
            let (leaf, proof) = self
                .store
                .inclusion_proof(&self.order.programme, *seq, self.size())
                .ok_or(PackError::Altered { seq: *seq })?;
            parts.write_all(line(&ProofLine { seq: *seq, leaf, proof }).as_bytes())?;
        }
        Ok(())
    }

    fn write_leaves(&self, parts: &mut Parts) -> Result<(), PackError> {
        parts.begin(LEAVES)?;
        let mut written = 0;
        while written < self.size() {
            let until = self.size().min(written + u64::from(AT_A_TIME));
            let some = self.store.leaves(&self.order.programme, written, until);
            if some.is_empty() {
                return Err(PackError::Altered { seq: written + 1 });
            }
            written += some.len() as u64;
            let text: String = some.iter().map(|leaf| format!("{leaf}\n")).collect();
            parts.write_all(text.as_bytes())?;
            self.progress.advance(0)?;
        }
        Ok(())
    }

    async fn write_files(
        &self,
        parts: &mut Parts,
        named: &[FileOfRecord],
    ) -> Result<(), PackError> {
        let objects = self.store.objects();
        let mut each: BTreeMap<&Digest, u64> = BTreeMap::new();
        for file in named {
            each.entry(&file.digest).or_insert(file.seq);
        }
        for digest in each.keys() {
            let bytes = objects.bytes_of(digest).await;
            let bytes = bytes.map_err(|error| self.not_had(&each, digest, error))?;
            self.progress.expect(bytes.unwrap_or_default());
        }
        for digest in each.keys() {
            let file = objects.open_file(digest).await;
            let file = file.map_err(|error| self.not_had(&each, digest, error))?;
            let trouble = file.trouble();
            let advance = |bytes| self.progress.advance(bytes);
            let copied = parts.copy(&file_name(digest), file, advance);
            if copied.map_err(|error| trouble.befell().map_or(error, PackError::Away))? != **digest
            {
                return Err(self.lost(&each, digest));
            }
        }
        Ok(())
    }

    fn not_had(
        &self,
        each: &BTreeMap<&Digest, u64>,
        digest: &Digest,
        error: ObjectError,
    ) -> PackError {
        match error {
            ObjectError::Disk(error) => error.into(),
            away @ ObjectError::Away { .. } => PackError::Away(away),
            _ => self.lost(each, digest),
        }
    }

    fn lost(&self, each: &BTreeMap<&Digest, u64>, digest: &Digest) -> PackError {
        let seq = each.get(digest).copied().unwrap_or_default();
        PackError::Lost { seq, digest: digest.clone() }
    }
}
