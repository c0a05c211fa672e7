//! Who may sign in. Hashes are made and checked by the caller.

use chrono::{DateTime, SubsecRound, Utc};
use programme::codes::PersonHandle;

use crate::fault::WriteError;
use crate::idempotency::{Idempotency, KEPT_FOR, Reply, ToRemember};
use crate::sql;
use crate::store::{Shared, Store};

/// An account.
#[derive(Clone, PartialEq, Eq)]
pub struct Account {
    /// The name to sign in with.
    pub handle: PersonHandle,
    /// The person's name.
    pub name: String,
    /// The password's hash, as the caller made it.
    pub password_hash: String,
    /// The PIN's hash, as the caller made it.
    pub pin_hash: Option<String>,
    /// Whether the person may manage accounts and begin programmes.
    pub administrator: bool,
    /// When the account was made.
    pub created_at: DateTime<Utc>,
    /// Since when the person may not sign in.
    pub disabled_at: Option<DateTime<Utc>>,
    /// When all sessions of the person were ended last.
    pub tokens_valid_from: DateTime<Utc>,
}

impl std::fmt::Debug for Account {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Account")
            .field("handle", &self.handle)
            .field("administrator", &self.administrator)
            .field("disabled_at", &self.disabled_at)
            .finish_non_exhaustive()
    }
}

/// An account to be made.
#[derive(Clone, PartialEq, Eq)]
pub struct NewAccount {
    /// The name to sign in with; kept for ever.
    pub handle: PersonHandle,
    /// The person's name.
    pub name: String,
    /// The password's hash.
    pub password_hash: String,
    /// The PIN's hash.
    pub pin_hash: Option<String>,
    /// Whether the person may manage accounts and begin programmes.
    pub administrator: bool,
}

impl std::fmt::Debug for NewAccount {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("NewAccount")
            .field("handle", &self.handle)
            .field("administrator", &self.administrator)
            .finish_non_exhaustive()
    }
}

/// A change of accounts that was not made.
#[derive(Debug, thiserror::Error)]
pub enum AccountError {
    /// There is no such account.
    #[error("there is no account \"{0}\"")]
    Unknown(PersonHandle),
    /// The handle is taken, maybe by somebody who has left.
    #[error("there is an account \"{0}\" already; handles are kept for ever, so choose another")]
    Exists(PersonHandle),
    /// Nobody would be left to manage accounts.
    #[error("\"{0}\" is the last administrator who can sign in; make another one first")]
    LastAdministrator(PersonHandle),
    /// It could not be written.
    #[error(transparent)]
    NotWritten(#[from] WriteError),
}

/// What a change found, inside its transaction.
enum Change {
    Made(Box<Account>),
    Unknown,
    Exists,
    LastAdministrator,
}

impl Store {
    /// Makes an account; with `remember`, keeps the reply to a person's key in the same transaction.
    ///
    /// # Errors
    ///
    /// [`AccountError`]; nothing was written.
    pub async fn create_account(
        &self,
        new: NewAccount,
        at: DateTime<Utc>,
        remember: Option<(PersonHandle, Idempotency, Reply)>,
    ) -> Result<Account, AccountError> {
        let handle = new.handle.clone();
        let at = at.trunc_subsecs(6);
        let account = Account {
            handle: new.handle,
            name: new.name,
            password_hash: new.password_hash,
            pin_hash: new.pin_hash,
            administrator: new.administrator,
            created_at: at,
            disabled_at: None,
            tokens_valid_from: at,
        };
        let remember = remember.map(|(person, idempotency, reply)| ToRemember {
            person,
            idempotency,
            reply,
            at,
        });
        let change = self
            .write(
                async move |link| {
                    if sql::account::find(link, &account.handle).await?.is_some() {
                        return Ok(Change::Exists);
                    }
                    sql::account::insert(link, &account).await?;
                    let remember: Vec<_> = remember.iter().collect();
                    sql::idempotency::insert(link, &remember, at - KEPT_FOR).await?;
                    Ok(Change::Made(Box::new(account)))
                },
                keep,
            )
            .await?;
        answer(change, handle)
    }

    /// Every account, by handle.
    pub fn accounts(&self) -> Vec<Account> {
        self.shared().sign_ins.read().accounts.values().cloned().collect()
    }

    /// The account of that handle, also when it is disabled.
    pub fn account(&self, handle: &PersonHandle) -> Option<Account> {
        self.shared().sign_ins.read().accounts.get(handle).cloned()
    }

