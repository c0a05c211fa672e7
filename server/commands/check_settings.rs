//! `rungbook check-settings`: what the service would use, and what is wrong with it, before it is started anew.

use std::collections::BTreeSet;
use std::ffi::OsString;
use std::fmt::Display;
use std::io::ErrorKind;
use std::net::{SocketAddr, TcpListener};
use std::path::{Path, PathBuf};

use clap::parser::ValueSource;
use clap::{ArgMatches, Args, CommandFactory};
use store::Whereabouts;

use super::backup::INSTEAD;
use super::serve::{BACKUP_OF_ONE, USUAL_ADDRESS, Where};
use super::{Failure, Program, place, told};
use crate::settings::{self, Flags, LogFormat, Organisation, Settings, USUAL_LOG};
use crate::telemetry;
use crate::traces;

/// Say what the service would use, from where each setting comes, and what is wrong, without starting it.
///
/// Give it the flags that `rungbook serve` is given, in the same environment. It changes nothing, and works beside a running
/// service. It ends with status 2 where anything is wrong, and says all of it.
#[derive(Debug, Args)]
pub struct CheckSettings {
    #[command(flatten)]
    place: Where,
    /// A folder, best on another disk, in which a backup is kept up
    #[arg(long, env = "RUNGBOOK_BACKUP_INTO", value_name = "FOLDER")]
    backup_into: Option<PathBuf>,
}

/// What was found so far.
#[derive(Default)]
struct Found {
    used: Vec<(&'static str, String)>,
    wrong: Vec<String>,
}

impl Found {
    fn uses(&mut self, what: &'static str, value: impl Display, from: &str) {
        self.used.push((what, format!("{value} ({from})")));
    }

    fn is_wrong(&mut self, why: impl Into<String>) {
        self.wrong.push(why.into());
    }
}

/// From where settings come.
struct Sources {
    given: ArgMatches,
    in_file: BTreeSet<&'static str>,
}

impl Sources {
    /// `id` is the setting's name in the command line's parser, `key` the one in the settings file.
    fn of(&self, id: &str, key: &str) -> &'static str {
        match self.given.value_source(id) {
            Some(ValueSource::CommandLine) => "from the command line",
            Some(ValueSource::EnvVariable) => "from the environment",
            _ if self.in_file.contains(key) => "from the settings file",
            _ => "as usual",
        }
    }
}

impl CheckSettings {
    /// Prints what would be used on standard output.
    ///
    /// # Errors
    ///
    /// [`Failure`] with everything that is wrong.
    pub fn run(self, flags: &Flags) -> Result<(), Failure> {
        let mut found = Found::default();
        for name in settings::unknown_variables() {
            found.is_wrong(settings::BadSettings::UnknownVariable { name }.to_string());
        }
        let file = flags.settings.as_deref().map(settings::read).transpose();
        let file = file.unwrap_or_else(|error| {
            found.is_wrong(told(&error).trim_start_matches("rungbook: "));
            None
        });
        let file = file.unwrap_or_default();
        let sources = Sources { given: given(std::env::args_os())?, in_file: file.keys() };
        let settings = match Settings::of(flags, self.place.listen, file) {
            Ok(settings) => settings,
            Err(error) => {
                found.is_wrong(told(&error).trim_start_matches("rungbook: "));
                return tell(found);
            }
        };
        let file = flags.settings.as_deref();
        let from = sources.of("settings", "");
        match file {
            Some(path) => found.uses("settings file", path.display(), from),
            None => found.used.push(("settings file", "none".to_owned())),
        }
        match settings.organisations(flags) {
            Ok([]) => {
                look_at_data(&mut found, &settings, &sources);
                self.look_at_backup(&mut found, &settings, &sources);
            }
            Ok(organisations) => self.look_at_organisations(&mut found, organisations),
            Err(error) => found.is_wrong(error.to_string()),
        }
        self.look_at_addresses(&mut found, &settings, &sources);
        look_at_log(&mut found, &settings, &sources);
        tell(found)
    }

