//! Changing the key by which checkpoints are signed.

use chrono::{DateTime, Utc};
use programme::codes::{PersonHandle, ProgrammeId};
use programme::ledger::checkpoint::Origin;
use programme::ledger::note::Verifier;
use programme::record::{CheckpointKeyChanged, PublicKey};

use crate::act::{Act, ActError};
use crate::fault::WriteError;
use crate::idempotency::Reply;
use crate::notary::{KEY, public_key_of};
use crate::secret::random;
use crate::sql;
use crate::store::Store;

/// What came of changing the key.
#[derive(Debug, Clone)]
pub struct KeyChanged {
    /// The key that signs from now on.
    pub key: PublicKey,
    /// Ledgers that go on from copies; it signs those once that is acknowledged.
    pub waiting: Vec<ProgrammeId>,
}

impl Store {
    /// Makes a new key, records it in every ledger, where the old one signs that record, and forgets the old one. A change that
    /// was broken off is finished by the next one.
    ///
    /// # Errors
    ///
    /// [`ActError`]; ledgers that had no record of it by then are signed by the old key as before.
    pub async fn change_key(
        &self,
        by: &PersonHandle,
        at: DateTime<Utc>,
        reason: &str,
    ) -> Result<KeyChanged, ActError> {
        let secret = self.next_secret(at).await?;
        let key = public_key_of(&secret);
        let mut waiting = Vec::new();
        for programme in self.programmes() {
            if self.copy_of(&programme).is_some() {
                waiting.push(programme);
                continue;
            }
            let before = self
                .read(&programme, |state, _| self.shared().notary.key_of(&programme, state))
                .ok_or_else(|| ActError::UnknownProgramme(programme.clone()))?;
            if before == key {
                continue;
            }
            let changed = CheckpointKeyChanged { before, key, reason: reason.to_owned() };
            let act = Act {
                programme,
                by: by.clone(),
                at,
                idempotency: None,
                decide: Box::new(move |_| Ok(vec![changed.into()])),
                reply: Box::new(|_, _| Reply { status: 200, headers: vec![], body: vec![] }),
            };
            self.act(act).await?;
        }
        self.write(
            async move |link| sql::secret::forget_all_but(link, KEY, &secret).await,
            |_, ()| {},
        )
        .await?;
        Ok(KeyChanged { key, waiting })
    }

    /// A new secret; or the one that an earlier change made and did not get all ledgers to be signed with.
    async fn next_secret(&self, at: DateTime<Utc>) -> Result<[u8; 32], WriteError> {
        self.write(
            async move |link| {
                let kept = sql::secret::beginning_with(link, KEY).await?;
                if let [_, .., last] = kept.as_slice() {
                    return sql::hash(last);
                }
                let secret = random()?;
                let name = format!("{KEY}-{}", at.timestamp_micros());
                sql::secret::find_or_insert(link, &name, &secret, at).await?;
                Ok(secret)
            },
            |shared, secret| {
                if !shared.notary.has(public_key_of(secret)) {
                    shared.notary.add(*secret);
                }
            },
        )
        .await
    }
}

/// The key of a ledger's name; none where the bytes are no key.
pub fn verifier(origin: &Origin, key: &PublicKey) -> Option<Verifier> {
    programme::ledger::note::verifier_of(origin.as_str(), key.bytes())
}
