//! Signed checkpoints: one for each transaction that adds to a ledger, and never one that is not a longer form of the last.

use std::collections::HashMap;

use parking_lot::{Mutex, RwLock};
use programme::codes::ProgrammeId;
use programme::ledger::checkpoint::{Checkpoint, Origin, SignedCheckpoint};
use programme::ledger::note::{Signer, Verifier};
use programme::ledger::{NodeHash, Tree};
use programme::record::PublicKey;
use programme::state::State;

use crate::batch::Batch;
use crate::fault::ReadError;
use crate::published::{Head, Published};
use crate::sql;
use crate::store::{Shared, Store};

/// The secret by which checkpoints are signed.
pub(crate) const KEY: &str = "checkpoint-key";

/// Signs checkpoints. The same secret signs for every programme, under the name of its ledger, but while keys are changed.
pub(crate) struct Notary {
    /// Secrets by the keys that check what they sign, the newest last.
    secrets: RwLock<Vec<(PublicKey, [u8; 32])>>,
    /// The keys by which ledgers were signed first.
    first: RwLock<HashMap<ProgrammeId, PublicKey>>,
    signers: Mutex<HashMap<(Origin, PublicKey), Signer>>,
}

/// A signature to be kept.
pub(crate) struct Signed {
    pub programme: ProgrammeId,
    pub size: u64,
    pub public_key: [u8; 32],
    pub signature: [u8; 64],
}

/// A ledger that is about to be written is no longer form of the one that was signed last.
#[derive(Debug, thiserror::Error)]
#[error("the ledger of programme \"{programme}\" does not follow from what was signed last")]
pub(crate) struct Inconsistent {
    programme: ProgrammeId,
}

impl Notary {
    /// Signs with the last of these, which is not empty, unless a ledger names another one.
    pub fn new(secrets: &[[u8; 32]]) -> Self {
        let notary = Self {
            secrets: RwLock::default(),
            first: RwLock::default(),
            signers: Mutex::default(),
        };
        secrets.iter().for_each(|secret| {
            notary.add(*secret);
        });
        notary
    }

    /// Takes in secrets that are not here yet, the oldest first.
    pub fn add_all(&self, secrets: &[[u8; 32]]) {
        for secret in secrets {
            if !self.has(public_key_of(secret)) {
                self.add(*secret);
            }
        }
    }

    /// Takes in a secret, by which new ledgers are signed from now on.
    pub fn add(&self, secret: [u8; 32]) -> PublicKey {
        let key = public_key_of(&secret);
        self.secrets.write().push((key, secret));
        key
    }

    /// The key by which new ledgers are signed.
    pub fn newest(&self) -> PublicKey {
        let newest = self.secrets.read().last().map(|(key, _)| *key);
        newest.expect("a notary is made with a secret, and none is taken away from it")
    }

    /// Whether a ledger's next checkpoint can be signed here.
    pub fn has(&self, key: PublicKey) -> bool {
        self.secrets.read().iter().any(|(known, _)| *known == key)
    }

    /// Whether another one signs by any of the same keys.
    fn shares_a_key_with(&self, other: &Self) -> bool {
        self.secrets.read().iter().any(|(key, _)| other.has(*key))
    }

    /// Whether it is known by which key a ledger was signed first.
    pub fn knows(&self, programme: &ProgrammeId) -> bool {
        self.first.read().contains_key(programme)
    }

    /// Notes by which key a ledger was signed first.
    pub fn signed_first_by(&self, programme: &ProgrammeId, key: PublicKey) {
        self.first.write().insert(programme.clone(), key);
    }

    /// The key that signs the next checkpoint of a ledger.
    pub fn key_of(&self, programme: &ProgrammeId, state: &State) -> PublicKey {
        state
            .keeping
            .key_at(u64::MAX)
            .or_else(|| self.first.read().get(programme).copied())
            .unwrap_or_else(|| self.newest())
    }

    /// Signs size and root of each programme that a batch adds to, where they follow from what is on disk, and where it does
    /// not go on from a copy that nobody has acknowledged.
    pub fn sign(&self, shared: &Shared, batch: &Batch<'_>) -> Result<Vec<Signed>, Inconsistent> {
        let mut grown: HashMap<&ProgrammeId, (Tree, Option<NodeHash>, PublicKey)> = HashMap::new();
        for (programme, leaves) in batch.leaves() {
            let (tree, first, _) = grown.entry(programme).or_insert_with(|| {
                shared.programme(programme).map_or_else(
                    || (Tree::default(), None, self.newest()),
                    |published| {
                        let published = published.read();
                        let key = self.key_of(programme, &published.state);
                        (published.tree.edge(), published.tree.leaf(0), key)
                    },
                )
            });
            for leaf in leaves {
                first.get_or_insert(leaf);
                tree.push(leaf);
            }
        }
        let heads = batch.heads();
        let copies = shared.copies.read();
        grown
            .into_iter()
            .filter(|(programme, _)| !copies.contains_key(*programme))
            .map(|(programme, (tree, first, key))| {
                let inconsistent = || Inconsistent { programme: programme.clone() };
                let first = first.ok_or_else(inconsistent)?;
                if heads.get(programme).is_none_or(|head| **head != tree) {
                    return Err(inconsistent());
                }
                let head = Head { size: tree.size(), root: tree.root() };
                // A ledger that is begun goes on with this key, also where a newer one is made.
                self.first.write().entry(programme.clone()).or_insert(key);
                self.sign_head(programme, &first, head, key).ok_or_else(inconsistent)
            })
            .collect()
    }