    fn look_at_addresses(&self, found: &mut Found, settings: &Settings, sources: &Sources) {
        let usual = USUAL_ADDRESS.parse().ok();
        let Some(address) = settings.listen.or(usual) else { return };
        found.uses("listen", address, sources.of("listen", "listen"));
        can_be_taken(found, address, "listen");
        // The folder is looked at only by an authority of its own, which is not asked for here: it would be made.
        let spoken = if self.place.tls.has_own_authority() {
            Ok("TLS by the data folder's own authority")
        } else {
            let folder = settings.data.as_deref().unwrap_or_else(|| Path::new(""));
            self.place.tls.settle(folder, &[], address, self.place.behind_proxy).map(|speaks| {
                if speaks.is_plain() { "no TLS" } else { "TLS by the certificate that is named" }
            })
        };
        match spoken {
            Ok(words) => found.used.push(("speaks", words.to_owned())),
            Err(failure) => found.is_wrong(failure.message().trim_start_matches("rungbook: ")),
        }
        if self.place.behind_proxy {
            found.used.push(("addresses", "as a proxy in front tells them".to_owned()));
        }
        match self.place.otlp.as_ref().or(settings.otlp.as_ref()) {
            None => found.used.push(("traces", "not sent".to_owned())),
            Some(collector) => match traces::place_of(collector) {
                Ok(place) => found.uses("traces", place, sources.of("otlp", "otlp")),
                Err(why) => found.is_wrong(why),
            },
        }
        match self.place.metrics.or(settings.metrics) {
            None => found.used.push(("figures", "not served".to_owned())),
            Some(figures) => {
                found.uses("figures", figures, sources.of("metrics", "metrics"));
                if figures == address && figures.port() != 0 {
                    found.is_wrong(format!(
                        "listen and metrics both name {address}: the figures need an address of their own"
                    ));
                }
                can_be_taken(found, figures, "metrics");
            }
        }
    }

    fn look_at_backup(&self, found: &mut Found, settings: &Settings, sources: &Sources) {
        let Some(folder) = self.backup_into.as_ref().or(settings.backup_into.as_ref()) else {
            found.used.push(("backup", "none is kept up".to_owned()));
            return;
        };
        found.uses("backup", folder.display(), sources.of("backup_into", "backup-into"));
        look_at_backup_folder(found, folder, settings.data.as_deref());
    }

    fn look_at_organisations(&self, found: &mut Found, organisations: &[Organisation]) {
        if self.backup_into.is_some() {
            found.is_wrong(BACKUP_OF_ONE);
        }
        for organisation in organisations {
            let Organisation { host, name, whereabouts, backup_into } = organisation;
            let named = name.as_ref().map(|name| format!(", {name}")).unwrap_or_default();
            found.uses("organisation", format!("{host}{named}"), "from the settings file");
            found.used.push(("  data", whereabouts.data.display().to_string()));
            if let Some(database) = &whereabouts.database {
                found.used.push(("  database", database.to_string()));
            }
            let mut wrong = Found::default();
            if let Some(bucket) = &whereabouts.recordings {
                found.used.push(("  recordings", bucket.to_string()));
                look_at_recordings(&mut wrong, whereabouts);
            }
            if let Err(failure) = place::run(place::must_hold_a_ledger(whereabouts)) {
                wrong.is_wrong(failure.message().trim_start_matches("rungbook: "));
            }
            if let Some(folder) = backup_into {
                found.used.push(("  backup", folder.display().to_string()));
                look_at_backup_folder(&mut wrong, folder, Some(&whereabouts.data));
                if let Err(error) = settings::must_be_in_its_folder(whereabouts, INSTEAD) {
                    wrong.is_wrong(error.to_string());
                }
            }
            found.wrong.extend(wrong.wrong.iter().map(|why| format!("{host}: {why}")));
        }
    }
}

