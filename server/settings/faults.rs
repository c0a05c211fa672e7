//! What can be wrong with settings, in words for whoever wrote them.

use std::path::PathBuf;

use store::{BadBucketUrl, BadDatabaseUrl};

use super::KNOWN_VARIABLES;
use super::organisations::BadOrganisations;

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
    /// Organisations that cannot be used.
    #[error(transparent)]
    Organisations(#[from] BadOrganisations),
    /// The file names a place of its own beside organisations.
    #[error(
        "{key} stands beside organisations in the settings file: write it in the table of the organisation whose it is"
    )]
    Beside {
        /// What.
        key: &'static str,
    },
    /// An organisation is meant that the file does not have.
    #[error("the settings file has no organisation {host}; it has {known}")]
    UnknownOrganisation {
        /// Which.
        host: String,
        /// Which there are.
        known: String,
    },
    /// An organisation is meant, and there are none.
    #[error(
        "--organisation {host} names one of the settings file's, which has no organisations; name the file with --settings FILE"
    )]
    NoOrganisations {
        /// Which.
        host: String,
    },
    /// A place and an organisation were both named.
    #[error(
        "{key} and the organisations of the settings file both say where the ledger is: leave one out"
    )]
    TwoPlaces {
        /// By what the place was named.
        key: &'static str,
    },
    /// One place is needed, and there are several.
    #[error(
        "the settings file has several organisations; say which is meant with --organisation HOST: {known}"
    )]
    WhichOrganisation {
        /// Which there are.
        known: String,
    },
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
