//! What every handler works with: the store, the clock, tokens, secrets and how often things may be tried.

use std::future::{Ready, ready};
use std::net::{IpAddr, Ipv4Addr};
use std::ops::Deref;
use std::sync::Arc;

use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest};
use chrono::{DateTime, Utc};
use programme::codes::PersonHandle;
use store::{Store, WriteError};
use tokio::sync::Semaphore;

use crate::boards::Boards;
use crate::clock::Clock;
use crate::ending::Ending;
use crate::evidence::Orders;
use crate::kept::KeptViews;
use crate::live::Listeners;
use crate::metrics::Metrics;
use crate::pace::Attempts;
use crate::problem::{FAULT, Problem};
use crate::secrets::Secrets;
use crate::settings::Settings;
use crate::token::Tokens;

/// Work on recordings that goes on at the same time; each may need about a hundred megabytes.
const HEAVY_AT_ONCE: usize = 2;

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
    pub past: Semaphore,
    /// Work on recordings that may go on at the same time.
    pub heavy: Arc<Semaphore>,
    /// Views that were made and still hold.
    pub views: KeptViews,
    /// The holds of whole ladders.
    pub boards: Boards,
    /// Who hears of records while they are made.
    pub listeners: Arc<Listeners>,
    /// Packs and papers that are ordered, being made, or made.
    pub evidence: Orders,
    /// What is counted of the service.
    pub metrics: Metrics,
    /// Whether the program was told to end.
    pub ending: Ending,
}

impl Office {
    /// Makes the secrets where there are none yet.
    pub async fn open(store: Store, settings: Settings, clock: Clock) -> Result<Self, WriteError> {
        let now = clock.now();
        let access = store.secret("access-token", now).await?;
        let refresh = store.secret("refresh-token", now).await?;
        let metrics = Metrics::begun_at(now, settings.version);
        let tokens = Tokens::new(access.bytes(), refresh.bytes(), settings.access_token_lasts);
        Ok(Self(Arc::new(Shared {
            tokens,
            secrets: Secrets::new(settings.hashes_at_once, metrics.secrets.clone()),
            by_address: Attempts::new(settings.attempts_per_address),
            by_account: Attempts::new(settings.attempts_per_account),
            by_signer: Attempts::new(settings.attempts_per_account),
            past: Semaphore::new(settings.past_reads_at_once.max(1)),
            heavy: Arc::new(Semaphore::new(HEAVY_AT_ONCE)),
            views: KeptViews::default(),
            boards: Boards::default(),
            listeners: Arc::default(),
            evidence: Orders::of(&store),
            metrics,
            ending: Ending::default(),
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
        let forwarded = self
            .settings
            .behind_proxy
            .then(|| request.connection_info().realip_remote_addr()?.parse().ok())
            .flatten();
        forwarded
            .or_else(|| request.peer_addr().map(|peer| peer.ip()))
            .unwrap_or(IpAddr::V4(Ipv4Addr::UNSPECIFIED))
    }
}

impl Deref for Office {
    type Target = Shared;

    fn deref(&self) -> &Shared {
        &self.0
    }
}

/// The office as a request finds it.
pub(crate) fn office_of(request: &HttpRequest) -> Result<&Office, Problem> {
    request.app_data::<Office>().ok_or_else(|| {
        Problem::new(FAULT, "The service was put together wrongly. Tell whoever runs it.")
    })
}

impl FromRequest for Office {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(office_of(request).cloned())
    }
}