    /// Signs a size and root; none where the secret of that key is not here.
    pub fn sign_head(
        &self,
        programme: &ProgrammeId,
        first: &NodeHash,
        head: Head,
        key: PublicKey,
    ) -> Option<Signed> {
        let (_, secret) = *self.secrets.read().iter().find(|(known, _)| *known == key)?;
        let origin = Origin::new(programme, first);
        let checkpoint = Checkpoint { origin: origin.clone(), size: head.size, root: head.root };
        let mut signers = self.signers.lock();
        let signer =
            signers.entry((origin.clone(), key)).or_insert_with(|| signer(&origin, &secret));
        Some(Signed {
            programme: programme.clone(),
            size: head.size,
            public_key: *key.bytes(),
            signature: signer.sign(&checkpoint.text()),
        })
    }
}

fn signer(origin: &Origin, secret: &[u8; 32]) -> Signer {
    Signer::new(origin.as_str(), secret)
        .expect("the name of a ledger has neither a space nor a plus sign")
}

/// The key that checks what a secret signs.
pub(crate) fn public_key_of(secret: &[u8; 32]) -> PublicKey {
    let signer = Signer::new(KEY, secret).expect("the name has neither a space nor a plus sign");
    PublicKey::from_bytes(signer.verifier().key())
}

/// A checkpoint of a programme with the keys that may have signed it.
#[derive(Debug, Clone)]
pub struct Notarised {
    /// The checkpoint.
    pub signed: SignedCheckpoint,
    /// The key that signed it.
    pub key: Verifier,
}

impl Store {
    /// Whether another store signs checkpoints by a key that this one has, too: both have one database, or that of one was once
    /// copied from the other.
    pub fn shares_a_key_with(&self, other: &Self) -> bool {
        self.shared().notary.shares_a_key_with(&other.shared().notary)
    }

    /// The signed checkpoint of a size; without a size the last one. None if there is no such programme, no transaction ended
    /// at that size, or it was never signed.
    ///
    /// # Errors
    ///
    /// [`ReadError`], where the database cannot be read, or holds a signature that does not fit.
    pub async fn checkpoint(
        &self,
        programme: &ProgrammeId,
        size: Option<u64>,
    ) -> Result<Option<Notarised>, ReadError> {
        let Some(published) = self.shared().programme(programme) else { return Ok(None) };
        let mut reader = self.shared().readers.acquire().await?;
        // What another server wrote a moment ago, and what is not taken in here yet, is of the next moment.
        let (at, or_the_last_before) = match size {
            Some(size) => (size, false),
            None => (published.read().head.size, true),
        };
        let kept =
            sql::ledger::signature(&mut reader.link(), programme.as_str(), at, or_the_last_before)
                .await?;
        let Some((size, public_key, signature)) = kept else { return Ok(None) };
        let size = size.unsigned_abs();
        let found = {
            let published: &Published = &published.read();
            published.tree.root_at(size).zip(published.tree.leaf(0))
        };
        let Some((root, first)) = found else { return Ok(None) };
        let checkpoint = Checkpoint { origin: Origin::new(programme, &first), size, root };
        let key = verifier(&checkpoint.origin, &public_key)?;
        let signature = signature
            .as_slice()
            .try_into()
            .map_err(|_| sql::not_a("signature of 64 bytes", signature.len()))?;
        let signed = checkpoint.with_signature(&key, signature);
        if !signed.is_signed_by(&key) {
            return Err(sql::not_a("signature of this checkpoint", size).into());
        }
        Ok(Some(Notarised { signed, key }))
    }
}

impl Store {
    /// The name of a programme's ledger, and every key that signed checkpoints of it, the oldest first. None if there is no such
    /// programme.
    ///
    /// # Errors
    ///
    /// [`ReadError`], where the database cannot be read.
    pub async fn checkpoint_keys(
        &self,
        programme: &ProgrammeId,
    ) -> Result<Option<(Origin, Vec<Verifier>)>, ReadError> {
        let published = self.shared().programme(programme);
        let first = published.and_then(|published| published.read().tree.leaf(0));
        let Some(first) = first else { return Ok(None) };
        let origin = Origin::new(programme, &first);
        let mut reader = self.shared().readers.acquire().await?;
        let kept = sql::ledger::public_keys(&mut reader.link(), programme.as_str()).await?;
        let keys = kept.iter().map(|key| verifier(&origin, key)).collect::<Result<_, _>>()?;
        Ok(Some((origin, keys)))
    }

    /// The size of the first signed checkpoint that has the record of this number; none if there is none yet.
    ///
    /// # Errors
    ///
    /// [`ReadError`], where the database cannot be read.
    pub async fn signed_with(
        &self,
        programme: &ProgrammeId,
        seq: u64,
    ) -> Result<Option<u64>, ReadError> {
        let mut reader = self.shared().readers.acquire().await?;
        let size = sql::ledger::signed_from(&mut reader.link(), programme.as_str(), seq).await?;
        Ok(size.map(i64::unsigned_abs))
    }
}

/// The key of a ledger's name with these bytes.
pub(crate) fn verifier(origin: &Origin, public_key: &[u8]) -> sqlx::Result<Verifier> {
    let bytes: [u8; 32] = sql::hash(public_key)?;
    programme::ledger::note::verifier_of(origin.as_str(), &bytes)
        .ok_or_else(|| sql::not_a("public key", "its bytes"))
}
