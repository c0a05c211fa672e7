//! `rungbook demo`: the demonstration programme, made fresh and served.

mod recordings;
mod simulation;

use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use clap::Args;
use programme::codes::ProgrammeId;
use programme::entry::Entry;
use programme::nouns::{Person, Role};
use programme::play::Player;
use store::{Act, ActError, NewAccount, Reply, Store, Whereabouts};

use super::serve::{self, Where};
use super::{Failure, place};
use crate::settings::{Flags, Settings};
use crate::telemetry;

/// What everybody signs in with in the demonstration.
const PASSWORD: &str = "one rung at a time";

/// What everybody signs with in the demonstration, instead of the password.
const PIN: &str = "271845";

const PROGRAMME: &str = include_str!("../../../seed/programme.toml");
const STORY: &str = include_str!("../../../seed/story.toml");

/// The programme's id.
const ID: &str = "tallow";

/// Serve the demonstration: an invented club re-engines a glider tug with a battery-electric powerplant.
///
/// It needs nothing else on the machine. Without --data it lives in a temporary folder and is gone when the program ends;
/// with --data it is made there once and kept. Everybody has the same printed password: never let others reach it.
#[derive(Debug, Args)]
pub struct Demo {
    #[command(flatten)]
    place: Where,
    /// Only write the files of the demonstration's recorders into this folder, to try uploads with, and end
    #[arg(long, value_name = "DIR")]
    recorder_files: Option<PathBuf>,
}

impl Demo {
    /// Makes the demonstration where it is not there yet, and serves it until the program is told to end.
    ///
    /// # Errors
    ///
    /// [`Failure`] where the folder or the address cannot be used.
    pub fn run(self, flags: &Flags) -> Result<(), Failure> {
        if let Some(folder) = &self.recorder_files {
            return write_recorder_files(folder);
        }
        let settings = Settings::gather(flags, self.place.listen)?;
        telemetry::begin(&settings)?;
        let temporary = match settings.data {
            Some(_) => None,
            None => Some(tempfile::Builder::new().prefix("rungbook-demo-").tempdir()?),
        };
        if let Some(database) = &settings.database {
            return Err(Failure::of_input(format!(
                "rungbook: the demonstration is kept in a folder, not in {database}; ask for it without --database-url"
            )));
        }
        let data = match (&settings.data, &temporary) {
            (Some(data), _) => data.as_path(),
            (None, Some(folder)) => folder.path(),
            (None, None) => return Err(crate::settings::BadSettings::NoData.into()),
        };
        place::run(async {
            let listeners = serve::Listeners::open(&settings, &self.place)?;
            let at = Whereabouts { recordings: settings.recordings.clone(), ..data.into() };
            let store = open(&at).await?;
            let people = people(&store)?;
            let houses = serve::Houses::One { store, data, backup: None };
            serve::serve(houses, listeners, &self.place, |base| {
                greet(base, data, temporary.is_none(), &people);
                Ok(())
            })
            .await
        })
    }
}

/// Every record of the demonstration's story, told from `now`, without a store.
///
/// # Errors
///
/// [`Failure`] where the story is at fault.
pub fn story(now: DateTime<Utc>) -> Result<Vec<Entry>, Failure> {
    let (_, entries) = Player::new(PROGRAMME, STORY, now)?.replay(&ProgrammeId::new(ID)?)?;
    Ok(entries)
}

/// Writes what the recorders of the demonstration would have written, told from today.
fn write_recorder_files(folder: &Path) -> Result<(), Failure> {
    std::fs::create_dir_all(folder)?;
    for file in simulation::files(Utc::now())? {
        std::fs::write(folder.join(&file.name), &file.bytes)?;
        println!("{}  recorder {}, run {}", file.name, file.recorder, file.run);
    }
    Ok(())
}

async fn open(at: &Whereabouts) -> Result<Store, Failure> {
    if store::holds_data(&at.data) {
        let store = Store::open_at(at).await?;
        if store.programmes().iter().any(|id| id.as_str() == ID) {
            return Ok(store);
        }
        return Err(Failure::of_input(format!(
            "rungbook: {} holds a ledger that is not the demonstration's; name another folder",
            at.data.display()
        )));
    }
    let store = Store::open_at(at).await?;
    make(&store).await?;
    recordings::take_in(&store, &ProgrammeId::new(ID)?, Utc::now()).await?;
    Ok(store)
}

/// Plays the programme's past through the commands that a user has, and gives everybody an account.
async fn make(store: &Store) -> Result<(), Failure> {
    let id = ProgrammeId::new(ID)?;
    for step in Player::new(PROGRAMME, STORY, Utc::now())?.into_steps() {
        let title = step.founds().map(str::to_owned);
        let decided = step.clone();
        let act = Act {
            programme: id.clone(),
            by: step.by.clone(),
            at: step.at,
            idempotency: None,
            decide: Box::new(move |state| decided.decide(state)),
            reply: Box::new(|_, _| Reply { status: 200, body: Vec::new(), headers: Vec::new() }),
        };
        let played = match title {
            Some(title) => store.found(title, act).await,
            None => store.act(act).await,
        };
        played.map_err(|error| match error {
            ActError::Refused(refusal) => step.refused(refusal).into(),
            other => Failure::from(other),
        })?;
    }
    for person in people(store)? {
        let account = NewAccount {
            password_hash: http_service::hash_password(&person.handle, PASSWORD)?,
            pin_hash: Some(http_service::hash_pin(PIN)?),
            administrator: person.roles.contains(&Role::Lead),
            handle: person.handle,
            name: person.name,
        };
        store.create_account(account, Utc::now(), None).await?;
    }
    Ok(())
}

fn people(store: &Store) -> Result<Vec<Person>, Failure> {
    let id = ProgrammeId::new(ID)?;
    Ok(store.read(&id, |state, _| state.people.values().cloned().collect()).unwrap_or_default())
}

fn greet(base: &str, data: &Path, kept: bool, people: &[Person]) {
    println!("Rungbook serves the demonstration programme \"{ID}\" on {base}");
    if kept {
        println!("It is kept in {}.", data.display());
    } else {
        println!(
            "It is gone when the program ends (Ctrl-C); to keep it, name a folder with --data DIR."
        );
    }
    println!();
    println!("Everybody signs in with the password \"{PASSWORD}\" and signs with the PIN {PIN}:");
    for person in people {
        let roles: Vec<_> = person.roles.iter().map(|role| role.in_words()).collect();
        println!("  {:<10} {:<22} {}", person.handle.as_str(), person.name, roles.join(", "));
    }
    println!();
    println!("All of it is invented. Rungbook advises; it clears nobody to fly.");
    println!("The description of the API: {base}/api/v1/openapi.json");
}
