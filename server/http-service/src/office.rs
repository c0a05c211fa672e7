//! What every handler works with: the store, the clock, tokens, secrets and how often things may be tried; and what the houses
//! of a process have in common.

use std::future::{Ready, ready};
use std::net::{IpAddr, Ipv4Addr};
use std::ops::Deref;
use std::sync::Arc;

use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest};
use chrono::{DateTime, Utc};
use maud::Markup;
use programme::codes::{PersonHandle, ProgrammeId};
use store::{BackupWatch, Store, WriteError};

use crate::boards::Boards;
use crate::clock::Clock;
use crate::desk::Shown;
use crate::ending::Ending;
use crate::evidence::Orders;
use crate::forwarded;
use crate::host_name::HostName;
use crate::houses::{Houses, Organisation};
use crate::kept::{Kept, Whose};
use crate::live::Listeners;
use crate::metrics::Metrics;
use crate::pace::Attempts;
use crate::problem::{FAULT, Problem};
use crate::secrets::Secrets;
use crate::settings::Settings;
use crate::token::Tokens;
use crate::turns::Turns;

/// Work on recordings that goes on at the same time; each may need about a hundred megabytes.
const HEAVY_AT_ONCE: usize = 2;

/// Evidence that is made at the same time.
const MADE_AT_ONCE: usize = 1;

/// So many views of points are kept; each has some ten thousand bytes.
const VIEWS: usize = 512;

/// So many ladders are kept; each has some tens of thousands of bytes.
const LADDERS: usize = 32;

/// What all houses of a process share, so that what they take together stays bounded however many they are.
#[derive(Clone)]
pub(crate) struct Premises {
    pub settings: Settings,
    pub clock: Clock,
    /// What is counted of all of them together.
    pub metrics: Arc<Metrics>,
    /// Whether the program was told to end.
    pub ending: Arc<Ending>,
    hashing: Turns,
    past: Turns,
    heavy: Turns,
    making: Turns,
}

impl Premises {
    /// Without a house yet.
    pub fn new(settings: Settings, clock: Clock) -> Self {
        Self {
            metrics: Arc::new(Metrics::begun_at(clock.now(), settings.version)),
            ending: Arc::default(),
            hashing: Turns::new(settings.hashes_at_once),
            past: Turns::new(settings.past_reads_at_once),
            heavy: Turns::new(HEAVY_AT_ONCE),
            making: Turns::new(MADE_AT_ONCE),
            settings,
            clock,
        }
    }
}

/// A handle to what all handlers share.
#[derive(Clone)]
pub(crate) struct Office(Arc<Shared>);

/// What all handlers share.
pub(crate) struct Shared {
    pub store: Store,
    pub clock: Clock,
    pub settings: Settings,
    pub tokens: Tokens,
    pub secrets: Secrets,
    /// Attempts to sign in or refresh, by address.
    pub by_address: Attempts<IpAddr>,
    /// Attempts to sign in, by account and address, so that nobody can keep another out of their account.
    pub by_account: Attempts<(String, IpAddr)>,
    /// Attempts to sign with a secret, by person.
    pub by_signer: Attempts<PersonHandle>,
    /// Reads of the past that may go on at the same time.
    pub past: Turns,
    /// Work on recordings that may go on at the same time.
    pub heavy: Turns,
    /// Evidence that may be made at the same time.
    pub making: Turns,
    /// Views of points that were made and still hold.
    pub views: Kept<Whose, Shown>,
    /// Ladders that were drawn and still hold, as pictures and as lists.
    pub ladders: Kept<(ProgrammeId, bool), Markup>,
    /// The holds of whole ladders.
    pub boards: Boards,
    /// Who hears of records while they are made.
    pub listeners: Arc<Listeners>,
    /// Packs and papers that are ordered, being made, or made.
    pub evidence: Orders,
    /// What is counted of the service.
    pub metrics: Arc<Metrics>,
    /// Whether the program was told to end.
    pub ending: Arc<Ending>,
    /// The host of the organisation whose house it is; none where there is one house alone.
    pub host: Option<HostName>,
    /// What the organisation is called where people sign in.
    pub organisation: Option<String>,
    /// How the backup gets on that is kept up beside; none where none is.
    pub backup: Option<BackupWatch>,
}

impl Office {
    /// One house that is there for whoever asks. The secrets are made where there are none yet.
    pub async fn alone(premises: &Premises, store: Store) -> Result<Self, WriteError> {
        let backup = premises.settings.backup.clone();
        Self::open(premises, store, backup, None, None).await
    }

    /// The house of an organisation among others. The secrets are made where there are none yet.
    pub async fn of(premises: &Premises, of: Organisation) -> Result<Self, WriteError> {
        Self::open(premises, of.store, of.backup, Some(of.host), of.name).await
    }

