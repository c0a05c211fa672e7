//! The ledger, people and their sessions, kept on disk. All SQL is in this crate.
//!
//! A [`Store`] holds the folded state of every programme in memory and writes through one writer. [`Store::act`]
//! decides against the state with everything written before it, also what is in the same transaction; many acts that
//! wait are written in one transaction; none is answered before that transaction is on disk. Reading looks at the
//! state in memory and never waits for the disk.
//!
//! One process at a time has a data directory. [`verify()`] and [`backup()`] also work beside a running server. On PostgreSQL
//! several servers, each with a directory of its own, share one database: [`Whereabouts`] says where a store is, and
//! `among.rs` how they keep out of one another's way.
//!
//! Moments are arguments everywhere; nothing here reads a clock.

mod account;
mod act;
mod alone;
mod among;
mod as_of;
mod backup;
mod batch;
mod calendar_link;
mod catch_up;
mod data_dir;
mod entries;
mod errand;
mod fault;
mod fence;
mod files;
mod health;
mod idempotency;
mod key_change;
mod notary;
mod objects;
mod open;
mod pack;
mod published;
mod relocate;
mod replay;
mod secret;
mod session;
mod shelf;
mod sql;
mod stepwise;
mod store;
mod verify;
mod watch;
mod watched;
mod whereabouts;
mod writer;

#[cfg(test)]
mod tests;

pub use account::{Account, AccountError, NewAccount};
pub use act::{Act, ActError, Acted, Decide, MakeReply};
pub use as_of::{AsOf, AsOfError};
pub use backup::{BackupError, RestoreError, backup, backup_at, restore, restore_at};
pub use data_dir::{
    DataDirError, holds_data, make_private_directory, private_file, sync_directory,
};
pub use entries::StoredEntry;
pub use fault::{ReadError, StopCause, WriteError};
pub use fence::CopyFound;
pub use files::{FileOfRecord, Lost, LostFile};
pub use health::Health;
pub use idempotency::{Idempotency, KEPT_FOR, Remembered, Reply};
pub use key_change::{KeyChanged, verifier};
pub use notary::Notarised;
pub use objects::{
    Away, BadBucketUrl, BucketUrl, Incoming, Kept, NotSet, ObjectError, Objects, Opened, Reason,
    Trouble, reach_recordings,
};
pub use open::OpenError;
pub use pack::{
    Held, ImportPackError, Moved, NamedFile, PackError, PackFault, PackMade, PackOrder,
    PackVerdict, PersonNamed, Progress, RecordingsIn, check_pack, looks_like_a_pack, move_in,
};
pub use published::{Head, News};
pub use relocate::{Carried, RelocateError, relocate};
pub use secret::Secret;
pub use session::{BeginError, NewSession, NotSignedIn, RotateError, Rotation, SignedIn};
pub use stepwise::{BackupNow, BackupWatch, Stepped, StepwiseBackup};
pub use store::Store;
pub use verify::{
    FirstFailure, ProgrammeVerdict, TrustedHead, VerifyError, Wrong, verify, verify_at,
};
pub use watched::Transaction;
pub use whereabouts::{BadDatabaseUrl, DatabaseUrl, Whereabouts, holds_ledger};