    /// Sets the password's hash and ends the person's sessions.
    ///
    /// # Errors
    ///
    /// [`AccountError`]; nothing was changed.
    pub async fn set_password_hash(
        &self,
        handle: &PersonHandle,
        hash: String,
        at: DateTime<Utc>,
    ) -> Result<Account, AccountError> {
        self.change(handle, at, true, move |account| account.password_hash = hash).await
    }

    /// Sets the PIN's hash, or takes the PIN away.
    ///
    /// # Errors
    ///
    /// [`AccountError`]; nothing was changed.
    pub async fn set_pin_hash(
        &self,
        handle: &PersonHandle,
        hash: Option<String>,
        at: DateTime<Utc>,
    ) -> Result<Account, AccountError> {
        self.change(handle, at, false, move |account| account.pin_hash = hash).await
    }

    /// Sets the person's name.
    ///
    /// # Errors
    ///
    /// [`AccountError`]; nothing was changed.
    pub async fn set_name(
        &self,
        handle: &PersonHandle,
        name: String,
        at: DateTime<Utc>,
    ) -> Result<Account, AccountError> {
        self.change(handle, at, false, move |account| account.name = name).await
    }

    /// Makes a person an administrator, or no longer one. Acts at once.
    ///
    /// # Errors
    ///
    /// [`AccountError`]; nothing was changed.
    pub async fn set_administrator(
        &self,
        handle: &PersonHandle,
        administrator: bool,
        at: DateTime<Utc>,
    ) -> Result<Account, AccountError> {
        self.change(handle, at, false, move |account| account.administrator = administrator).await
    }

    /// Lets a person sign in no more and ends their sessions. Acts at once.
    ///
    /// # Errors
    ///
    /// [`AccountError`]; nothing was changed.
    pub async fn disable_account(
        &self,
        handle: &PersonHandle,
        at: DateTime<Utc>,
    ) -> Result<Account, AccountError> {
        self.change(handle, at, true, move |account| {
            account.disabled_at.get_or_insert(at.trunc_subsecs(6));
        })
        .await
    }

    /// Lets a person sign in again.
    ///
    /// # Errors
    ///
    /// [`AccountError`]; nothing was changed.
    pub async fn enable_account(
        &self,
        handle: &PersonHandle,
        at: DateTime<Utc>,
    ) -> Result<Account, AccountError> {
        self.change(handle, at, false, move |account| account.disabled_at = None).await
    }

    /// Ends every session of a person. Acts at once.
    ///
    /// # Errors
    ///
    /// [`AccountError`]; nothing was changed.
    pub async fn end_sessions_of(
        &self,
        handle: &PersonHandle,
        at: DateTime<Utc>,
    ) -> Result<Account, AccountError> {
        self.change(handle, at, true, |_| {}).await
    }

    async fn change(
        &self,
        handle: &PersonHandle,
        at: DateTime<Utc>,
        ends_sessions: bool,
        change: impl FnOnce(&mut Account) + Send + 'static,
    ) -> Result<Account, AccountError> {
        let handle = handle.clone();
        let sought = handle.clone();
        let at = at.trunc_subsecs(6);
        let change = self
            .write(
                async move |link| {
                    let Some(mut account) = sql::account::find(link, &sought).await? else {
                        return Ok(Change::Unknown);
                    };
                    let managed = account.administrator && account.disabled_at.is_none();
                    change(&mut account);
                    let manages = account.administrator && account.disabled_at.is_none();
                    if managed && !manages && !sql::account::another_manages(link, &sought).await? {
                        return Ok(Change::LastAdministrator);
                    }
                    if ends_sessions {
                        account.tokens_valid_from = at;
                        sql::session::revoke_all_of(link, &sought, at).await?;
                    }
                    sql::account::update(link, &account).await?;
                    Ok(Change::Made(Box::new(account)))
                },
                move |shared, change| {
                    keep(shared, change);
                    if let (Change::Made(account), true) = (change, ends_sessions) {
                        shared.sign_ins.write().end_all_of(&account.handle);
                    }
                },
            )
            .await?;
        answer(change, handle)
    }
}

fn keep(shared: &Shared, change: &Change) {
    if let Change::Made(account) = change {
        let account = Account::clone(account);
        shared.sign_ins.write().accounts.insert(account.handle.clone(), account);
    }
}

fn answer(change: Change, handle: PersonHandle) -> Result<Account, AccountError> {
    match change {
        Change::Made(account) => Ok(*account),
        Change::Unknown => Err(AccountError::Unknown(handle)),
        Change::Exists => Err(AccountError::Exists(handle)),
        Change::LastAdministrator => Err(AccountError::LastAdministrator(handle)),
    }
}