    async fn open(
        premises: &Premises,
        store: Store,
        backup: Option<BackupWatch>,
        host: Option<HostName>,
        organisation: Option<String>,
    ) -> Result<Self, WriteError> {
        let Premises { settings, clock, metrics, ending, hashing, past, heavy, making } =
            premises.clone();
        let now = clock.now();
        let access = store.secret("access-token", now).await?;
        let refresh = store.secret("refresh-token", now).await?;
        let tokens = Tokens::new(access.bytes(), refresh.bytes(), settings.access_token_lasts);
        let heard = Arc::clone(&metrics);
        store.watch_transactions(move |transaction| heard.committed(transaction));
        Ok(Self(Arc::new(Shared {
            tokens,
            secrets: Secrets::new(hashing.of_another_house(), metrics.secrets.clone()),
            by_address: Attempts::new(settings.attempts_per_address),
            by_account: Attempts::new(settings.attempts_per_account),
            by_signer: Attempts::new(settings.attempts_per_account),
            past: past.of_another_house(),
            heavy: heavy.of_another_house(),
            making: making.of_another_house(),
            views: Kept::at_most(VIEWS),
            ladders: Kept::at_most(LADDERS),
            boards: Boards::default(),
            listeners: Arc::default(),
            evidence: Orders::of(&store),
            metrics,
            ending,
            host,
            organisation,
            backup,
            store,
            clock,
            settings,
        })))
    }

    /// What time it is.
    pub fn now(&self) -> DateTime<Utc> {
        self.clock.now()
    }

    /// From which address somebody asks.
    pub fn address(&self, request: &HttpRequest) -> IpAddr {
        let told = self.settings.behind_proxy.then(|| forwarded::address(request)).flatten();
        told.or_else(|| request.peer_addr().map(|peer| peer.ip()))
            .unwrap_or(IpAddr::V4(Ipv4Addr::UNSPECIFIED))
    }
}

impl Deref for Office {
    type Target = Shared;

    fn deref(&self) -> &Shared {
        &self.0
    }
}

/// The office of the house that a request is for.
pub(crate) fn office_of(request: &HttpRequest) -> Result<&Office, Problem> {
    let houses = request.app_data::<Houses>().ok_or_else(|| {
        Problem::new(FAULT, "The service was put together wrongly. Tell whoever runs it.")
    })?;
    houses.of(request)
}

impl FromRequest for Office {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(office_of(request).cloned())
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use futures_util::FutureExt as _;

    use super::*;

    /// Two houses of one process, and the folders that they are in.
    async fn two_houses() -> ([Office; 2], [tempfile::TempDir; 2]) {
        let begins = "2026-05-02T08:00:00Z".parse().unwrap();
        let clock = Clock::that(move || begins);
        let premises = Premises::new(Settings { hashes_at_once: 1, ..Settings::default() }, clock);
        let folders = [(); 2].map(|()| tempfile::tempdir().unwrap());
        let mut offices = Vec::new();
        for (host, folder) in ["north.example.org", "south.example.org"].iter().zip(&folders) {
            let store = Store::open(folder.path()).await.unwrap();
            let host = host.parse().unwrap();
            let house = Organisation { host, name: None, store, backup: None };
            offices.push(Office::of(&premises, house).await.unwrap());
        }
        (offices.try_into().ok().unwrap(), folders)
    }

    #[actix_web::test]
    async fn what_costs_much_is_bounded_for_all_houses_of_a_process_together() {
        let ([north, south], _folders) = two_houses().await;
        for (name, of_north, of_south, at_once) in [
            ("recordings", &north.heavy, &south.heavy, HEAVY_AT_ONCE),
            ("evidence", &north.making, &south.making, MADE_AT_ONCE),
            ("the past", &north.past, &south.past, north.settings.past_reads_at_once),
        ] {
            let mut taken = Vec::new();
            for _ in 0..at_once {
                taken.push(of_north.turn().now_or_never().unwrap().unwrap());
            }
            assert!(of_south.turn().now_or_never().is_none(), "{name}");
            taken.pop();
            assert!(of_south.turn().now_or_never().is_some(), "{name}");
        }
        let turn = north.secrets.a_turn().await;
        let handle = PersonHandle::new("ada").unwrap();
        let hashes = south.secrets.is_password(&south.store, &handle, "a guess".to_owned());
        let mut hashes = Box::pin(hashes);
        assert!(hashes.as_mut().now_or_never().is_none());
        assert_eq!(south.metrics.secrets.waiting.get(), 1);
        drop(turn);
        assert!(!hashes.await.unwrap());
    }

    #[actix_web::test]
    async fn a_token_that_a_worker_verified_for_one_house_is_not_known_in_another() {
        let ([north, south], _folders) = two_houses().await;
        let handle = PersonHandle::new("ada").unwrap();
        let session = uuid::Uuid::from_u128(7);
        let token = north.tokens.issue(&handle, session, north.now()).unwrap().token;
        let verified = crate::token::Verified::default();
        let verify = |office: &Office| verified.verify(&office.tokens, &token, office.now());
        for _ in 0..2 {
            assert_eq!(verify(&north).unwrap().handle, handle);
            assert_eq!(verify(&south).unwrap_err().code(), "token-refused");
        }
    }
}
