//! Taking a whole programme over from another server: the same records, checkpoints and recordings, so the same root.
//!
//! It is a copy, and the server that it came from may go on. So nobody signs in it, and no checkpoint of it is signed, until
//! its test lead and safety officer have both acknowledged that; then this server's own key comes into force for it.

use std::fs::File;
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use programme::codes::{PersonHandle, ProgrammeId};
use programme::entry::Entry;
use programme::ledger::leaf_hash;
use programme::record::Digest;
use programme::scope::Scope;

use super::PersonNamed;
use super::check::{PackFault, PackVerdict, check_pack};
use super::contents::{CHECKPOINTS, CheckpointLine, RECORDS, RecordingsIn, file_name};
use super::zipped::Zipped;
use crate::account::{AccountError, NewAccount};
use crate::batch::Row;
use crate::fault::WriteError;
use crate::fence::CopyFound;
use crate::files::pass_on;
use crate::notary::Signed;
use crate::objects::ObjectError;
use crate::open::OpenError;
use crate::published::Head;
use crate::sql;
use crate::sql::Link;
use crate::store::Store;
use crate::whereabouts::Whereabouts;

/// What was taken over.
#[derive(Debug)]
pub struct Moved {
    /// What the pack showed.
    pub verdict: PackVerdict,
    /// People for whom an account was made, in which nobody can sign in until an administrator has set a password and enabled it.
    pub to_be_claimed: Vec<PersonHandle>,
    /// People who have an account here already, and act by it.
    pub known: Vec<PersonHandle>,
}

/// A programme that was not taken over. The ledger here has nothing of it.
#[derive(Debug, thiserror::Error)]
pub enum ImportPackError {
    /// The pack does not pass.
    #[error("the pack does not pass its check, so nothing was taken over")]
    Fails(#[from] PackFault),
    /// It is a part only.
    #[error(
        "the pack is of {0}, or has no recordings; ask for the whole programme with recordings"
    )]
    Part(Scope),
    /// There is such a programme here.
    #[error("there is a programme {0} here already, and two cannot become one")]
    Exists(ProgrammeId),
    /// Names are taken.
    #[error("{} here already: say of each with --same that it is the same person", have_accounts(.0))]
    Taken(Vec<PersonHandle>),
    /// The folder cannot be used.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// The recordings could not be kept.
    #[error(transparent)]
    Objects(#[from] ObjectError),
    /// The ledger could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// An account could not be made.
    #[error(transparent)]
    Account(#[from] AccountError),
}

fn have_accounts(handles: &[PersonHandle]) -> String {
    let names: Vec<_> = handles.iter().map(PersonHandle::as_str).collect();
    let verb = if names.len() == 1 { "has an account" } else { "have accounts" };
    format!("{} {verb}", names.join(", "))
}

/// Takes the programme of a pack over into a data folder that no server has open; where its database is PostgreSQL, other
/// servers may have that open. `same` are people of the programme who
/// have accounts there already and are the same; `secret_for` gives the hash of a password that nobody knows.
///
/// # Errors
///
/// [`ImportPackError`]; recordings that were copied by then are removed at the next start.
pub async fn move_in(
    whereabouts: &Whereabouts,
    pack: &Path,
    same: &[PersonHandle],
    at: DateTime<Utc>,
    secret_for: impl Fn(&PersonHandle) -> String,
) -> Result<Moved, ImportPackError> {
    let verdict = check_pack(pack, &[])?;
    if verdict.scope != Scope::Programme || verdict.recordings != RecordingsIn::Included {
        return Err(ImportPackError::Part(verdict.scope));
    }
    let store = Store::open_at(whereabouts).await?;
    let outcome = move_into(&store, &verdict, pack, same, at, secret_for).await;
    store.close().await;
    let (to_be_claimed, known) = outcome?;
    Ok(Moved { verdict, to_be_claimed, known })
}

type Handles = Vec<PersonHandle>;

async fn move_into(
    store: &Store,
    verdict: &PackVerdict,
    pack: &Path,
    same: &[PersonHandle],
    at: DateTime<Utc>,
    secret_for: impl Fn(&PersonHandle) -> String,
) -> Result<(Handles, Handles), ImportPackError> {
    let programme = &verdict.programme;
    if store.tree(programme).is_some() {
        return Err(ImportPackError::Exists(programme.clone()));
    }
    let (known, new): (Vec<&PersonNamed>, Vec<&PersonNamed>) =
        verdict.people.iter().partition(|person| store.account(&person.handle).is_some());
    let handles = |people: &[&PersonNamed]| -> Handles {
        people.iter().map(|person| person.handle.clone()).collect()
    };
    let mut taken = handles(&known);
    taken.retain(|handle| !same.contains(handle));
    if !taken.is_empty() {
        return Err(ImportPackError::Taken(taken));
    }
    keep_files(store, pack).await?;
    // Before the ledger is there, so that there is no moment at which it is not known for a copy.
    let head = Head { size: verdict.checkpoint.size, root: verdict.checkpoint.root };
    let copy = CopyFound { head, known: None };
    let (of, from) = (programme.clone(), pack.to_owned());
    if !store.shared().readers.is_shared() {
        store.shared().fence.note_copy(programme.as_str(), copy).map_err(ObjectError::from)?;
    }
    let insert = async move |link: &mut Link<'_>| {
        sql::others::put_copy(link, &of, copy).await?;
        insert(link, &of, from).await
    };
    store.write(insert, |_, ()| {}).await?;
    for person in &new {
        let account = NewAccount {
            handle: person.handle.clone(),
            name: person.name.clone(),
            password_hash: secret_for(&person.handle),
            pin_hash: None,
            administrator: false,
        };
        store.create_account(account, at, None).await?;
        store.disable_account(&person.handle, at).await?;
    }
    Ok((handles(&new), handles(&known)))
}

