//! Log lines: each reads alone and can be searched.

use std::io::IsTerminal;

use tracing_subscriber::{EnvFilter, fmt, prelude::*};

use crate::settings::{LogFormat, Settings};

/// A filter that cannot be read.
#[derive(Debug, thiserror::Error)]
#[error(
    "\"{filter}\" is not a log filter; use a level such as info, or target=level pairs separated by commas"
)]
pub struct BadFilter {
    /// What was given.
    filter: String,
    /// Why.
    #[source]
    source: tracing_subscriber::filter::ParseError,
}

/// Requests that are not even HTTP are answered with 400 by the library, which logs each as an error of the server: anybody who
/// can reach the port could fill the log with alarms. A filter that names this target brings them back.
const NO_STRANGERS: &str = "actix_http::h1::dispatcher=off";

/// Begins to write log lines to standard error.
///
/// # Errors
///
/// [`BadFilter`] where the settings' filter cannot be read.
pub fn begin(settings: &Settings) -> Result<(), BadFilter> {
    let filter = filter(&settings.log)?;
    let registry = tracing_subscriber::registry().with(filter);
    let lines =
        fmt::layer().with_writer(std::io::stderr).with_ansi(std::io::stderr().is_terminal());
    match settings.log_format {
        LogFormat::Text => registry.with(lines.with_target(false)).init(),
        LogFormat::Json => registry.with(lines.json().flatten_event(true)).init(),
    }
    Ok(())
}

/// Whether a filter can be read.
///
/// # Errors
///
/// [`BadFilter`] where it cannot.
pub fn check(log: &str) -> Result<(), BadFilter> {
    filter(log).map(|_| ())
}

fn filter(log: &str) -> Result<EnvFilter, BadFilter> {
    EnvFilter::try_new(format!("{NO_STRANGERS},{log}"))
        .map_err(|source| BadFilter { filter: log.to_owned(), source })
}
