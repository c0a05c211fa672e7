//! Opening a store: take the lock, bring the tables up to date, fold every programme.

mod copies;

use std::collections::{BTreeMap, HashMap, HashSet};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Weak};

use parking_lot::RwLock;
use programme::codes::ProgrammeId;
use programme::record::{Digest, PublicKey};
use sqlx::Connection as _;
use sqlx::migrate::MigrateError;
use tokio::sync::{broadcast, mpsc};
use uuid::Uuid;

use crate::alone::Alone;
use crate::among::Among;
use crate::catch_up;
use crate::data_dir::{DataDir, DataDirError};
use crate::fence::{self, CopyFound};
use crate::files;
use crate::health::Health;
use crate::notary::{self, Notary};
use crate::objects::{FilesAt, ObjectError, Objects};
use crate::published::Published;
use crate::replay::{Look, replay};
use crate::secret;
use crate::sql;
use crate::sql::{Link, Readers};
use crate::store::{Shared, Store};
use crate::verify::{FirstFailure, Wrong};
use crate::watch::Watch;
use crate::watched::Watcher;
use crate::whereabouts::{DatabaseUrl, Whereabouts};
use crate::writer::{Hand, Job, WAITING, Writer};
use copies::{open_fence, open_fence_among_others};

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
    /// The database cannot be reached.
    #[error(
        "{database} cannot be reached; look whether it runs, whether host, name, user and password are right, and whether it speaks TLS, which is asked for on another machine unless the URL says sslmode=disable"
    )]
    Unreachable {
        /// Which, without a password.
        database: String,
        /// Why.
        #[source]
        source: sqlx::Error,
    },
    /// The database keeps texts in another form.
    #[error(
        "the database keeps texts as {encoding}, in which not every record can be kept; make one with ENCODING 'UTF8'"
    )]
    Encoding {
        /// Which.
        encoding: String,
    },
    /// The directory is that of another database.
    #[error(
        "{path} has seen another database than this one (rungbook.fence); name a new or empty directory for this one, or the database that it belongs to"
    )]
    OtherFolder {
        /// The directory.
        path: PathBuf,
    },
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
        Self::open_alone(&data_dir.into()).await
    }

    async fn open_alone(whereabouts: &Whereabouts) -> Result<Self, OpenError> {
        let data_dir = whereabouts.data.as_path();
        let files = FilesAt::to_open(whereabouts)?;
        let place = DataDir::open(data_dir)?;
        let database = place.database();
        let objects = Objects::open(whereabouts, files)?;
        let mut connection = sql::sqlite::connect_to_write(&database).await?;
        let mut link = Link::Sqlite(&mut connection);
        migrate(&mut link).await?;
        let (programmes, named) = load_programmes(&mut link).await?;
        // Every programme was read to its end, so that what no record speaks of is known. Nothing comes in yet.
        if !objects.are_in_a_bucket() {
            remove_unnamed(&objects, &named)?;
        }
        let sign_ins = catch_up::load_sign_ins(&mut link).await?;
        secret::find_or_make(&mut link, notary::KEY).await?;
        let notary = open_notary(&mut link, &programmes).await?;
        let (fence, copies) = open_fence(&mut link, data_dir, &programmes, &notary).await?;
        // Records that an older copy has lost may speak of what is in a bucket.
        if objects.are_in_a_bucket() && copies.is_empty() {
            remove_unnamed(&objects, &named)?;
        }
        sign_what_is_not_signed(&mut link, &programmes, &notary, &copies).await?;
        let shared = Shared {
            programmes: RwLock::new(programmes),
            sign_ins: RwLock::new(sign_ins),
            secrets: RwLock::new(HashMap::new()),
            health: RwLock::new(Health::default()),
            news: broadcast::channel(NEWS_KEPT).0,
            readers: Readers::Sqlite(sql::sqlite::readers(&database)),
            objects,
            notary,
            fence,
            copies: RwLock::new(copies),
            watcher: Watcher::default(),
            place,
        };
        let (store, _, _) = Self::begin(shared, Hand::Alone(Alone::new(connection)))?;
        Ok(store)
    }

    /// Opens the store of a directory and the database that it names, which other servers may have open as well.
    ///
    /// # Errors
    ///
    /// [`OpenError`], also where another process has the directory, the database cannot be reached or a record was altered.
    pub async fn open_at(whereabouts: &Whereabouts) -> Result<Self, OpenError> {
        match &whereabouts.database {
            None => Self::open_alone(whereabouts).await,
            Some(database) => Self::open_among_others(whereabouts, database).await,
        }
    }

    async fn open_among_others(
        whereabouts: &Whereabouts,
        database: &DatabaseUrl,
    ) -> Result<Self, OpenError> {
        let data_dir = whereabouts.data.as_path();
        let files = FilesAt::to_open(whereabouts)?;
        let place = DataDir::open_without_database(data_dir)?;
        let objects = Objects::open(whereabouts, files)?;
        let unreachable =
            |source| OpenError::Unreachable { database: database.to_string(), source };
        let mut postgres = sql::postgres::connect(database.options()).await.map_err(unreachable)?;
        check_settings(sql::postgres::settings(&mut postgres).await?)?;
        let mut link = Link::Postgres(&mut postgres);
        migrate(&mut link).await?;
        let token = secret::find_or_make(&mut link, fence::PLACE).await?;
        secret::find_or_make(&mut link, notary::KEY).await?;
        // Others write on meanwhile. What they do from here on is taken in like everything later.
        sql::others::turn(&mut link, sql::others::LOOK).await?;
        let mut seen = sql::others::changes(&mut link).await?;
        let (programmes, named) = load_programmes(&mut link).await?;
        let sign_ins = catch_up::load_sign_ins(&mut link).await?;
        let notary = open_notary(&mut link, &programmes).await?;
        let noted: HashMap<_, _> = sql::others::copies(&mut link).await?.into_iter().collect();
        sql::others::turn(&mut link, "COMMIT").await?;
        let found = open_fence_among_others(data_dir, &token, &programmes, &notary, noted)?;
        if !found.new.is_empty() {
            note_copies(&mut link, &found.new).await?;
            // So that it is read anew with the first look.
            seen = -1;
        }
        postgres.close().await?;
        // Another server may be writing to the same folder of files, so nothing is removed there.
        if objects.are_in_a_bucket() && found.copies.is_empty() {
            remove_unnamed(&objects, &named)?;
        }
        let me = Uuid::now_v7();
        let watch = Watch::prepare(database.options(), me).map_err(OpenError::NoThread)?;
        let shared = Shared {
            programmes: RwLock::new(programmes),
            sign_ins: RwLock::new(sign_ins),
            secrets: RwLock::new(HashMap::new()),
            health: RwLock::new(Health::default()),
            news: broadcast::channel(NEWS_KEPT).0,
            readers: Readers::Postgres(watch.readers.clone(), watch.thread.clone()),
            objects,
            notary,
            fence: found.fence,
            copies: RwLock::new(found.copies),
            watcher: Watcher::default(),
            place,
        };
        let hand = Hand::Among(Box::new(Among::new(me, database.options().clone(), seen)));
        let (store, shared, jobs) = Self::begin(shared, hand)?;
        watch.begin(shared, jobs);
        Ok(store)
    }

    /// Starts the writer.
    fn begin(
        shared: Shared,
        hand: Hand,
    ) -> Result<(Self, Weak<Shared>, mpsc::WeakSender<Job>), OpenError> {
        let shared = Arc::new(shared);
        let (jobs, waiting) = mpsc::channel(WAITING);
        let writer = Writer::new(Arc::clone(&shared), hand);
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(OpenError::NoThread)?;
        std::thread::Builder::new()
            .name("ledger-writer".to_owned())
            .spawn(move || runtime.block_on(writer.work(waiting)))
            .map_err(OpenError::NoThread)?;
        let weak = (Arc::downgrade(&shared), jobs.downgrade());
        Ok((Store::new(shared, jobs), weak.0, weak.1))
    }
}

