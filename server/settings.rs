//! Settings from flags, the environment and a file, in that order of precedence. A key that nobody knows is refused.

mod faults;
mod organisations;

use std::collections::BTreeSet;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use serde::Deserialize;
use store::{BadDatabaseUrl, BucketUrl, DatabaseUrl, Whereabouts};

pub use faults::BadSettings;
pub use organisations::Organisation;

/// How log lines are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum LogFormat {
    /// For people.
    Text,
    /// One JSON object a line.
    Json,
}

/// The URL of a database or bucket as somebody gave it: it may hold a password, so it is not shown.
#[derive(Clone, Deserialize)]
#[serde(transparent)]
pub struct Url(String);

impl Url {
    /// The database, where the text is the URL of one and not the name of a folder.
    ///
    /// # Errors
    ///
    /// [`BadDatabaseUrl`] where it begins as one and is none.
    pub fn database(&self) -> Result<Option<DatabaseUrl>, BadDatabaseUrl> {
        if self.0.contains("://") { self.0.parse().map(Some) } else { Ok(None) }
    }

    /// As it was given.
    pub fn text(&self) -> &str {
        &self.0
    }
}

impl std::fmt::Debug for Url {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Url(..)")
    }
}

impl std::str::FromStr for Url {
    type Err = std::convert::Infallible;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        // Looked at later: an error about a flag would repeat it.
        Ok(Self(text.to_owned()))
    }
}

/// The flags that the commands share; each can also be given in the environment.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct Flags {
    /// Settings file (TOML) with the keys data, database-url, recordings, listen, metrics, otlp, backup-into, log, log-format; or, where
    /// one server has several organisations, a table of the name organisation for each with host, data, database-url, recordings,
    /// name, backup-into
    #[arg(long, env = "RUNGBOOK_SETTINGS", value_name = "FILE", global = true)]
    pub settings: Option<PathBuf>,
    /// Folder in which the ledger and everything else is kept
    #[arg(long, env = "RUNGBOOK_DATA", value_name = "DIR", global = true)]
    pub data: Option<PathBuf>,
    /// PostgreSQL database in which the ledger is kept, instead of a file in the folder. A password stands better in the
    /// environment or the settings file than on the command line, where others see it
    #[arg(
        long,
        env = "RUNGBOOK_DATABASE_URL",
        value_name = "URL",
        hide_env_values = true,
        global = true
    )]
    pub database_url: Option<Url>,
    /// Bucket of an object store of the S3 type in which recordings are kept, instead of the folder: s3://BUCKET or
    /// s3://BUCKET/PREFIX. Where it answers and its keys are taken from AWS_ENDPOINT_URL, AWS_REGION, AWS_ACCESS_KEY_ID and
    /// AWS_SECRET_ACCESS_KEY
    #[arg(
        long,
        env = "RUNGBOOK_RECORDINGS",
        value_name = "URL",
        hide_env_values = true,
        global = true
    )]
    pub recordings: Option<Url>,
    /// Which organisation of the settings file is meant, by its host
    #[arg(long, env = "RUNGBOOK_ORGANISATION", value_name = "HOST", global = true)]
    pub organisation: Option<String>,
    /// What to log, such as info or http_service=debug
    #[arg(long, env = "RUNGBOOK_LOG", value_name = "FILTER", global = true)]
    pub log: Option<String>,
    /// How log lines are written
    #[arg(long, env = "RUNGBOOK_LOG_FORMAT", value_name = "FORMAT", global = true)]
    pub log_format: Option<LogFormat>,
}

/// What is logged where nothing else is asked for.
pub const USUAL_LOG: &str = "info,actix_server=warn,sqlx=warn";

/// What the settings file may say.
#[derive(Debug, Default, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct File {
    data: Option<PathBuf>,
    database_url: Option<Url>,
    recordings: Option<Url>,
    listen: Option<SocketAddr>,
    metrics: Option<SocketAddr>,
    otlp: Option<String>,
    backup_into: Option<PathBuf>,
    log: Option<String>,
    log_format: Option<LogFormat>,
    #[serde(default)]
    organisation: Vec<organisations::Table>,
}

