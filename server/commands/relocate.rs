//! `rungbook move`: everything to another place.

use std::path::{Path, PathBuf};

use clap::Args;
use store::{Carried, Whereabouts};

use super::{Failure, place};
use crate::settings::{Flags, Settings, Url};

/// Move everything from a data folder to a PostgreSQL database, or back, or its recordings into a bucket or out of one: every
/// programme with the same root, people and keys.
///
/// Stop all servers first. One of the two places is a folder, the other the URL of a database; its machine's own folder, in
/// which recordings are kept, is named with --data. The new place has to be new or empty. The old one is left as it was, but
/// for its keys: whoever goes on with it all the same goes on from a copy, in which nobody signs.
#[derive(Debug, Args)]
pub struct Move {
    /// Where everything is: a data folder, or the URL of a database (postgres://…)
    #[arg(long, value_name = "DIR or URL", hide_env_values = true)]
    from: Url,
    /// Where it goes
    #[arg(long, value_name = "DIR or URL", hide_env_values = true)]
    to: Url,
    /// Where its recordings go: "folder", or the URL of a bucket (s3://…). Without it those in the folder go into the folder of
    /// the new place, and those in a bucket (--recordings) stay there
    #[arg(long, value_name = "folder or URL", hide_env_values = true)]
    recordings_to: Option<Url>,
}

impl Move {
    /// Carries everything over, and checks it there.
    ///
    /// # Errors
    ///
    /// [`Failure`] where something is at the new place, a record fails its check, or a place cannot be used.
    pub fn run(self, flags: &Flags) -> Result<(), Failure> {
        let settings = Settings::gather(flags, None)?;
        let (from, mut to) = (given(&self.from, &settings)?, given(&self.to, &settings)?);
        if let Some(place) = &self.recordings_to {
            to.recordings = match place.text() {
                "folder" => None,
                url => Some(url.parse()?),
            };
        }
        let both_databases = from.database.is_some() && to.database.is_some();
        let both_folders = from.database.is_none() && to.database.is_none();
        if both_databases || (both_folders && from.recordings == to.recordings) {
            return Err(Failure::of_input(
                "rungbook: one of the two is a folder and the other a database (postgres://…), or the recordings go elsewhere (--recordings-to); a folder is moved as any folder, and a database by its own tools",
            ));
        }
        let carried = place::run(async { Ok(store::relocate(&from, &to).await?) })?;
        for Carried { programme, from, to } in &carried {
            println!("{programme}: {} records, root {}", from.size, from.root);
            println!("{programme}: {} records, root {} at the new place", to.size, to.root);
        }
        println!("{to} has everything. Everybody signs in anew.");
        if let Some(bucket) = &to.recordings {
            println!("Its recordings are in {bucket}: serve it with --recordings {bucket}.");
        }
        println!(
            "{from} is left as it was, without its keys: nobody signs there. Keep it until you have a backup of the new place."
        );
        Ok(())
    }
}

fn given(place: &Url, settings: &Settings) -> Result<Whereabouts, Failure> {
    match place.database()? {
        None => Ok(Whereabouts {
            recordings: settings.recordings.clone(),
            ..Path::new(place.text()).into()
        }),
        Some(database) => {
            let data: PathBuf = settings.data()?.to_owned();
            let recordings = settings.recordings.clone();
            Ok(Whereabouts { data, database: Some(database), recordings })
        }
    }
}