fn look_at_backup_folder(found: &mut Found, folder: &Path, data: Option<&Path>) {
    let parent = folder.parent().filter(|parent| !parent.as_os_str().is_empty());
    if folder.exists() && !folder.is_dir() {
        found.is_wrong(format!(
            "{} is not a folder: a backup cannot be kept up in it",
            folder.display()
        ));
    } else if !folder.exists() && parent.is_some_and(|parent| !parent.is_dir()) {
        found.is_wrong(format!(
            "{} is not there, nor is the folder around it: make that, or look whether the disk is there",
            folder.display()
        ));
    }
    if let Some(data) = data
        && folder.starts_with(data)
    {
        found.is_wrong(format!(
            "the backup would be kept up inside of {}: what takes the one takes the other",
            data.display()
        ));
    }
}

fn look_at_data(found: &mut Found, settings: &Settings, sources: &Sources) {
    let whereabouts = match settings.whereabouts() {
        Ok(whereabouts) => whereabouts,
        Err(error) => return found.is_wrong(error.to_string()),
    };
    found.uses("data", whereabouts.data.display(), sources.of("data", "data"));
    if let Some(database) = &whereabouts.database {
        found.uses("database", database, sources.of("database_url", "database-url"));
    }
    match &whereabouts.recordings {
        None => found.used.push(("recordings", "in the data folder".to_owned())),
        Some(bucket) => {
            found.uses("recordings", bucket, sources.of("recordings", "recordings"));
        }
    }
    look_at_recordings(found, &whereabouts);
    if let Err(failure) = place::run(place::must_hold_a_ledger(&whereabouts)) {
        found.is_wrong(failure.message().trim_start_matches("rungbook: "));
    }
}

fn look_at_recordings(found: &mut Found, whereabouts: &Whereabouts) {
    if let Err(error) = store::reach_recordings(whereabouts) {
        found.is_wrong(told(&error).trim_start_matches("rungbook: "));
    }
}

fn look_at_log(found: &mut Found, settings: &Settings, sources: &Sources) {
    let words = if settings.log == USUAL_LOG { "what is usual" } else { settings.log.as_str() };
    found.uses("log", words, sources.of("log", "log"));
    if let Err(error) = telemetry::check(&settings.log) {
        found.is_wrong(told(&error).trim_start_matches("rungbook: "));
    }
    let form = match settings.log_format {
        LogFormat::Text => "text",
        LogFormat::Json => "json",
    };
    found.uses("log format", form, sources.of("log_format", "log-format"));
}

/// Whether a program could listen on an address. One that something listens on already is none of what is wrong: it may be
/// the service itself.
fn can_be_taken(found: &mut Found, address: SocketAddr, what: &str) {
    match TcpListener::bind(address) {
        Ok(_) => {}
        Err(error) if error.kind() == ErrorKind::AddrInUse => found.used.push((
            "",
            format!("something listens on {address} already: right where it is this service, else name another for {what}"),
        )),
        Err(error) => found.is_wrong(format!("{what} names {address}, which cannot be listened on: {error}")),
    }
}

/// What was given on the command line of this command.
fn given(arguments: impl Iterator<Item = OsString>) -> Result<ArgMatches, Failure> {
    let mut all = Program::command().try_get_matches_from(arguments)?;
    all.remove_subcommand()
        .map(|(_, given)| given)
        .ok_or_else(|| Failure::of_input("rungbook: no command"))
}

fn tell(found: Found) -> Result<(), Failure> {
    for (what, value) in &found.used {
        println!("{what:<14}{value}");
    }
    if found.wrong.is_empty() {
        println!("The service can be started with these settings.");
        return Ok(());
    }
    let count = match found.wrong.len() {
        1 => "One thing is wrong:".to_owned(),
        more => format!("{more} things are wrong:"),
    };
    let wrong: Vec<String> =
        found.wrong.iter().map(|why| format!("- {}", why.replace('\n', "\n  "))).collect();
    Err(Failure::of_input(format!("{count}\n{}", wrong.join("\n"))))
}
