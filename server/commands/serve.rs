//! `rungbook serve`: a team's own service.

use std::io::Write;
use std::net::{SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::time::Duration;

use actix_web::dev::ServerHandle;
use clap::Args;
use http_service::{Clock, Service};
use store::{BackupWatch, StepwiseBackup, Store, Whereabouts};

use super::backup::{INSTEAD, KeepingUp};
use super::tls::{Speaks, Tls};
use super::{Failure, place};
use crate::settings::{self, Flags, Organisation, Settings};
use crate::telemetry;
use crate::traces::Exporter;

/// Where the service answers unless told otherwise.
pub const USUAL_ADDRESS: &str = "127.0.0.1:8440";

/// Why a backup of several organisations is not asked for by a flag.
pub const BACKUP_OF_ONE: &str = "--backup-into (or RUNGBOOK_BACKUP_INTO) is for one ledger; write backup-into in the table of each organisation";

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
    /// Send what became of each request to a collector of traces at this address, by the OpenTelemetry protocol over HTTP with JSON;
    /// off unless it is named. No person, programme or content is told, but the route
    #[arg(long, env = "RUNGBOOK_OTLP", value_name = "URL")]
    pub otlp: Option<String>,
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

/// Serve the programmes of a data folder, or of a PostgreSQL database (--database-url), or of several organisations.
///
/// Where the settings file has tables of the name organisation, each of these has a data folder and everything else of its own, and is
/// told from the others by the host that was asked for; nothing is served under any other host.
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
            let organisations = settings.organisations(flags)?;
            if organisations.is_empty() {
                return self.serve_one(&settings).await;
            }
            if self.backup_into.is_some() {
                return Err(Failure::of_input(format!("rungbook: {BACKUP_OF_ONE}")));
            }
            self.serve_several(&settings, organisations).await
        })
    }

    async fn serve_one(&self, settings: &Settings) -> Result<(), Failure> {
        let whereabouts = settings.whereabouts()?;
        let listeners = Listeners::open(settings, &self.place)?;
        let into = self.backup_into.as_ref().or(settings.backup_into.as_ref());
        let (store, kept_up) = open(&whereabouts, into).await?;
        let (backup, keeping_up) = kept_up.unzip();
        let data = whereabouts.data.as_path();
        let houses = Houses::One { store, data, backup };
        let served = serve(houses, listeners, &self.place, |base| {
            println!("Rungbook serves {whereabouts} on {base}");
            Ok(())
        })
        .await;
        keeping_up.into_iter().for_each(KeepingUp::end);
        served
    }

    async fn serve_several(
        &self,
        settings: &Settings,
        organisations: &[Organisation],
    ) -> Result<(), Failure> {
        let listeners = Listeners::open(settings, &self.place)?;
        let (mut opened, mut kept_up) = (Vec::new(), Vec::new());
        for organisation in organisations {
            let Organisation { host, name, whereabouts, backup_into } = organisation;
            let (store, backup) = open(whereabouts, backup_into.as_ref())
                .await
                .map_err(|failure| failure.about(host.as_str()))?;
            let (backup, keeping_up) = backup.unzip();
            kept_up.extend(keeping_up);
            let (host, name) = (host.clone(), name.clone());
            opened.push(http_service::Organisation { host, name, store, backup });
        }
        let data = organisations[0].whereabouts.data.as_path();
        let houses = Houses::Several { opened, data };
        let served = serve(houses, listeners, &self.place, |base| {
            println!("Rungbook serves {} organisations on {base}", organisations.len());
            for organisation in organisations {
                println!("  {} from {}", organisation.host, organisation.whereabouts);
            }
            Ok(())
        })
        .await;
        kept_up.into_iter().for_each(KeepingUp::end);
        served
    }
}

/// Opens a store, and begins to keep its backup up where there is a folder for it.
async fn open(
    whereabouts: &Whereabouts,
    into: Option<&PathBuf>,
) -> Result<(Store, Option<(BackupWatch, KeepingUp)>), Failure> {
    if into.is_some() {
        settings::must_be_in_its_folder(whereabouts, INSTEAD)?;
    }
    let store = place::open_at(whereabouts).await?;
    let Some(folder) = into else { return Ok((store, None)) };
    let watch = BackupWatch::default();
    let backup = StepwiseBackup::open(whereabouts, folder).await?;
    Ok((store, Some((watch.clone(), KeepingUp::begin(backup, watch)?))))
}

/// What is served: one house for whoever asks, or those of organisations. The folder is the one whose authority speaks TLS.
pub enum Houses<'a> {
    /// One house.
    One {
        /// Its store.
        store: Store,
        /// Its folder.
        data: &'a Path,
        /// How its backup gets on.
        backup: Option<BackupWatch>,
    },
    /// Several, told apart by the host that was asked for.
    Several {
        /// Each with its store.
        opened: Vec<http_service::Organisation>,
        /// The folder of the first.
        data: &'a Path,
    },
}

impl Houses<'_> {
    fn data(&self) -> &Path {
        match self {
            Self::One { data, .. } | Self::Several { data, .. } => data,
        }
    }

    fn hosts(&self) -> Vec<String> {
        match self {
            Self::One { .. } => Vec::new(),
            Self::Several { opened, .. } => opened.iter().map(|it| it.host.to_string()).collect(),
        }
    }

    fn stores(&self) -> Vec<Store> {
        match self {
            Self::One { store, .. } => vec![store.clone()],
            Self::Several { opened, .. } => opened.iter().map(|it| it.store.clone()).collect(),
        }
    }

    async fn service(self, settings: http_service::Settings) -> Result<Service, Failure> {
        let clock = Clock::of_the_machine();
        match self {
            Self::One { store, backup, .. } => {
                let settings = http_service::Settings { backup, ..settings };
                Ok(Service::new(store, settings, clock).await?)
            }
            Self::Several { opened, .. } => {
                Ok(Service::of_organisations(opened, settings, clock).await?)
            }
        }
    }
}

/// The addresses that the program listens on and sends to, taken so that an error about one comes before anything else is done.
pub struct Listeners {
    service: TcpListener,
    metrics: Option<TcpListener>,
    traces: Option<Exporter>,
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
            traces: place
                .otlp
                .as_ref()
                .or(settings.otlp.as_ref())
                .map(|collector| Exporter::begin(collector))
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
    houses: Houses<'_>,
    listeners: Listeners,
    place: &Where,
    greet: impl FnOnce(&str) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let address = listeners.service.local_addr()?;
    let behind_proxy = place.behind_proxy;
    let speaks = place.tls.settle(houses.data(), &houses.hosts(), address, behind_proxy)?;
    let settings = http_service::Settings {
        version: env!("CARGO_PKG_VERSION"),
        behind_proxy,
        certificate_is_given: matches!(speaks, Speaks::Given(_)),
        sender_silent_at_most: Duration::from_secs(place.silent_sender),
        spans: listeners.traces.as_ref().map(Exporter::spans),
        ..http_service::Settings::default()
    };
    let stores = houses.stores();
    let service = houses.service(settings).await?;
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
    if let Some(traces) = listeners.traces {
        traces.end();
    }
    for store in stores {
        store.close().await;
    }
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
