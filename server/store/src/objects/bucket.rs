//! Recordings in a bucket of an object store of the S3 type, each under its digest.
//!
//! Everything here waits for the network: call it where a thread may wait.

use std::collections::VecDeque;
use std::io::{self, Read};
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};
use std::time::{Duration, Instant};

use bytes::Bytes;
use object_store::aws::AmazonS3;
use object_store::multipart::MultipartStore as _;
use object_store::path::Path as Key;
use object_store::{Error as StoreError, ObjectMeta, ObjectStoreExt as _, PutPayload};
use parking_lot::Mutex;
use programme::record::Digest;
use sha2::{Digest as _, Sha256};

use super::away::{Away, AwayError};
use super::connecting::connected;
use super::engine::{Ended, Engine};
use super::near::{Lately, Near};
use super::place::BucketUrl;
use super::{ObjectError, name_of};

/// Bytes of a part. The least that stores take is 5 MiB, and the most parts are 10 000, so that any file fits that is taken in.
const PART: u64 = 8 << 20;

/// Bytes of it that are read at a time: what is larger is not given back soon by the allocator where another thread is done with it.
const PIECE: u64 = 64 * 1024;

/// Parts that are on their way at once.
const PARTS_AT_ONCE: usize = 3;

/// A file up to this size is put as one.
const WHOLE_UP_TO: u64 = 2 * PART;

/// How long it counts as reached after it has answered.
const ANSWERED_LATELY: Duration = Duration::from_secs(5);

/// How long it counts as away after it has not.
const FAILED_LATELY: Duration = Duration::from_secs(1);

/// Files in a bucket. Clones lead to the same one.
#[derive(Clone)]
pub(crate) struct Bucket(Arc<Inner>);

struct Inner {
    url: BucketUrl,
    store: Arc<AmazonS3>,
    engine: Engine,
    stands: Mutex<Stands>,
    /// Parts of the files that were read last, and where they are kept.
    lately: Lately,
    near_in: OnceLock<PathBuf>,
    /// Held by whoever looks whether it is there, so that many who wonder ask once.
    looking: Mutex<()>,
}

/// What the last call came to.
#[derive(Debug, Default)]
struct Stands {
    answered: Option<Instant>,
    away: Option<(Instant, Away)>,
}

impl Stands {
    /// What is known, where that is of the last seconds.
    fn lately(&self) -> Option<Result<(), Away>> {
        match &self.away {
            Some((at, away)) => (at.elapsed() < FAILED_LATELY).then(|| Err(away.clone())),
            None => {
                self.answered.is_some_and(|at| at.elapsed() < ANSWERED_LATELY).then_some(Ok(()))
            }
        }
    }
}

/// The name of an upload in parts.
pub(super) type UploadId = String;

/// Hears of an upload in parts, and that there is none any more.
pub(super) type InParts<'a> = dyn FnMut(Option<&UploadId>) -> io::Result<()> + 'a;

impl std::fmt::Debug for Bucket {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Bucket({})", self.0.url)
    }
}

impl Bucket {
    /// Gets ready to speak with the store that the environment tells of. Nothing is asked of it yet.
    ///
    /// # Errors
    ///
    /// [`ObjectError::NotSet`], where the environment does not tell how to.
    pub fn of_the_environment(url: &BucketUrl) -> Result<Self, ObjectError> {
        let store = Arc::new(connected(url)?);
        let engine = Engine::begin()?;
        Ok(Self(Arc::new(Inner {
            url: url.clone(),
            store,
            engine,
            stands: Mutex::default(),
            lately: Lately::default(),
            near_in: OnceLock::new(),
            looking: Mutex::default(),
        })))
    }

    /// Names the folder in which parts are kept that may be read again; without one they are fetched each time.
    pub fn keeps_near_in(&self, folder: &Path) {
        // The first that was named stays.
        let _ = self.0.near_in.set(folder.to_owned());
    }

    /// What is kept of a file that is about to be read.
    pub(super) fn near(
        &self,
        digest: &Digest,
        found: &ObjectMeta,
    ) -> io::Result<Option<Arc<Near>>> {
        let version = (digest.clone(), found.last_modified, found.size);
        let folder = self.0.near_in.get();
        folder.map(|folder| self.0.lately.of(folder, version)).transpose()
    }

