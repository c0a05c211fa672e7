//! Routes, permissions, problems, resources and the description of the API. All HTTP is here, and no rule and no SQL.

mod access;
mod api;
mod boards;
mod clock;
mod columns;
mod computed;
mod description;
mod desk;
mod ending;
mod entity_tag;
mod evidence;
mod forwarded;
mod frame;
mod gathered;
mod given;
mod host_name;
mod houses;
mod idempotency;
mod intake;
mod kept;
mod live;
mod metrics;
mod office;
mod pace;
mod page;
mod pages;
mod picture;
mod plain_password;
mod played;
pub mod problem;
mod qr;
mod request_id;
mod routes;
mod secrets;
mod settings;
mod spans;
mod token;
mod trace;
mod trust;
mod turns;

#[cfg(test)]
mod tests;

use std::collections::BTreeMap;
use std::net::TcpListener;
use std::time::Duration;

use actix_web::body::BoxBody;
use actix_web::dev::{Server, ServerHandle};
use actix_web::middleware::{Next, from_fn};
use actix_web::web::{self, ServiceConfig};
use actix_web::{App, HttpServer};
use rustls::ServerConfig;
use store::{Store, WriteError};

pub use clock::Clock;
pub use description::{hours_schema, openapi};
pub use evidence::{NoPaper, facts, pack_document};
pub use host_name::{BadHostName, HostName};
pub use houses::Organisation;
pub use intake::FileOf;
pub use played::IntervalOf;
pub use qr::qr_for_terminals;
pub use secrets::{
    BadSecret, LONGEST_PASSWORD, PIN_DIGITS, SHORTEST_PASSWORD, hash_password, hash_pin,
};
pub use settings::{Pace, Settings};
pub use spans::{RequestSpan, Spans, ToSend};
pub use trust::TrustPage;

use ending::CUT_AFTER_S;
use houses::Houses;
use office::{Office, Premises};

/// How often what was made and kept for long enough is removed.
const TIDIES_EVERY: Duration = Duration::from_secs(3600);

/// The whole HTTP service: over one store, or over those of several organisations. Clones share everything.
#[derive(Clone)]
pub struct Service {
    houses: Houses,
}

/// Why organisations cannot be served together.
#[derive(Debug, thiserror::Error)]
pub enum NotServed {
    /// The secrets of one could not be read or made.
    #[error("the secrets of {host} could not be kept")]
    Secrets {
        /// Whose.
        host: HostName,
        /// Why.
        #[source]
        source: WriteError,
    },
    /// Two have the same host.
    #[error("two organisations are named {host}; each has a host of its own")]
    SameHost {
        /// Which.
        host: HostName,
    },
    /// Two sign with the same secret.
    #[error(
        "{one} and {other} are not two organisations: they have one database, or that of one was copied from the other, and whoever \
         is signed in at one would be at the other. Give each its own, made by rungbook init; take programmes over with rungbook \
         pack and rungbook adopt"
    )]
    SameKeys {
        /// One of them.
        one: HostName,
        /// The other one.
        other: HostName,
    },
}

impl std::fmt::Debug for Service {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Service").finish_non_exhaustive()
    }
}

impl Service {
    /// Puts the service together. The secrets that tokens are signed with are made where the store has none yet.
    ///
    /// # Errors
    ///
    /// [`WriteError`] where the secrets could not be kept.
    pub async fn new(store: Store, settings: Settings, clock: Clock) -> Result<Self, WriteError> {
        let premises = Premises::new(settings, clock);
        let office = Office::alone(&premises, store).await?;
        Ok(Self { houses: Houses::one(premises, office) })
    }

    /// Puts together the service of several organisations, each of which is asked for by a host of its own.
    ///
    /// # Errors
    ///
    /// [`NotServed`] where secrets could not be kept, or two of them are not apart.
    pub async fn of_organisations(
        organisations: Vec<Organisation>,
        settings: Settings,
        clock: Clock,
    ) -> Result<Self, NotServed> {
        let premises = Premises::new(settings, clock);
        let mut offices: BTreeMap<HostName, Office> = BTreeMap::new();
        for organisation in organisations {
            let host = organisation.host.clone();
            let opened = Office::of(&premises, organisation).await;
            let office =
                opened.map_err(|source| NotServed::Secrets { host: host.clone(), source })?;
            let is_same = |other: &Office| {
                other.store.shares_a_key_with(&office.store)
                    || other.tokens.signer() == office.tokens.signer()
            };
            if let Some((one, _)) = offices.iter().find(|(_, other)| is_same(other)) {
                return Err(NotServed::SameKeys { one: one.clone(), other: host });
            }
            if offices.insert(host.clone(), office).is_some() {
                return Err(NotServed::SameHost { host });
            }
        }
        Ok(Self { houses: Houses::by_host(premises, offices) })
    }

