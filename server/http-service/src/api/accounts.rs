//! Accounts of the server, for administrators.

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, Utc};
use programme::codes::PersonHandle;
use serde::{Deserialize, Serialize};
use store::{Account, AccountError, NewAccount, Remembered, Reply};

use crate::access::Administrator;
use crate::desk::{Answer, Shown, send};
use crate::entity_tag::{Amends, Precondition, Present};
use crate::given::{At, Given, Query};
use crate::office::Office;
use crate::page::{Page, after};
use crate::problem::{FAULT, INVALID, Problem};

/// An account.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Account)]
pub struct AccountView {
    /// The handle, which is kept for ever.
    pub handle: PersonHandle,
    /// The person's name.
    #[schema(example = "Ada Thorn")]
    pub name: String,
    /// Whether the person manages accounts and begins programmes.
    pub administrator: bool,
    /// Whether the person can sign with a PIN.
    pub has_pin: bool,
    /// When the account was made.
    pub created_at: DateTime<Utc>,
    /// Since when the person may not sign in.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub disabled_at: Option<DateTime<Utc>>,
}

impl From<Account> for AccountView {
    fn from(account: Account) -> Self {
        Self {
            handle: account.handle,
            name: account.name,
            administrator: account.administrator,
            has_pin: account.pin_hash.is_some(),
            created_at: account.created_at,
            disabled_at: account.disabled_at,
        }
    }
}

/// An account to be made.
#[derive(Debug, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewAccountBody {
    /// The handle to sign in with; kept for ever.
    pub handle: PersonHandle,
    /// The person's name.
    #[schema(min_length = 1, max_length = 200, example = "Ada Thorn")]
    pub name: String,
    /// The first password: 12 characters or more, without the handle in it.
    #[schema(format = Password, min_length = 12, max_length = 256, example = "wet grass and warm cells")]
    pub password: String,
    /// Whether the person manages accounts and begins programmes.
    #[serde(default)]
    pub administrator: bool,
}

/// What can be changed of an account.
#[derive(Debug, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AmendAccount {
    /// The person's name.
    #[schema(min_length = 1, max_length = 200, example = "Ada Thorn")]
    pub name: String,
    /// Whether the person manages accounts and begins programmes.
    pub administrator: bool,
    /// Whether the person may not sign in; it ends their sessions at once.
    pub disabled: bool,
}

/// A password that an administrator sets.
#[derive(Debug, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ResetPassword {
    /// The password: 12 characters or more, without the handle in it.
    #[schema(format = Password, min_length = 12, max_length = 256, example = "wet grass and warm cells")]
    pub new_password: String,
}

/// Which page of the accounts.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct AccountPage {
    /// The handle of the last row of the page before; absent: the first page.
    #[param(max_length = 64)]
    pub after: Option<String>,
    /// Rows at most.
    #[param(minimum = 1, maximum = 500, default = 100)]
    pub limit: Option<u16>,
}

/// Every account, by handle.
#[utoipa::path(
    get, path = "",
    params(AccountPage),
    responses((status = 200, description = "A page of accounts.", body = Page<AccountView>)),
)]
pub(crate) async fn list(
    _: Administrator,
    page: Query<AccountPage>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let after: Option<PersonHandle> = after(page.after.as_deref())?;
    let rows = office
        .store
        .accounts()
        .into_iter()
        .filter(|account| after.as_ref().is_none_or(|after| account.handle > *after))
        .map(|account| (account.handle.clone(), AccountView::from(account)));
    Ok(Shown::new(&Page::of(rows, page.limit, &request)?)?.reply(request.headers()))
}

/// One account.
#[utoipa::path(get, path = "", responses((status = 200, description = "The account.", body = AccountView)))]
pub(crate) async fn read(
    _: Administrator,
    person: At<PersonHandle>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let account =
        office.store.account(&person).ok_or_else(|| Problem::unknown("account", &*person))?;
    Ok(shown(account)?.reply(request.headers()))
}

