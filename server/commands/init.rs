//! `rungbook init`: a new, empty place for a team.

use chrono::Utc;
use clap::Args;
use programme::codes::PersonHandle;
use store::{NewAccount, Store};

use super::tls::Authority;
use super::{Failure, password, place};
use crate::settings::{Flags, Settings};

/// Make a new data folder with its first administrator, and an authority of its own for TLS.
///
/// The password is read from RUNGBOOK_PASSWORD, or asked for on the terminal.
#[derive(Debug, Args)]
pub struct Init {
    /// The name that the administrator signs in with
    #[arg(long, value_name = "HANDLE")]
    administrator: PersonHandle,
    /// The administrator's own name
    #[arg(long, value_name = "NAME")]
    name: Option<String>,
}

impl Init {
    /// Makes the folder.
    ///
    /// # Errors
    ///
    /// [`Failure`] where the folder holds a ledger already or cannot be written, or the password is not allowed.
    pub fn run(self, flags: &Flags) -> Result<(), Failure> {
        let settings = Settings::gather(flags, None)?;
        let whereabouts = settings.whereabouts()?;
        let data = whereabouts.data.as_path();
        if place::run(async { Ok(store::holds_ledger(&whereabouts).await?) })? {
            return Err(Failure::of_input(format!(
                "rungbook: {whereabouts} holds a ledger already; nothing was changed"
            )));
        }
        let password_hash =
            http_service::hash_password(&self.administrator, &password::new_password()?)?;
        place::run(async {
            let store = Store::open_at(&whereabouts).await?;
            let account = NewAccount {
                name: self.name.unwrap_or_else(|| self.administrator.to_string()),
                handle: self.administrator,
                password_hash,
                pin_hash: None,
                administrator: true,
            };
            let account = store.create_account(account, Utc::now(), None).await?;
            store.close().await;
            Authority::of(data)?;
            println!("{whereabouts} is ready; {} is its administrator.", account.handle);
            println!("Next: rungbook person add HANDLE --data {}", data.display());
            println!(
                "      rungbook import programme.toml --programme ID --by HANDLE --data {}",
                data.display()
            );
            println!("      rungbook serve --data {}", data.display());
            println!(
                "Phones on the field's network: rungbook serve --tls --listen 0.0.0.0:8440 --data {}",
                data.display()
            );
            Ok(())
        })
    }
}
