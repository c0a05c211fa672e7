//! What a person does to a programme: decide, write, answer.

use std::fmt;

use chrono::{DateTime, Utc};
use programme::codes::{PersonHandle, ProgrammeId};
use programme::entry::{Draft, Entry};
use programme::refusal::Refusal;
use programme::state::State;
use tokio::sync::oneshot;

use crate::fault::WriteError;
use crate::idempotency::{Idempotency, Reply};
use crate::store::Store;
use crate::writer::{ActJob, Job};

/// Decides what is to be recorded. Runs on the writer's thread, so it should neither wait nor take long.
pub type Decide = Box<dyn FnOnce(&State) -> Result<Vec<Draft>, Refusal> + Send>;

/// Makes the reply from the state with the entries in it. Runs on the writer's thread, before the entries are on disk.
pub type MakeReply = Box<dyn FnOnce(&State, &[Entry]) -> Reply + Send>;

/// One act on a programme.
pub struct Act {
    /// On which programme.
    pub programme: ProgrammeId,
    /// Who acts.
    pub by: PersonHandle,
    /// When, by the server's clock.
    pub at: DateTime<Utc>,
    /// The key under which the reply is kept.
    pub idempotency: Option<Idempotency>,
    /// What is to be recorded.
    pub decide: Decide,
    /// What is to be answered.
    pub reply: MakeReply,
}

impl fmt::Debug for Act {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Act")
            .field("programme", &self.programme)
            .field("by", &self.by)
            .field("at", &self.at)
            .field("idempotency", &self.idempotency)
            .finish_non_exhaustive()
    }
}

/// An act that was done, and is on disk.
#[derive(Debug, Clone, PartialEq)]
pub struct Acted {
    /// The answer.
    pub reply: Reply,
    /// The entries that the act wrote; none when it was done before.
    pub entries: Vec<Entry>,
    /// Whether the reply is that of an earlier request with the same key.
    pub replayed: bool,
}

/// An act that was not done. Nothing was written.
#[derive(Debug, thiserror::Error)]
pub enum ActError {
    /// There is no such programme.
    #[error("there is no programme \"{0}\"")]
    UnknownProgramme(ProgrammeId),
    /// There is a programme of that name already.
    #[error("there is a programme \"{0}\" already")]
    ProgrammeExists(ProgrammeId),
    /// The command refused.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// The key was used for another request.
    #[error("the idempotency key \"{0}\" was used for another request")]
    KeyReused(String),
    /// A record cannot be written as JSON that reads back as the same record, such as one with a NaN.
    #[error("a record of kind \"{kind}\" cannot be kept")]
    Unkeepable {
        /// Which kind.
        kind: &'static str,
        /// What is wrong with it, where more is known.
        #[source]
        source: Option<programme::entry::UnreadableEntry>,
    },
    /// The ledger goes on from a copy that nobody has acknowledged, so nobody signs in it.
    #[error(
        "the ledger goes on from a copy of {records} records that test lead and safety officer have not both acknowledged"
    )]
    CopyNotAcknowledged {
        /// How many records the copy has.
        records: u64,
    },
    /// A fault in the program: the decision, the fold or the reply gave up.
    #[error("the program failed while deciding; this is a fault in it, and nothing was written")]
    Panicked,
    /// It was decided, and could not be written.
    #[error(transparent)]
    NotWritten(#[from] WriteError),
}

impl Store {
    /// Does one act: decides against the state with everything before it, writes, and answers once it is on disk.
    ///
    /// The act goes on if the caller stops waiting.
    ///
    /// # Errors
    ///
    /// [`ActError`]; in every case nothing was written.
    pub async fn act(&self, act: Act) -> Result<Acted, ActError> {
        self.submit(act, false).await
    }

    /// Begins a programme with its first records, all or nothing: the store writes `ProgrammeFounded` with the title as
    /// record 1, and after it what `decide` gives; `decide` sees the state with record 1 in it.
    ///
    /// # Errors
    ///
    /// [`ActError`], among them [`ActError::ProgrammeExists`]; in every case nothing was written.
    pub async fn found(&self, title: String, act: Act) -> Result<Acted, ActError> {
        let founded = programme::record::ProgrammeFounded { title };
        let Act { programme, by, at, idempotency, decide, reply } = act;
        let first = Entry::new(programme.clone(), 1, at, by.clone(), founded.clone().into());
        let decide: Decide = Box::new(move |state| {
            let mut with_first = state.clone();
            with_first.apply(&first);
            let rest = decide(&with_first)?;
            Ok(std::iter::once(Draft::from(founded)).chain(rest).collect())
        });
        self.submit(Act { programme, by, at, idempotency, decide, reply }, true).await
    }

    async fn submit(&self, act: Act, founds: bool) -> Result<Acted, ActError> {
        self.shared().health().refuses_to_write()?;
        let (answer, answered) = oneshot::channel();
        self.send(Job::Act(ActJob { act, founds, answer })).await?;
        // The writer answers every job; if it is gone, the process is ending.
        answered.await.unwrap_or_else(|_| Err(WriteError::closed().into()))
    }
}