fn remove_unnamed(objects: &Objects, named: &HashSet<Digest>) -> Result<(), ObjectError> {
    let removed = objects.remove_all_but(named)?;
    if removed > 0 {
        tracing::info!(removed, "{removed} files that no record speaks of were removed");
    }
    Ok(())
}

async fn migrate(link: &mut Link<'_>) -> Result<(), OpenError> {
    sql::migrate(link).await.map_err(|error| match error {
        MigrateError::VersionMissing(_) | MigrateError::VersionMismatch(_) => {
            OpenError::Newer(error)
        }
        other => OpenError::Migration(other),
    })
}

fn check_settings((encoding, fsync): (String, String)) -> Result<(), OpenError> {
    if encoding != "UTF8" {
        return Err(OpenError::Encoding { encoding });
    }
    if fsync != "on" {
        tracing::warn!(
            "the database does not wait for its disk (fsync is {fsync}): a power cut there may lose what was acknowledged"
        );
    }
    Ok(())
}

async fn note_copies(link: &mut Link<'_>, new: &[(ProgrammeId, CopyFound)]) -> sqlx::Result<()> {
    sql::others::turn(link, "BEGIN").await?;
    sql::others::begin_change(link).await?;
    for (programme, found) in new {
        sql::others::put_copy(link, programme, *found).await?;
    }
    sql::others::turn(link, "COMMIT").await
}