/// Keeps the files of the recordings. Each is hashed on the way, and gets no other name than its digest.
async fn keep_files(store: &Store, pack: &Path) -> Result<(), ImportPackError> {
    let mut zipped = Zipped::open(pack)?;
    let digests: Vec<Digest> = zipped.sum()?.files.into_keys().collect();
    for digest in digests {
        let name = file_name(&digest);
        let mut incoming = store.objects().begin()?;
        pass_on(&mut zipped.part(&name)?, &mut incoming).map_err(ObjectError::from)?;
        if incoming.digest() != digest {
            return Err(PackFault::Sum { name }.into());
        }
        store.objects().keep(incoming).await?;
    }
    Ok(())
}

/// Writes records and checkpoints in the order in which they came to be.
async fn insert(link: &mut Link<'_>, programme: &ProgrammeId, pack: PathBuf) -> sqlx::Result<()> {
    let failed = |fault: PackFault| sqlx::Error::Decode(Box::new(fault));
    let mut locks = sql::others::Locks::default();
    locks.of_programme(programme);
    sql::others::lock(link, &locks).await?;
    let mut of_records = Zipped::open(&pack).map_err(failed)?;
    let mut of_checkpoints = of_records.again().map_err(failed)?;
    let mut records = of_records.lines(RECORDS).map_err(failed)?;
    let mut checkpoints = of_checkpoints.lines(CHECKPOINTS).map_err(failed)?;
    let mut written = 0;
    while let Some(made) = checkpoints.json::<CheckpointLine>().map_err(failed)? {
        let mut rows = Vec::new();
        while written < made.size {
            let text = records.next().map_err(failed)?.ok_or_else(|| failed(PackFault::Count))?;
            let seq = written + 1;
            let entry = Entry::from_json(text)
                .map_err(|source| failed(PackFault::Record { seq, source }))?;
            if written == 0 {
                sql::ledger::insert_programme(link, programme, entry.at).await?;
            }
            rows.push(Row { entry, text: text.to_owned(), leaf: leaf_hash(text.as_bytes()) });
            written = seq;
        }
        sql::ledger::insert(link, &rows.iter().collect::<Vec<_>>()).await?;
        let name = programme.as_str();
        sql::ledger::insert_checkpoint(link, name, made.size, made.root.bytes()).await?;
        if let (Some(key), Some(signature)) = (made.key, made.signature) {
            let signature = super::check::signature_from_hex(&signature)
                .ok_or_else(|| failed(PackFault::Count))?;
            let signed = Signed {
                programme: programme.clone(),
                size: made.size,
                public_key: *key.bytes(),
                signature,
            };
            sql::ledger::insert_signatures(link, &[signed]).await?;
        }
    }
    Ok(())
}

/// Whether a file looks like a pack rather than a document: by its first bytes.
pub fn looks_like_a_pack(file: &Path) -> bool {
    let mut first = [0; 4];
    File::open(file)
        .and_then(|mut file| std::io::Read::read_exact(&mut file, &mut first))
        .is_ok_and(|()| first == *b"PK\x03\x04")
}
