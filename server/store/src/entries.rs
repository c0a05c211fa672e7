//! Reading the ledger itself, page by page.

use programme::codes::ProgrammeId;
use programme::ledger::NodeHash;

use crate::fault::ReadError;
use crate::sql;
use crate::store::Store;

/// A record as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredEntry {
    /// Its number, from 1.
    pub seq: u64,
    /// Its RFC 8785 text, whose bytes are hashed.
    pub text: String,
    /// The hash of its leaf in the tree.
    pub leaf: NodeHash,
}

impl Store {
    /// Up to `limit` records after number `after_seq`, in order: 0 begins at the first; none where there are no more,
    /// or no such programme.
    ///
    /// # Errors
    ///
    /// [`ReadError`] where the database cannot be read.
    pub async fn entries(
        &self,
        programme: &ProgrammeId,
        after_seq: u64,
        limit: u32,
    ) -> Result<Vec<StoredEntry>, ReadError> {
        let Ok(after_seq) = i64::try_from(after_seq) else {
            return Ok(Vec::new());
        };
        let mut connection = self.shared().readers.acquire().await?;
        let kept =
            sql::ledger::after(&mut connection.link(), programme.as_str(), after_seq, limit.into())
                .await?;
        kept.into_iter()
            .map(|kept| {
                Ok(StoredEntry {
                    seq: kept.seq.unsigned_abs(),
                    leaf: NodeHash::from_bytes(sql::hash(&kept.leaf)?),
                    text: kept.entry,
                })
            })
            .collect()
    }
}
