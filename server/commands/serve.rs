//! `rungbook serve`: a team's own service.

use std::io::Write;
use std::net::{SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::time::Duration;

use actix_web::dev::ServerHandle;
use clap::Args;
use http_service::{Clock, Service};
use store::{BackupWatch, StepwiseBackup, Store};

use super::backup::{INSTEAD, KeepingUp};
use super::tls::{Speaks, Tls};
use super::{Failure, place};
use crate::settings::{Flags, Settings};
use crate::telemetry;

/// Where the service answers unless told otherwise.
pub const USUAL_ADDRESS: &str = "127.0.0.1:8440";

/// Where to listen.
#[derive(Debug, Args)]
pub struct Where {
    /// Address and port to listen on [default: 127.0.0.1:8440]; port 0 takes a free one
    #[arg(long, env = "RUNGBOOK_LISTEN", value_name = "ADDRESS:PORT")]
    pub listen: Option<SocketAddr>,
    /// Serve figures about the service at /metrics of this address, in the text form of OpenMetrics; off unless it is named.
    /// Nobody is asked who they are there, so keep it on this machine or inside of your own network
    #[arg(long, env = "RUNGBOOK_METRICS", value_name = "ADDRESS:PORT")]
    pub metrics: Option<SocketAddr>,
    /// A proxy of ours stands in front and tells each client's address in X-Forwarded-For
    #[arg(long)]
    pub behind_proxy: bool,
    /// How other machines are spoken with.
    #[command(flatten)]
    pub tls: Tls,
    /// How many seconds whoever sends a recorder's file may be silent
    #[arg(long, value_name = "SECONDS", default_value_t = 60, value_parser = clap::value_parser!(u64).range(1..=3600))]
    pub silent_sender: u64,
}

/// Serve the programmes of a data folder, or of a PostgreSQL database (--database-url).
///
/// It listens on this machine alone unless told otherwise. Beyond it, it speaks TLS (--tls, or --certificate and --key), stands
/// behind a proxy with TLS (--behind-proxy), or was asked by name to do without (--plain-http).
#[derive(Debug, Args)]
pub struct Serve {
    #[command(flatten)]
    place: Where,
    /// A folder, best on another disk, in which a backup is kept up: what is recorded is there within seconds
    #[arg(long, env = "RUNGBOOK_BACKUP_INTO", value_name = "FOLDER")]
    backup_into: Option<PathBuf>,
}

impl Serve {
    /// Serves until the program is interrupted or terminated.
    ///
    /// # Errors
    ///
    /// [`Failure`] where the folder holds no ledger, or the address cannot be listened on.
    pub fn run(self, flags: &Flags) -> Result<(), Failure> {
        let settings = Settings::gather(flags, self.place.listen)?;
        telemetry::begin(&settings)?;
        place::run(async {
            let whereabouts = settings.whereabouts()?;
            let data = whereabouts.data.as_path();
            let listeners = Listeners::open(&settings, &self.place)?;
            let into = self.backup_into.as_ref().or(settings.backup_into.as_ref());
            if into.is_some() {
                settings.data_with_ledger(INSTEAD)?;
            }
            let store = place::open_at(&whereabouts).await?;
            let (backup, keeping_up) = match into {
                None => (None, None),
                Some(folder) => {
                    let watch = BackupWatch::default();
                    let backup = StepwiseBackup::open(&whereabouts, folder).await?;
                    (Some(watch.clone()), Some(KeepingUp::begin(backup, watch)?))
                }
            };
            let served = serve(store, listeners, &self.place, data, backup, |base| {
                println!("Rungbook serves {whereabouts} on {base}");
                Ok(())
            })
            .await;
            if let Some(keeping_up) = keeping_up {
                keeping_up.end();
            }
            served
        })
    }
}

/// The addresses that the program listens on, taken so that an error about one comes before anything else is done.
pub struct Listeners {
    service: TcpListener,
    metrics: Option<TcpListener>,
}

impl Listeners {
    /// Takes them.
    ///
    /// # Errors
    ///
    /// [`Failure`] with what to do where one is taken or not this machine's.
    pub fn open(settings: &Settings, place: &Where) -> Result<Self, Failure> {
        let usual = USUAL_ADDRESS.parse()?;
        Ok(Self {
            service: listen(settings.listen.unwrap_or(usual), "--listen")?,
            metrics: place
                .metrics
                .or(settings.metrics)
                .map(|address| listen(address, "--metrics"))
                .transpose()?,
        })
    }
}

/// Takes one address; `flag` names another one.
pub(super) fn listen(address: SocketAddr, flag: &str) -> Result<TcpListener, Failure> {
    TcpListener::bind(address).map_err(|error| {
        Failure::of_work(format!(
            "rungbook: cannot listen on {address}: {error}; name another one with {flag} ADDRESS:PORT"
        ))
    })
}

/// Serves a store on its listeners until the program is told to end; `greet` is called with its address once it answers.
///
/// # Errors
///
/// [`Failure`] where the service cannot begin.
pub async fn serve(
    store: Store,
    listeners: Listeners,
    place: &Where,
    data: &Path,
    backup: Option<BackupWatch>,
    greet: impl FnOnce(&str) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let address = listeners.service.local_addr()?;
    let behind_proxy = place.behind_proxy;
    let speaks = place.tls.settle(data, address, behind_proxy)?;
    let settings = http_service::Settings {
        version: env!("CARGO_PKG_VERSION"),
        behind_proxy,
        sender_silent_at_most: Duration::from_secs(place.silent_sender),
        backup,
        ..http_service::Settings::default()
    };
    let service = Service::new(store.clone(), settings, Clock::of_the_machine()).await?;
    let workers = std::thread::available_parallelism().map_or(2, usize::from);
    let (tls, introduced) = match speaks {
        Speaks::Plain => (None, None),
        Speaks::Given(config) => (Some(config), None),
        Speaks::Own(config, introduced) => (Some(config), Some(introduced)),
    };
    let scheme = if tls.is_some() { "https" } else { "http" };
    let server = service.serve(listeners.service, tls, workers)?;
    let metrics =
        listeners.metrics.map(|listener| Figures::begin(&service, listener)).transpose()?;
    let introduced = introduced.map(|introduced| introduced.begin(address)).transpose()?;
    match &introduced {
        Some(introduced) => greet(&introduced.service)?,
        None => greet(&format!("{scheme}://{address}"))?,
    }
    if let Some(introduced) = introduced {
        introduced.print();
    }
    if let Some(metrics) = &metrics {
        println!("Figures about the service are at http://{}/metrics", metrics.address);
    }
    std::io::stdout().flush()?;
    server.await?;
    if let Some(metrics) = metrics {
        metrics.handle.stop(false).await;
    }
    store.close().await;
    tracing::info!("the service ended; everything acknowledged is on disk");
    Ok(())
}

/// The figures about the service, being served. They go on while the service ends.
struct Figures {
    address: SocketAddr,
    handle: ServerHandle,
}

impl Figures {
    fn begin(service: &Service, listener: TcpListener) -> Result<Self, Failure> {
        let address = listener.local_addr()?;
        let server = service.serve_metrics(listener)?;
        let handle = server.handle();
        actix_web::rt::spawn(server);
        Ok(Self { address, handle })
    }
}