    /// Which it is.
    pub fn url(&self) -> &BucketUrl {
        &self.0.url
    }

    fn key(&self, digest: &Digest) -> Key {
        self.0.url.key(&name_of(digest))
    }

    /// Asks the store something, and notes whether it answered.
    fn ask<T: Send + 'static, W>(
        &self,
        work: impl FnOnce(Arc<AmazonS3>) -> W,
    ) -> Result<T, AwayError>
    where
        W: Future<Output = Result<T, StoreError>> + Send + 'static,
    {
        let work = work(Arc::clone(&self.0.store));
        self.noted(self.0.engine.run(work))
    }

    fn noted<T>(&self, answer: Result<Result<T, StoreError>, Ended>) -> Result<T, AwayError> {
        let answer = match answer {
            Ok(Ok(answer)) => Ok(answer),
            Ok(Err(error)) => Err(AwayError::of(error)),
            Err(ended) => Err(AwayError::Away(Away::of(ended))),
        };
        let away = match &answer {
            Ok(_) | Err(AwayError::NoSuchObject) => None,
            Err(AwayError::Away(away)) => Some(away.clone()),
        };
        let mut stands = self.0.stands.lock();
        match (&stands.away, &away) {
            (None, Some(away)) => tracing::error!(
                error = away as &dyn std::error::Error,
                "the recordings in {} cannot be reached; everything else goes on",
                self.0.url
            ),
            (Some(_), None) => {
                tracing::info!("the recordings in {} can be reached again", self.0.url);
            }
            (None, None) | (Some(_), Some(_)) => {}
        }
        if away.is_none() {
            stands.answered = Some(Instant::now());
        }
        stands.away = away.map(|away| (Instant::now(), away));
        answer
    }

    fn refused(&self, error: AwayError, digest: &Digest) -> ObjectError {
        match error {
            AwayError::NoSuchObject => ObjectError::Missing { digest: digest.clone() },
            AwayError::Away(why) => ObjectError::Away { place: self.0.url.clone(), why },
        }
    }

    /// Whether the store answers. It is asked unless that is known of the last seconds.
    ///
    /// # Errors
    ///
    /// [`ObjectError::Away`], where it does not.
    pub fn reach(&self) -> Result<(), ObjectError> {
        let away = |why| ObjectError::Away { place: self.0.url.clone(), why };
        let _looking = self.0.looking.lock();
        let known = self.0.stands.lock().lately();
        if let Some(known) = known {
            return known.map_err(away);
        }
        self.look().map_err(away)
    }

    /// Asks the store whether it is there.
    fn look(&self) -> Result<(), Away> {
        // Of a question for an object's head nothing is told but that there is none, also where there is no bucket.
        let key = self.0.url.key("is-it-there");
        match self.ask(|store| async move { store.get_range(&key, 0..1).await }) {
            Ok(_) | Err(AwayError::NoSuchObject) => Ok(()),
            Err(AwayError::Away(why)) => Err(why),
        }
    }

    /// What the store says of a file; none where there is none of that digest.
    pub fn found(&self, digest: &Digest) -> Result<Option<ObjectMeta>, ObjectError> {
        let key = self.key(digest);
        match self.ask(|store| async move { store.head(&key).await }) {
            Ok(found) => Ok(Some(found)),
            Err(AwayError::NoSuchObject) => {
                let looked = self.look().map(|()| None);
                looked.map_err(|why| ObjectError::Away { place: self.0.url.clone(), why })
            }
            Err(error) => Err(self.refused(error, digest)),
        }
    }

    /// A part of a file.
    pub fn part(&self, digest: &Digest, part: Range<u64>) -> Result<Bytes, ObjectError> {
        if part.is_empty() {
            return Ok(Bytes::new());
        }
        let key = self.key(digest);
        self.ask(|store| async move { store.get_range(&key, part).await })
            .map_err(|error| self.refused(error, digest))
    }

    /// Puts a file of so many bytes under its digest, where that is what comes; gives the digest of what came. Where it fails
    /// nothing is left there. `in_parts` hears of an upload in parts before the first of them is sent, and that it was removed
    /// again; what it could not be told of is still there.
    pub fn put(
        &self,
        digest: &Digest,
        from: &mut dyn Read,
        bytes: u64,
        in_parts: &mut InParts<'_>,
    ) -> Result<Digest, ObjectError> {
        if bytes > WHOLE_UP_TO {
            return self.put_in_parts(digest, from, in_parts);
        }
        let mut hash = Sha256::new();
        let payload = read(from, WHOLE_UP_TO, &mut hash)?;
        let computed = Digest::from_bytes(hash.finalize().into());
        if computed == *digest {
            let key = self.key(digest);
            self.ask(|store| async move { store.put(&key, payload).await })
                .map_err(|error| self.refused(error, digest))?;
        }
        Ok(computed)
    }

    fn put_in_parts(
        &self,
        digest: &Digest,
        from: &mut dyn Read,
        in_parts: &mut InParts<'_>,
    ) -> Result<Digest, ObjectError> {
        let key = self.key(digest);
        let id = self
            .ask(|store| async move { store.create_multipart(&key).await })
            .map_err(|error| self.refused(error, digest))?;
        let sent = match in_parts(Some(&id)) {
            Ok(()) => self.send_parts(digest, &id, from),
            Err(error) => Err(error.into()),
        };
        if matches!(&sent, Ok(computed) if computed == digest) {
            return sent;
        }
        match self.abandon(digest, &id) {
            Ok(()) => in_parts(None)?,
            Err(error) => tracing::warn!(
                error = &error as &dyn std::error::Error,
                "an upload to {} that broke off could not be removed there",
                self.0.url
            ),
        }
        sent
    }

    /// Sends a file part by part, and has them put together where they are what they should be.
    fn send_parts(
        &self,
        digest: &Digest,
        id: &UploadId,
        from: &mut dyn Read,
    ) -> Result<Digest, ObjectError> {
        let mut hash = Sha256::new();
        let mut underway = VecDeque::new();
        let mut stored = Vec::new();
        for number in 0.. {
            let part = read(from, PART, &mut hash)?;
            if part.content_length() == 0 {
                break;
            }
            let (store, key, id) = (Arc::clone(&self.0.store), self.key(digest), id.clone());
            underway.push_back(
                self.0.engine.start(async move { store.put_part(&key, &id, number, part).await }),
            );
            if underway.len() >= PARTS_AT_ONCE
                && let Some(first) = underway.pop_front()
            {
                stored.push(self.noted(first.wait()).map_err(|it| self.refused(it, digest))?);
            }
        }
        for part in underway {
            stored.push(self.noted(part.wait()).map_err(|it| self.refused(it, digest))?);
        }
        let computed = Digest::from_bytes(hash.finalize().into());
        if computed == *digest {
            let (key, id) = (self.key(digest), id.clone());
            self.ask(|store| async move { store.complete_multipart(&key, &id, stored).await })
                .map_err(|error| self.refused(error, digest))?;
        }
        Ok(computed)
    }

    /// Removes what was sent of a file whose upload broke off.
    pub fn abandon(&self, digest: &Digest, id: &UploadId) -> Result<(), ObjectError> {
        let (key, id) = (self.key(digest), id.clone());
        match self.ask(|store| async move { store.abort_multipart(&key, &id).await }) {
            // It is gone, or put together.
            Ok(()) | Err(AwayError::NoSuchObject) => Ok(()),
            Err(error) => Err(self.refused(error, digest)),
        }
    }

    /// Removes a file.
    pub fn remove(&self, digest: &Digest) -> Result<(), ObjectError> {
        let key = self.key(digest);
        match self.ask(|store| async move { store.delete(&key).await }) {
            Ok(()) | Err(AwayError::NoSuchObject) => Ok(()),
            Err(error) => Err(self.refused(error, digest)),
        }
    }
}

/// Reads so many bytes, or as many as there are.
fn read(from: &mut dyn Read, most: u64, hash: &mut Sha256) -> io::Result<PutPayload> {
    let mut pieces: Vec<Bytes> = Vec::new();
    let mut left = most;
    while left > 0 {
        let mut piece = Vec::with_capacity(PIECE as usize);
        let read = from.take(PIECE.min(left)).read_to_end(&mut piece)?;
        if read == 0 {
            break;
        }
        left -= read as u64;
        hash.update(&piece);
        pieces.push(piece.into());
    }
    Ok(pieces.into_iter().collect())
}