/// Settings with every source taken in.
#[derive(Debug, Clone)]
pub struct Settings {
    /// Folder of the data, where one was named.
    pub data: Option<PathBuf>,
    /// The PostgreSQL database, where one was named.
    pub database: Option<DatabaseUrl>,
    /// The bucket of the recordings, where one was named.
    pub recordings: Option<BucketUrl>,
    /// Where to listen, where it was stated.
    pub listen: Option<SocketAddr>,
    /// Where figures about the service are served, where the file says so.
    pub metrics: Option<SocketAddr>,
    /// Where a collector of traces is, where the file says so.
    pub otlp: Option<String>,
    /// Folder in which a backup is kept up, where the file names one.
    pub backup_into: Option<PathBuf>,
    /// The organisations that are told apart by host; none where there is one house for whoever asks.
    pub organisations: Vec<Organisation>,
    /// What to log.
    pub log: String,
    /// How.
    pub log_format: LogFormat,
}

/// The variables that the program reads.
const KNOWN_VARIABLES: &[&str] = &[
    "RUNGBOOK_SETTINGS",
    "RUNGBOOK_DATA",
    "RUNGBOOK_DATABASE_URL",
    "RUNGBOOK_ORGANISATION",
    "RUNGBOOK_RECORDINGS",
    "RUNGBOOK_LISTEN",
    "RUNGBOOK_METRICS",
    "RUNGBOOK_OTLP",
    "RUNGBOOK_BACKUP_INTO",
    "RUNGBOOK_LOG",
    "RUNGBOOK_LOG_FORMAT",
    "RUNGBOOK_PASSWORD",
];

/// Variables of the environment that have our name in front and are no settings.
pub fn unknown_variables() -> impl Iterator<Item = String> {
    std::env::vars_os()
        .filter_map(|(name, _)| name.into_string().ok())
        .filter(|name| name.starts_with("RUNGBOOK_") && !KNOWN_VARIABLES.contains(&name.as_str()))
}

impl File {
    /// The keys that it has.
    pub fn keys(&self) -> BTreeSet<&'static str> {
        let keys = [
            ("data", self.data.is_some()),
            ("database-url", self.database_url.is_some()),
            ("recordings", self.recordings.is_some()),
            ("listen", self.listen.is_some()),
            ("metrics", self.metrics.is_some()),
            ("otlp", self.otlp.is_some()),
            ("backup-into", self.backup_into.is_some()),
            ("log", self.log.is_some()),
            ("log-format", self.log_format.is_some()),
            ("organisation", !self.organisation.is_empty()),
        ];
        keys.into_iter().filter_map(|(key, there)| there.then_some(key)).collect()
    }

    fn says_one_place_or_several(&self) -> Result<(), BadSettings> {
        let keys = self.keys();
        let of_one = ["data", "database-url", "recordings", "backup-into"];
        match of_one.into_iter().find(|key| keys.contains(key)) {
            Some(key) if !self.organisation.is_empty() => Err(BadSettings::Beside { key }),
            Some(_) | None => Ok(()),
        }
    }
}

impl Flags {
    /// Refuses a place that is named beside organisations.
    fn names_no_place(&self) -> Result<(), BadSettings> {
        if self.data.is_some() {
            return Err(BadSettings::TwoPlaces { key: "--data (or RUNGBOOK_DATA)" });
        }
        if self.database_url.is_some() {
            let key = "--database-url (or RUNGBOOK_DATABASE_URL)";
            return Err(BadSettings::TwoPlaces { key });
        }
        if self.recordings.is_some() {
            let key = "--recordings (or RUNGBOOK_RECORDINGS)";
            return Err(BadSettings::TwoPlaces { key });
        }
        Ok(())
    }
}

impl Settings {
    /// Puts flags, environment and file together.
    ///
    /// # Errors
    ///
    /// [`BadSettings`] where the file cannot be read, or file or environment say what is not a setting.
    pub fn gather(flags: &Flags, listen: Option<SocketAddr>) -> Result<Self, BadSettings> {
        if let Some(name) = unknown_variables().next() {
            return Err(BadSettings::UnknownVariable { name });
        }
        let file = flags.settings.as_deref().map(read).transpose()?.unwrap_or_default();
        Self::of(flags, listen, file)
    }

