//! `rungbook person`: accounts of people.

use chrono::Utc;
use clap::{Args, Subcommand};
use programme::codes::PersonHandle;
use store::NewAccount;

use super::{Failure, password, place};
use crate::settings::Flags;

/// Accounts of people: add, list, set a password, disable.
///
/// What a person may do in a programme is said by the roles that the programme lists for their handle.
#[derive(Debug, Args)]
pub struct Person {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Add an account; the password is read from RUNGBOOK_PASSWORD or asked for
    Add {
        /// The name to sign in with; kept for ever
        handle: PersonHandle,
        /// The person's own name
        #[arg(long)]
        name: Option<String>,
        /// May manage accounts and begin programmes
        #[arg(long)]
        administrator: bool,
    },
    /// List all accounts
    List,
    /// Set a new password, which ends the person's sessions
    Password {
        /// Whose
        handle: PersonHandle,
    },
    /// Let a person sign in no more; their history stays
    Disable {
        /// Whom
        handle: PersonHandle,
    },
    /// Let a person sign in again
    Enable {
        /// Whom
        handle: PersonHandle,
    },
}

impl Person {
    /// Changes or lists accounts.
    ///
    /// # Errors
    ///
    /// [`Failure`] where a running server has the folder, the account is not there or there already, or the password is
    /// not allowed.
    pub fn run(self, flags: &Flags) -> Result<(), Failure> {
        place::run(async {
            let store = place::open(flags).await?;
            match self.what {
                What::Add { handle, name, administrator } => {
                    let password_hash =
                        http_service::hash_password(&handle, &password::new_password()?)?;
                    let account = NewAccount {
                        name: name.unwrap_or_else(|| handle.to_string()),
                        handle,
                        password_hash,
                        pin_hash: None,
                        administrator,
                    };
                    let account = store.create_account(account, Utc::now(), None).await?;
                    println!("{} can sign in.", account.handle);
                }
                What::List => {
                    for account in store.accounts() {
                        let administrator =
                            if account.administrator { "administrator" } else { "" };
                        let state = if account.disabled_at.is_some() { "disabled" } else { "" };
                        let line = format!(
                            "{:<20} {:<28} {administrator:<13} {state}",
                            account.handle.as_str(),
                            account.name
                        );
                        println!("{}", line.trim_end());
                    }
                }
                What::Password { handle } => {
                    let hash = http_service::hash_password(&handle, &password::new_password()?)?;
                    store.set_password_hash(&handle, hash, Utc::now()).await?;
                    println!("{handle} has a new password and is signed out everywhere.");
                }
                What::Disable { handle } => {
                    store.disable_account(&handle, Utc::now()).await?;
                    println!("{handle} can sign in no more.");
                }
                What::Enable { handle } => {
                    store.enable_account(&handle, Utc::now()).await?;
                    println!("{handle} can sign in again.");
                }
            }
            store.close().await;
            Ok(())
        })
    }
}