/// Make an account. What the person may do in a programme is listed in the programme.
#[utoipa::path(
    post, path = "",
    request_body(content = NewAccountBody, example = json!({
        "handle": "freya",
        "name": "Freya Lindqvist",
        "password": "wet grass and warm cells",
    })),
    responses((status = 201, description = "Made.", body = AccountView)),
)]
pub(crate) async fn create(
    by: Administrator,
    given: Given<NewAccountBody>,
    office: Office,
) -> Answer {
    let Given { body, asked } = given;
    let now = office.now();
    let key = asked.idempotency;
    if let Some(key) = &key {
        match office.store.remembered(&by.handle, key, now).await? {
            Remembered::Nothing => {}
            Remembered::Same(reply) => return Ok(send(reply, true)),
            Remembered::Another => return Err(Problem::key_reused()),
        }
    }
    let name = checked_name(body.name)?;
    let password_hash =
        office.secrets.hash_password(&body.handle, "password", body.password).await?;
    let reply = Reply {
        status: StatusCode::CREATED.as_u16(),
        body: serde_json::to_vec(&AccountView {
            handle: body.handle.clone(),
            name: name.clone(),
            administrator: body.administrator,
            has_pin: false,
            created_at: chrono::SubsecRound::trunc_subsecs(now, 6),
            disabled_at: None,
        })
        .map_err(|error| Problem::new(FAULT, "The reply could not be written.").because(error))?,
        headers: vec![("location".to_owned(), format!("/api/v1/accounts/{}", body.handle))],
    };
    let new = NewAccount {
        handle: body.handle,
        name,
        password_hash,
        pin_hash: None,
        administrator: body.administrator,
    };
    let remember = key.clone().map(|key| (by.handle.clone(), key, reply.clone()));
    let account = match (office.store.create_account(new, now, remember).await, key) {
        (Ok(account), _) => account,
        // The same request may have been done meanwhile, here or by another server.
        (Err(AccountError::Exists(handle)), Some(key)) => {
            return match office.store.remembered(&by.handle, &key, now).await? {
                Remembered::Same(reply) => Ok(send(reply, true)),
                Remembered::Another => Err(Problem::key_reused()),
                Remembered::Nothing => Err(AccountError::Exists(handle).into()),
            };
        }
        (Err(error), _) => return Err(error.into()),
    };
    tracing::info!(by = %by.handle, account = %account.handle, "{} made the account {}", by.handle, account.handle);
    Ok(send(reply, false))
}

/// Change an account: its name, whether it manages the server, whether it may sign in.
#[utoipa::path(
    put, path = "",
    request_body(content = AmendAccount, example = json!({
        "name": "Ines Calloway",
        "administrator": false,
        "disabled": false,
    })),
    params(Amends),
    responses((status = 200, description = "Changed.", body = AccountView)),
)]
pub(crate) async fn amend(
    by: Administrator,
    person: At<PersonHandle>,
    precondition: Precondition,
    given: Given<AmendAccount>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let AmendAccount { name, administrator, disabled } = given.body;
    let name = checked_name(name)?;
    let (store, now) = (&office.store, office.now());
    let present = store.account(&person).ok_or_else(|| Problem::unknown("account", &*person))?;
    let tag = shown(present.clone())?;
    precondition
        .check("the account", tag.tag().map(Present::Tag))
        .map_err(|problem| problem.with_present(&tag))?;
    // Taking rights away comes first and can be refused; then nothing else was changed.
    let mut account = present.clone();
    if disabled && present.disabled_at.is_none() {
        account = store.disable_account(&person, now).await?;
    }
    if administrator != present.administrator {
        account = store.set_administrator(&person, administrator, now).await?;
    }
    if !disabled && present.disabled_at.is_some() {
        account = store.enable_account(&person, now).await?;
    }
    if name != present.name {
        account = store.set_name(&person, name, now).await?;
    }
    tracing::info!(by = %by.handle, account = %account.handle, administrator, disabled, "{} changed the account {}", by.handle, account.handle);
    Ok(shown(account)?.reply(request.headers()))
}

/// Set a person's password; it ends their sessions at once.
#[utoipa::path(
    put, path = "",
    request_body(content = ResetPassword, example = json!({ "new_password": "wet grass and warm cells" })),
    responses((status = 204, description = "Set.")),
)]
pub(crate) async fn reset_password(
    by: Administrator,
    person: At<PersonHandle>,
    given: Given<ResetPassword>,
    office: Office,
) -> Answer {
    let hash =
        office.secrets.hash_password(&person, "new_password", given.body.new_password).await?;
    office.store.set_password_hash(&person, hash, office.now()).await?;
    tracing::info!(by = %by.handle, account = %*person, "{} set the password of {}", by.handle, *person);
    Ok(HttpResponse::NoContent().finish())
}

/// End every session of a person at once.
#[utoipa::path(delete, path = "", responses((status = 204, description = "Ended.")))]
pub(crate) async fn end_sessions(
    by: Administrator,
    person: At<PersonHandle>,
    office: Office,
) -> Answer {
    office.store.end_sessions_of(&person, office.now()).await?;
    tracing::info!(by = %by.handle, account = %*person, "{} ended the sessions of {}", by.handle, *person);
    Ok(HttpResponse::NoContent().finish())
}

fn shown(account: Account) -> Result<Shown, Problem> {
    Shown::tagged(&AccountView::from(account))
}

fn checked_name(name: String) -> Result<String, Problem> {
    let length = name.trim().chars().count();
    if (1..=200).contains(&length) && !name.chars().any(char::is_control) {
        return Ok(name.trim().to_owned());
    }
    Err(Problem::of_field(INVALID, "name", "A name has 1 to 200 characters, on one line."))
}