/// Programmes by their id.
type Programmes = BTreeMap<ProgrammeId, Arc<RwLock<Published>>>;

/// Every programme, and the digests of all files that its records speak of.
async fn load_programmes(link: &mut Link<'_>) -> Result<(Programmes, HashSet<Digest>), OpenError> {
    let mut programmes = BTreeMap::new();
    let mut named = HashSet::new();
    for name in sql::ledger::programmes(link).await? {
        let damaged = |failure| OpenError::Damaged { programme: name.clone(), failure };
        let Ok(id) = ProgrammeId::new(&name) else {
            return Err(damaged(FirstFailure { seq: 1, wrong: Wrong::NoSuchProgramme }));
        };
        let mut published = Published::default();
        let records = replay(link, &id, u64::MAX, Look::Quick, |believed| {
            published.state.apply(&believed.entry);
            named.extend(files::named_by(&believed.entry).into_iter().map(|file| file.digest));
            published.tree.push(believed.leaf);
            Ok(())
        })
        .await?
        .map_err(damaged)?;
        published.take_in(std::iter::empty());
        let (size, root) =
            sql::ledger::last_checkpoint(link, &name).await?.unwrap_or((0, Vec::new()));
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
async fn open_notary(link: &mut Link<'_>, programmes: &Programmes) -> sqlx::Result<Notary> {
    let notary = Notary::new(&catch_up::secrets(link).await?);
    for id in programmes.keys() {
        let keys = sql::ledger::public_keys(link, id.as_str()).await?;
        if let Some(first) = keys.first() {
            notary.signed_first_by(id, PublicKey::from_bytes(sql::hash(first)?));
        }
    }
    Ok(notary)
}

/// A ledger from before there were keys is signed as it stands.
async fn sign_what_is_not_signed(
    link: &mut Link<'_>,
    programmes: &BTreeMap<ProgrammeId, Arc<RwLock<Published>>>,
    notary: &Notary,
    copies: &HashMap<ProgrammeId, CopyFound>,
) -> sqlx::Result<()> {
    for (id, published) in programmes.iter().filter(|(id, _)| !copies.contains_key(*id)) {
        let size = published.read().head.size;
        if sql::ledger::signature(link, id.as_str(), size, true).await?.is_some() {
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
            sql::ledger::insert_signatures(link, &[signed]).await?;
        }
    }
    Ok(())
}
