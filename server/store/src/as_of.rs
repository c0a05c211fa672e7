//! A programme as it stood at any past moment.

use chrono::{DateTime, Utc};
use programme::codes::ProgrammeId;
use programme::state::State;

use crate::fault::ReadError;
use crate::replay::{Look, replay};
use crate::sql;
use crate::store::Store;
use crate::verify::FirstFailure;

/// A moment in a programme's life.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AsOf {
    /// After the record of that number; 0 is before the first.
    Seq(u64),
    /// With everything that had been recorded at that time: up to the last record at or before it.
    At(DateTime<Utc>),
}

/// A past state that cannot be had.
#[derive(Debug, thiserror::Error)]
pub enum AsOfError {
    /// There is no such programme.
    #[error("there is no programme \"{0}\"")]
    UnknownProgramme(ProgrammeId),
    /// The ledger is not that long yet.
    #[error("the ledger has {length} records, not {asked}")]
    NotYet {
        /// The number asked for.
        asked: u64,
        /// How many there are.
        length: u64,
    },
    /// A record was altered since.
    #[error("the ledger fails its check")]
    Damaged(#[source] FirstFailure),
    /// The database could not be read.
    #[error(transparent)]
    Unreadable(#[from] ReadError),
}

impl Store {
    /// The state as it stood then, made from the records up to then. Takes time in proportion to their number.
    ///
    /// # Errors
    ///
    /// [`AsOfError`].
    pub async fn as_of(&self, programme: &ProgrammeId, as_of: AsOf) -> Result<State, AsOfError> {
        let unknown = || AsOfError::UnknownProgramme(programme.clone());
        let mut connection = self.shared().readers.acquire().await.map_err(ReadError::from)?;
        let seq = match as_of {
            AsOf::Seq(seq) => seq,
            AsOf::At(moment) => {
                self.tree(programme).ok_or_else(unknown)?;
                sql::ledger::last_recorded_by(&mut connection.link(), programme.as_str(), moment)
                    .await
                    .map_err(ReadError::from)?
                    .unsigned_abs()
            }
        };
        // A record that is on disk and not yet published is one of the next moment.
        let (length, present) = self
            .read(programme, |state, head| (head.size, (head.size == seq).then(|| state.clone())))
            .ok_or_else(unknown)?;
        if let Some(present) = present {
            return Ok(present);
        }
        let seq = match as_of {
            AsOf::Seq(asked) if asked > length => {
                return Err(AsOfError::NotYet { asked, length });
            }
            AsOf::Seq(_) | AsOf::At(_) => seq.min(length),
        };
        let mut state = State::default();
        replay(&mut connection.link(), programme, seq, Look::Quick, |believed| {
            state.apply(&believed.entry);
            Ok(())
        })
        .await
        .map_err(ReadError::from)?
        .map_err(AsOfError::Damaged)?;
        Ok(state)
    }
}
