//! Papers as of a checkpoint: the document that a pack brings along, and papers by themselves.

use chrono::Utc;
use paper::{CheckpointFacts, Draft};
use programme::codes::ProgrammeId;
use programme::ledger::NodeHash;
use programme::scope::Scope;
use programme::state::State;
use store::{AsOf, AsOfError, NamedFile, PackOrder, ReadError, Store};

/// The name of the document in a pack.
const DOCUMENT: &str = "document.pdf";

/// Why there is no paper.
#[derive(Debug, thiserror::Error)]
pub enum NoPaper {
    /// The ledger cannot be read as it stood.
    #[error(transparent)]
    Unread(#[from] AsOfError),
    /// It cannot be read at all.
    #[error(transparent)]
    Unreadable(#[from] ReadError),
    /// There is nothing to write, or it cannot be set.
    #[error(transparent)]
    Paper(#[from] paper::Trouble),
}

/// A paper that is set.
#[derive(Debug)]
pub(super) struct SetPaper {
    pub bytes: Vec<u8>,
    pub records: u64,
    pub root: NodeHash,
}

/// What a paper says of the ledger that it was written from. Its moment is that of the last record, so that the same ledger
/// gives the same paper.
pub fn facts(state: &State, records: u64, root: NodeHash) -> CheckpointFacts {
    CheckpointFacts { records, root: root.to_string(), at: state.last_at.unwrap_or_else(Utc::now) }
}

/// The evidence document as of the checkpoint that a pack is of; none where nothing was run in the part, for then there is
/// nothing to tell, and none where there is no checkpoint, of which the pack itself says what to do.
///
/// It is written from the records and not from the state in memory, so that nobody waits for it; setting takes seconds on the
/// thread that asks.
///
/// # Errors
///
/// [`NoPaper`] where the ledger cannot be read, or the document not be set.
pub async fn pack_document(store: &Store, order: &PackOrder) -> Result<Option<NamedFile>, NoPaper> {
    let Some(last) = store.checkpoint(&order.programme, None).await? else { return Ok(None) };
    let (size, root) = (last.signed.checkpoint.size, last.signed.checkpoint.root);
    let state = store.as_of(&order.programme, AsOf::Seq(size)).await?;
    let facts = facts(&state, size, root);
    let Ok(document) = paper::evidence(&order.scope, &state, facts.at) else { return Ok(None) };
    let bytes = document.typeset(&facts)?;
    Ok(Some(NamedFile { name: DOCUMENT.to_owned(), bytes }))
}

/// The evidence document of a part, or a draft, as the ledger stands now; none where there is no such programme. As
/// [`pack_document`], it keeps nobody waiting but who asks.
pub(super) async fn set(
    store: &Store,
    programme: &ProgrammeId,
    which: Option<Draft>,
    scope: &Scope,
) -> Result<SetPaper, NoPaper> {
    let unknown = || AsOfError::UnknownProgramme(programme.clone());
    let head = store.tree(programme).ok_or_else(unknown)?;
    let state = store.as_of(programme, AsOf::Seq(head.size)).await?;
    let facts = facts(&state, head.size, head.root);
    let manuscript = match which {
        Some(which) => paper::draft(which, &state, facts.at),
        None => paper::evidence(scope, &state, facts.at),
    };
    drop(state);
    let bytes = manuscript?.typeset(&facts)?;
    Ok(SetPaper { bytes, records: head.size, root: head.root })
}