    /// What flags and environment say, and where they say nothing the file.
    ///
    /// # Errors
    ///
    /// [`BadSettings`] where the database's address or the bucket's is none, or organisations cannot be used or are not apart.
    pub fn of(flags: &Flags, listen: Option<SocketAddr>, file: File) -> Result<Self, BadSettings> {
        file.says_one_place_or_several()?;
        let database = flags.database_url.clone().or(file.database_url);
        let recordings = flags.recordings.clone().or(file.recordings);
        let mut settings = Self {
            data: flags.data.clone().or(file.data),
            database: database.map(|Url(url)| url.parse()).transpose()?,
            recordings: recordings.map(|Url(url)| url.parse()).transpose()?,
            listen: listen.or(file.listen),
            metrics: file.metrics,
            otlp: file.otlp,
            backup_into: file.backup_into,
            organisations: organisations::settled(file.organisation)?,
            log: flags.log.clone().or(file.log).unwrap_or_else(|| USUAL_LOG.to_owned()),
            log_format: flags.log_format.or(file.log_format).unwrap_or(LogFormat::Text),
        };
        if let Some(host) = &flags.organisation {
            flags.names_no_place()?;
            settings.means(host)?;
        }
        Ok(settings)
    }

    /// Leaves the organisation that is meant, on which a command for one place then works.
    fn means(&mut self, host: &str) -> Result<(), BadSettings> {
        let host = host.to_owned();
        let known = organisations::hosts(&self.organisations);
        if known.is_empty() {
            return Err(BadSettings::NoOrganisations { host });
        }
        self.organisations.retain(|it| it.host.as_str().eq_ignore_ascii_case(&host));
        let meant = self.organisations.first().cloned();
        let meant = meant.ok_or(BadSettings::UnknownOrganisation { host, known })?;
        self.data = Some(meant.whereabouts.data);
        self.database = meant.whereabouts.database;
        self.recordings = meant.whereabouts.recordings;
        self.backup_into = meant.backup_into;
        Ok(())
    }

    /// The organisations to serve, each under its own host; none where there is one house for whoever asks.
    ///
    /// # Errors
    ///
    /// [`BadSettings::TwoPlaces`] where a place is named beside them.
    pub fn organisations(&self, flags: &Flags) -> Result<&[Organisation], BadSettings> {
        if !self.organisations.is_empty() {
            flags.names_no_place()?;
        }
        Ok(&self.organisations)
    }

    /// Where the store is kept: the folder, and the database and the bucket where they were named.
    ///
    /// # Errors
    ///
    /// [`BadSettings`] where no folder was named, which is needed beside a database, too; or where it is not said which of several
    /// organisations is meant.
    pub fn whereabouts(&self) -> Result<Whereabouts, BadSettings> {
        Ok(Whereabouts {
            data: self.data()?.to_owned(),
            database: self.database.clone(),
            recordings: self.recordings.clone(),
        })
    }

    /// Where the store is kept, for what is done with a ledger that is a file in the folder; `instead` says what does it elsewhere.
    ///
    /// # Errors
    ///
    /// [`BadSettings`] where no folder was named, or a database was.
    pub fn data_with_ledger(&self, instead: &'static str) -> Result<Whereabouts, BadSettings> {
        match &self.database {
            None => self.whereabouts(),
            Some(database) => Err(on_postgres(database, instead)),
        }
    }

    /// The folder of the data.
    ///
    /// # Errors
    ///
    /// [`BadSettings`] where none was named, or not which of several organisations is meant.
    pub fn data(&self) -> Result<&Path, BadSettings> {
        self.data.as_deref().ok_or_else(|| match organisations::hosts(&self.organisations) {
            none if none.is_empty() => BadSettings::NoData,
            known => BadSettings::WhichOrganisation { known },
        })
    }
}

/// Refuses what is done with a ledger that is a file in the data folder, where it is not; `instead` says what does it elsewhere.
///
/// # Errors
///
/// [`BadSettings::OnPostgres`] where it is in a database.
pub fn must_be_in_its_folder(
    whereabouts: &Whereabouts,
    instead: &'static str,
) -> Result<(), BadSettings> {
    whereabouts.database.as_ref().map_or(Ok(()), |it| Err(on_postgres(it, instead)))
}

fn on_postgres(database: &DatabaseUrl, instead: &'static str) -> BadSettings {
    BadSettings::OnPostgres { database: database.to_string(), instead }
}

/// Reads a settings file.
///
/// # Errors
///
/// [`BadSettings`] where it cannot be read or says what is not a setting.
pub fn read(path: &Path) -> Result<File, BadSettings> {
    let text = std::fs::read_to_string(path)
        .map_err(|source| BadSettings::Unreadable { path: path.to_owned(), source })?;
    toml::from_str(&text).map_err(|error| {
        // What is wrong is shown with its line, unless that may hold a password.
        let shown = error.to_string();
        let message = if shown.contains("://") { error.message().to_owned() } else { shown };
        BadSettings::NotRight { path: path.to_owned(), message: message.trim().to_owned() }
    })
}