    /// Adds all routes with what is around them. An application calls it once for each worker.
    pub fn configure(&self, config: &mut ServiceConfig) {
        let houses = self.houses.clone();
        let around = self.houses.clone();
        config.service(
            web::scope("")
                .wrap(from_fn(move |request, next: Next<BoxBody>| {
                    frame::frame(around.clone(), request, next)
                }))
                .configure(move |config| routes::register(config, &houses))
                .configure(pages::register)
                .default_service(web::to(routes::nothing_here)),
        );
    }

    /// Serves on a listener until the server is stopped, with TLS where it is given. Await what it gives; it stops by
    /// itself on an interrupt or termination signal: it takes no more connections, lets streams of events go, answers the
    /// requests that are under way, and after at most ten seconds has ended.
    ///
    /// # Errors
    ///
    /// Where the listener cannot be used, or the system tells no signals.
    pub fn serve(
        &self,
        listener: TcpListener,
        tls: Option<ServerConfig>,
        workers: usize,
    ) -> std::io::Result<Server> {
        let service = self.clone();
        // Before anybody is answered, so that whoever was answered can tell the program to end.
        let signals = Signals::listen()?;
        actix_web::rt::spawn(tidy_up(self.houses.clone()));
        let server = HttpServer::new(move || {
            let service = service.clone();
            App::new().configure(move |config| service.configure(config))
        })
        .workers(workers.max(1))
        .disable_signals()
        .shutdown_timeout(CUT_AFTER_S);
        let server = match tls {
            Some(tls) => server.listen_rustls_0_23(listener, tls)?,
            None => server.listen(listener)?,
        };
        let server = server.run();
        actix_web::rt::spawn(end_when_told(self.houses.clone(), signals, server.handle()));
        Ok(server)
    }
}

impl Service {
    /// Serves figures about the service at `/metrics` of a listener of their own, and whether all of it lives and works at
    /// `/health/live` and `/health/ready`, without asking who reads them. Await what it gives beside the service, and stop it by
    /// its handle.
    ///
    /// # Errors
    ///
    /// Where the listener cannot be used.
    pub fn serve_metrics(&self, listener: TcpListener) -> std::io::Result<Server> {
        metrics::serve(self.houses.clone(), listener)
    }
}

/// Now and then removes what was made to be taken away and has been kept for long enough.
async fn tidy_up(houses: Houses) {
    loop {
        tokio::time::sleep(TIDIES_EVERY).await;
        for (_, office) in houses.all() {
            office.evidence.sweep(office.now());
        }
    }
}

/// The signals by which a program is told to end.
struct Signals {
    #[cfg(unix)]
    terminate: tokio::signal::unix::Signal,
    #[cfg(unix)]
    interrupt: tokio::signal::unix::Signal,
}

impl Signals {
    /// Signals that come from now on are told.
    fn listen() -> std::io::Result<Self> {
        #[cfg(unix)]
        {
            use tokio::signal::unix::{SignalKind, signal};
            let [terminate, interrupt] =
                [SignalKind::terminate(), SignalKind::interrupt()].map(signal);
            Ok(Self { terminate: terminate?, interrupt: interrupt? })
        }
        #[cfg(not(unix))]
        Ok(Self {})
    }

    async fn any(&mut self) {
        #[cfg(unix)]
        tokio::select! {
            _ = self.terminate.recv() => {}
            _ = self.interrupt.recv() => {}
        }
        #[cfg(not(unix))]
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending().await
        }
    }
}

/// Waits until the program is told to end, and then lets go of those who only listen: the server waits for all that is
/// under way, and a stream of events would be under way for minutes. What is being made in the background ends too.
async fn end_when_told(houses: Houses, mut signals: Signals, server: ServerHandle) {
    signals.any().await;
    for (_, office) in houses.all() {
        office.evidence.end();
    }
    houses.premises().ending.begin();
    server.stop(true).await;
}
