//! Opening a store: take the lock, bring the tables up to date, fold every programme.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::io;
use std::path::Path;
use std::sync::Arc;

use parking_lot::RwLock;
use programme::codes::ProgrammeId;
use programme::record::{Digest, PublicKey};
use sqlx::SqliteConnection;
use sqlx::migrate::MigrateError;
use tokio::sync::{broadcast, mpsc};

use crate::data_dir::{DataDir, DataDirError};
use crate::fence::{self, CopyFound, Fence, Marks};
use crate::files;
use crate::health::Health;
use crate::notary::{self, Notary};
use crate::objects::{ObjectError, Objects};
use crate::published::{Head, Published};
use crate::replay::{Look, replay};
use crate::secret;
use crate::session::SignIns;
use crate::sqlite;
use crate::store::{Shared, Store};
use crate::verify::{FirstFailure, Wrong};
use crate::writer::{WAITING, Writer};

/// News kept for those who listen slowly.
const NEWS_KEPT: usize = 1024;

/// A store that cannot be opened.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// The directory cannot be used.
    #[error(transparent)]
    DataDir(#[from] DataDirError),
    /// The database was written by a newer program.
    #[error("the database was written by a newer version of the program; use that one")]
    Newer(#[source] MigrateError),
    /// The tables cannot be brought up to date.
    #[error("the database's tables cannot be brought up to date")]
    Migration(#[source] MigrateError),
    /// The database cannot be read.
    #[error("the database cannot be read")]
    Database(#[from] sqlx::Error),
    /// The ledger was altered.
    #[error(
        "the ledger of programme \"{programme}\" fails its check; restore a backup that passes it"
    )]
    Damaged {
        /// Which programme.
        programme: String,
        /// The first record that fails, and how.
        #[source]
        failure: FirstFailure,
    },
    /// The files that records speak of cannot be used.
    #[error("the recordings cannot be used")]
    Objects(#[from] ObjectError),
    /// The file that tells how far the ledgers had come cannot be used.
    #[error("the file that tells how far the ledgers had come cannot be used")]
    Fence(#[source] io::Error),
    /// The system gives no thread to write on.
    #[error("the system gives no thread for the writer")]
    NoThread(#[source] io::Error),
}

impl Store {
    /// Opens the store in a directory, which is made where it does not exist, and folds every programme's records. Each
    /// record's hash is computed again on the way, and the root held against the last checkpoint.
    ///
    /// Call it inside a tokio runtime; the store then serves any number of them.
    ///
    /// # Errors
    ///
    /// [`OpenError`], also where another process has the directory or a record was altered.
    pub async fn open(data_dir: &Path) -> Result<Self, OpenError> {
        let place = DataDir::open(data_dir)?;
        let database = place.database();
        let objects = Objects::open(data_dir)?;
        let mut connection = sqlite::connect_to_write(&database).await?;
        sqlite::migrate(&mut connection).await.map_err(|error| match error {
            MigrateError::VersionMissing(_) | MigrateError::VersionMismatch(_) => {
                OpenError::Newer(error)
            }
            other => OpenError::Migration(other),
        })?;
        let (programmes, named) = load_programmes(&mut connection).await?;
        // Every programme was read to its end, so that what no record speaks of is known. Nothing comes in yet.
        let removed = objects.remove_all_but(&named)?;
        if removed > 0 {
            tracing::info!(removed, "{removed} files that no record speaks of were removed");
        }
        let sign_ins = load_sign_ins(&mut connection).await?;
        let notary = open_notary(&mut connection, &programmes).await?;
        let (fence, copies) = open_fence(&mut connection, data_dir, &programmes, &notary).await?;
        sign_what_is_not_signed(&mut connection, &programmes, &notary, &copies).await?;
        let shared = Arc::new(Shared {
            programmes: RwLock::new(programmes),
            sign_ins: RwLock::new(sign_ins),
            secrets: RwLock::new(HashMap::new()),
            health: RwLock::new(Health::default()),
            news: broadcast::channel(NEWS_KEPT).0,
            readers: sqlite::readers(&database),
            objects,
            notary,
            fence,
            copies: RwLock::new(copies),
            place,
        });
        let (jobs, waiting) = mpsc::channel(WAITING);
        let writer = Writer::new(Arc::clone(&shared), connection);
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_time()
            .build()
            .map_err(OpenError::NoThread)?;
        std::thread::Builder::new()
            .name("ledger-writer".to_owned())
            .spawn(move || runtime.block_on(writer.work(waiting)))
            .map_err(OpenError::NoThread)?;
        Ok(Store::new(shared, jobs))
    }
}

/// Programmes by their id.
type Programmes = BTreeMap<ProgrammeId, Arc<RwLock<Published>>>;

/// Every programme, and the digests of all files that its records speak of.
async fn load_programmes(
    connection: &mut SqliteConnection,
) -> Result<(Programmes, HashSet<Digest>), OpenError> {
    let mut programmes = BTreeMap::new();
    let mut named = HashSet::new();
    for name in sqlite::ledger::programmes(connection).await? {
        let damaged = |failure| OpenError::Damaged { programme: name.clone(), failure };
        let Ok(id) = ProgrammeId::new(&name) else {
            return Err(damaged(FirstFailure { seq: 1, wrong: Wrong::NoSuchProgramme }));
        };
        let mut published = Published::default();
        let records = replay(connection, &id, u64::MAX, Look::Quick, |believed| {
            published.state.apply(&believed.entry);
            named.extend(files::named_by(&believed.entry).into_iter().map(|file| file.digest));
            published.tree.push(believed.leaf);
            Ok(())
        })
        .await?
        .map_err(damaged)?;
        published.take_in(std::iter::empty());
        let (size, root) =
            sqlite::ledger::last_checkpoint(connection, &name).await?.unwrap_or((0, Vec::new()));
        let size = size.unsigned_abs();
        if size > records {
            return Err(damaged(FirstFailure { seq: records + 1, wrong: Wrong::Missing { size } }));
        }
        if size < records {
            return Err(damaged(FirstFailure { seq: size + 1, wrong: Wrong::Uncovered }));
        }
        if size > 0 && root[..] != published.head.root.bytes()[..] {
            let wrong = Wrong::OtherRoot { size, computed: published.head.root };
            return Err(damaged(FirstFailure { seq: 1, wrong }));
        }
        programmes.insert(id, Arc::new(RwLock::new(published)));
    }
    Ok((programmes, named))
}

/// The secrets that sign, and which key signed each ledger first.
async fn open_notary(
    connection: &mut SqliteConnection,
    programmes: &Programmes,
) -> sqlx::Result<Notary> {
    secret::find_or_make(connection, notary::KEY).await?;
    let kept = sqlite::secret::beginning_with(connection, notary::KEY).await?;
    let secrets = kept.iter().map(|bytes| sqlite::hash(bytes)).collect::<Result<Vec<_>, _>>()?;
    let notary = Notary::new(&secrets);
    for id in programmes.keys() {
        let keys = sqlite::ledger::public_keys(connection, id.as_str()).await?;
        if let Some(first) = keys.first() {
            notary.signed_first_by(id, PublicKey::from_bytes(sqlite::hash(first)?));
        }
    }
    Ok(notary)
}

/// Holds the ledgers against how far they are known to have come: which of them go on from copies.
async fn open_fence(
    connection: &mut SqliteConnection,
    data_dir: &Path,
    programmes: &Programmes,
    notary: &Notary,
) -> Result<(Fence, HashMap<ProgrammeId, CopyFound>), OpenError> {
    let (secret, made) = secret::find_or_make_new(connection, fence::PLACE).await?;
    let place = fence::place_of(&secret);
    let before = Marks::read(data_dir).map_err(OpenError::Fence)?;
    // A database that has never been in a folder with this file is no copy; it may be from before there was such a file.
    let strange = before.as_ref().map_or(!made, |marks| marks.place != place);
    let before = before.unwrap_or_default();
    let mut marks = Marks { place, ..before.clone() };
    if strange {
        // What another database had is no concern of this one.
        marks.heads.retain(|name, _| programmes.keys().any(|id| id.as_str() == name));
    }
    let mut copies = HashMap::new();
    for (id, published) in programmes {
        let published = published.read();
        let name = id.as_str();
        let stands = |head: &Head| published.tree.root_at(head.size) == Some(head.root);
        let known = before.heads.get(name).copied();
        let waiting = before.copies.get(name).copied();
        let keyless = !notary.has(notary.key_of(id, &published.state));
        let found = match waiting {
            Some(found) if stands(&found.head) => Some(found),
            _ if strange
                || keyless
                || waiting.is_some()
                || known.is_some_and(|it| !stands(&it)) =>
            {
                let known = known.map(|head| head.size).filter(|size| *size > published.head.size);
                Some(CopyFound { head: published.head, known })
            }
            _ => None,
        };
        let acknowledged = |found: &CopyFound| {
            published.state.keeping.is_acknowledged(found.head.size, found.head.root)
        };
        match found.filter(|found| !acknowledged(found)) {
            Some(found) => {
                tracing::warn!(
                    programme = name,
                    records = found.head.size,
                    known = found.known,
                    "the ledger of {name} goes on from a copy: nobody signs in it until test lead and safety officer have acknowledged that"
                );
                marks.copies.insert(name.to_owned(), found);
                copies.insert(id.clone(), found);
            }
            None => {
                marks.copies.remove(name);
                marks.heads.insert(name.to_owned(), published.head);
            }
        }
    }
    let fence = Fence::open(data_dir, marks).map_err(OpenError::Fence)?;
    Ok((fence, copies))
}

/// A ledger from before there were keys is signed as it stands.
async fn sign_what_is_not_signed(
    connection: &mut SqliteConnection,
    programmes: &BTreeMap<ProgrammeId, Arc<RwLock<Published>>>,
    notary: &Notary,
    copies: &HashMap<ProgrammeId, CopyFound>,
) -> sqlx::Result<()> {
    for (id, published) in programmes.iter().filter(|(id, _)| !copies.contains_key(*id)) {
        if sqlite::ledger::signature(connection, id.as_str(), None).await?.is_some() {
            continue;
        }
        let signed = {
            let published = published.read();
            let key = notary.key_of(id, &published.state);
            published
                .tree
                .leaf(0)
                .and_then(|first| notary.sign_head(id, &first, published.head, key))
        };
        if let Some(signed) = signed {
            sqlite::ledger::insert_signatures(connection, &[signed]).await?;
        }
    }
    Ok(())
}

async fn load_sign_ins(connection: &mut SqliteConnection) -> sqlx::Result<SignIns> {
    let accounts = sqlite::account::all(connection).await?;
    let sessions = sqlite::session::standing(connection).await?;
    Ok(SignIns {
        accounts: accounts.into_iter().map(|account| (account.handle.clone(), account)).collect(),
        sessions: sessions.into_iter().collect(),
    })
}
