//! Settings from flags, the environment and a file, in that order of precedence. A key that nobody knows is refused.

use std::collections::BTreeSet;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use serde::Deserialize;
use store::{BadBucketUrl, BadDatabaseUrl, BucketUrl, DatabaseUrl, Whereabouts};

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
    /// Settings file (TOML) with the keys data, database-url, recordings, listen, metrics, backup-into, log, log-format
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
    backup_into: Option<PathBuf>,
    log: Option<String>,
    log_format: Option<LogFormat>,
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
    /// Folder in which a backup is kept up, where the file names one.
    pub backup_into: Option<PathBuf>,
    /// What to log.
    pub log: String,
    /// How.
    pub log_format: LogFormat,
}

/// Settings that cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum BadSettings {
    /// The file cannot be read.
    #[error("cannot read the settings file {}", path.display())]
    Unreadable {
        /// Which.
        path: PathBuf,
        /// Why.
        #[source]
        source: std::io::Error,
    },
    /// The file says something that is not a setting.
    #[error("the settings file {} is not right: {message}", path.display())]
    NotRight {
        /// Which.
        path: PathBuf,
        /// What is wrong, with its line.
        message: String,
    },
    /// The environment has a variable of ours that is not a setting.
    #[error("{name} is not a setting; the settings are {}", KNOWN_VARIABLES.join(", "))]
    UnknownVariable {
        /// Its name.
        name: String,
    },
    /// The URL of the database is none.
    #[error(transparent)]
    Database(#[from] BadDatabaseUrl),
    /// The URL of the bucket is none.
    #[error(transparent)]
    Recordings(#[from] BadBucketUrl),
    /// What was asked for is of SQLite, and the ledger is on PostgreSQL.
    #[error(
        "this is for a ledger that is a file in the data folder, and this one is on PostgreSQL ({database}): {instead}"
    )]
    OnPostgres {
        /// Which database.
        database: String,
        /// What does it there.
        instead: &'static str,
    },
    /// No folder was named, and the command needs one.
    #[error(
        "name the folder of the data with --data DIR, RUNGBOOK_DATA, or data = \"DIR\" in the settings file"
    )]
    NoData,
}

/// The variables that the program reads.
const KNOWN_VARIABLES: &[&str] = &[
    "RUNGBOOK_SETTINGS",
    "RUNGBOOK_DATA",
    "RUNGBOOK_DATABASE_URL",
    "RUNGBOOK_RECORDINGS",
    "RUNGBOOK_LISTEN",
    "RUNGBOOK_METRICS",
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
            ("backup-into", self.backup_into.is_some()),
            ("log", self.log.is_some()),
            ("log-format", self.log_format.is_some()),
        ];
        keys.into_iter().filter_map(|(key, there)| there.then_some(key)).collect()
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
    /// [`BadSettings`] where the database's address or the bucket's is none.
    pub fn of(flags: &Flags, listen: Option<SocketAddr>, file: File) -> Result<Self, BadSettings> {
        let database = flags.database_url.clone().or(file.database_url);
        let recordings = flags.recordings.clone().or(file.recordings);
        Ok(Self {
            data: flags.data.clone().or(file.data),
            database: database.map(|Url(url)| url.parse()).transpose()?,
            recordings: recordings.map(|Url(url)| url.parse()).transpose()?,
            listen: listen.or(file.listen),
            metrics: file.metrics,
            backup_into: file.backup_into,
            log: flags.log.clone().or(file.log).unwrap_or_else(|| USUAL_LOG.to_owned()),
            log_format: flags.log_format.or(file.log_format).unwrap_or(LogFormat::Text),
        })
    }

    /// Where the store is kept: the folder, and the database and the bucket where they were named.
    ///
    /// # Errors
    ///
    /// [`BadSettings::NoData`] where no folder was named; it is needed beside a database, too.
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
            Some(database) => {
                Err(BadSettings::OnPostgres { database: database.to_string(), instead })
            }
        }
    }

    /// The folder of the data.
    ///
    /// # Errors
    ///
    /// [`BadSettings::NoData`] where none was named.
    pub fn data(&self) -> Result<&Path, BadSettings> {
        self.data.as_deref().ok_or(BadSettings::NoData)
    }
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
