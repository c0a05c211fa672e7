//! Accounts.

use programme::codes::PersonHandle;

use super::{Link, micros, moment, not_a, on, run};
use crate::account::Account;

#[derive(sqlx::FromRow)]
struct Found {
    handle: String,
    name: String,
    password_hash: String,
    pin_hash: Option<String>,
    administrator: bool,
    created_at: i64,
    disabled_at: Option<i64>,
    tokens_valid_from: i64,
}

pub(crate) async fn all(link: &mut Link<'_>) -> sqlx::Result<Vec<Account>> {
    let found: Vec<Found> = on!(link, connection => sqlx::query_as("SELECT * FROM account ORDER BY handle").fetch_all(connection))?;
    found.into_iter().map(read).collect()
}

pub(crate) async fn find(
    link: &mut Link<'_>,
    handle: &PersonHandle,
) -> sqlx::Result<Option<Account>> {
    let found: Option<Found> = on!(link, connection => sqlx::query_as("SELECT * FROM account WHERE handle = $1")
        .bind(handle.as_str())
        .fetch_optional(connection))?;
    found.map(read).transpose()
}

fn read(found: Found) -> sqlx::Result<Account> {
    Ok(Account {
        handle: PersonHandle::new(&found.handle).map_err(|_| not_a("handle", &found.handle))?,
        name: found.name,
        password_hash: found.password_hash,
        pin_hash: found.pin_hash,
        administrator: found.administrator,
        created_at: moment(found.created_at)?,
        disabled_at: found.disabled_at.map(moment).transpose()?,
        tokens_valid_from: moment(found.tokens_valid_from)?,
    })
}

pub(crate) async fn insert(link: &mut Link<'_>, account: &Account) -> sqlx::Result<()> {
    run!(link, connection => sqlx::query(
        "INSERT INTO account
             (handle, name, password_hash, pin_hash, administrator, created_at, disabled_at, tokens_valid_from)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(account.handle.as_str())
    .bind(&account.name)
    .bind(&account.password_hash)
    .bind(&account.pin_hash)
    .bind(account.administrator)
    .bind(micros(account.created_at))
    .bind(account.disabled_at.map(micros))
    .bind(micros(account.tokens_valid_from))
    .execute(connection))?;
    Ok(())
}

pub(crate) async fn update(link: &mut Link<'_>, account: &Account) -> sqlx::Result<()> {
    run!(link, connection => sqlx::query(
        "UPDATE account SET name = $2, password_hash = $3, pin_hash = $4, administrator = $5,
             disabled_at = $6, tokens_valid_from = $7
         WHERE handle = $1",
    )
    .bind(account.handle.as_str())
    .bind(&account.name)
    .bind(&account.password_hash)
    .bind(&account.pin_hash)
    .bind(account.administrator)
    .bind(account.disabled_at.map(micros))
    .bind(micros(account.tokens_valid_from))
    .execute(connection))?;
    Ok(())
}

/// Whether somebody else is an administrator who can sign in.
pub(crate) async fn another_manages(
    link: &mut Link<'_>,
    than: &PersonHandle,
) -> sqlx::Result<bool> {
    on!(link, connection => sqlx::query_scalar(
        "SELECT EXISTS (SELECT 1 FROM account
             WHERE administrator AND disabled_at IS NULL AND handle <> $1)",
    )
    .bind(than.as_str())
    .fetch_one(connection))
}
