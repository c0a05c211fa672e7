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

/// Begins to write log lines to standard error.
///
/// # Errors
///
/// [`BadFilter`] where the settings' filter cannot be read.
pub fn begin(settings: &Settings) -> Result<(), BadFilter> {
    let filter = EnvFilter::try_new(&settings.log)
        .map_err(|source| BadFilter { filter: settings.log.clone(), source })?;
    let registry = tracing_subscriber::registry().with(filter);
    let lines =
        fmt::layer().with_writer(std::io::stderr).with_ansi(std::io::stderr().is_terminal());
    match settings.log_format {
        LogFormat::Text => registry.with(lines.with_target(false)).init(),
        LogFormat::Json => registry.with(lines.json().flatten_event(true)).init(),
    }
    Ok(())
}
