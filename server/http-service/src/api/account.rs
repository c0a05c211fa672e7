//! A person's own account: who they are, their password and their PIN.

use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use programme::codes::PersonHandle;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::access::SignedIn;
use crate::desk::{Answer, answer};
use crate::given::Given;
use crate::office::Office;
use crate::problem::Problem;

/// Who is signed in.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct OwnAccount {
    /// The handle.
    pub handle: PersonHandle,
    /// The name.
    #[schema(example = "Ada Thorn")]
    pub name: String,
    /// Whether you manage accounts and begin programmes.
    pub administrator: bool,
    /// Whether you can sign with a PIN.
    pub has_pin: bool,
    /// The session that asks.
    pub session: Uuid,
}

/// A new password.
#[derive(Debug, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ChangePassword {
    /// The password as it is.
    #[schema(format = Password, max_length = 256)]
    pub secret: String,
    /// The password as it will be: 12 characters or more, without the handle in it.
    #[schema(format = Password, min_length = 12, max_length = 256, example = "wet grass and warm cells")]
    pub new_password: String,
}

/// A PIN to sign with.
#[derive(Debug, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ChangePin {
    /// Your password.
    #[schema(format = Password, max_length = 256)]
    pub secret: String,
    /// The PIN as it will be: 6 to 12 digits, not all the same and not counting up or down.
    #[schema(pattern = "^[0-9]{6,12}$", example = "480213")]
    pub pin: String,
}

/// Who is signed in.
#[utoipa::path(get, path = "", responses((status = 200, description = "You.", body = OwnAccount)))]
pub(crate) async fn read(person: SignedIn) -> Answer {
    answer(
        StatusCode::OK,
        &OwnAccount {
            handle: person.handle,
            name: person.name,
            administrator: person.administrator,
            has_pin: person.has_pin,
            session: person.session,
        },
    )
}

/// Change your password. Every session of yours ends, also this one.
#[utoipa::path(
    put, path = "",
    request_body(content = ChangePassword, example = json!({
        "secret": "one rung at a time",
        "new_password": "wet grass and warm cells",
    })),
    responses((status = 204, description = "Changed. Sign in again.")),
)]
pub(crate) async fn change_password(
    person: SignedIn,
    given: Given<ChangePassword>,
    office: Office,
) -> Answer {
    new_password_of(&person.handle, given.body, &office).await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Sets somebody's password, who knows the present one, and ends all sessions of theirs.
pub(crate) async fn new_password_of(
    person: &PersonHandle,
    change: ChangePassword,
    office: &Office,
) -> Result<(), Problem> {
    office.confirm_password(person, change.secret).await?;
    let hash = office.secrets.hash_password(person, "new_password", change.new_password).await?;
    office.store.set_password_hash(person, hash, office.now()).await?;
    tracing::info!(%person, "{person} changed their password");
    Ok(())
}

/// Set a PIN, with which you can sign on the field.
#[utoipa::path(
    put, path = "",
    request_body(content = ChangePin, example = json!({ "secret": "one rung at a time", "pin": "480213" })),
    responses((status = 204, description = "Set.")),
)]
pub(crate) async fn change_pin(
    person: SignedIn,
    given: Given<ChangePin>,
    office: Office,
) -> Answer {
    new_pin_of(&person.handle, given.body, &office).await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Sets the PIN of somebody who knows their password.
pub(crate) async fn new_pin_of(
    person: &PersonHandle,
    change: ChangePin,
    office: &Office,
) -> Result<(), Problem> {
    office.confirm_password(person, change.secret).await?;
    let hash = office.secrets.hash_pin(change.pin).await?;
    office.store.set_pin_hash(person, Some(hash), office.now()).await?;
    tracing::info!(%person, "{person} set a PIN");
    Ok(())
}

/// Take your PIN away; from then on you sign with your password.
#[utoipa::path(delete, path = "", responses((status = 204, description = "Taken away.")))]
pub(crate) async fn remove_pin(person: SignedIn, office: Office) -> Answer {
    no_pin_of(&person.handle, &office).await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Takes somebody's PIN away.
pub(crate) async fn no_pin_of(person: &PersonHandle, office: &Office) -> Result<(), Problem> {
    office.store.set_pin_hash(person, None, office.now()).await?;
    tracing::info!(%person, "{person} took their PIN away");
    Ok(())
}
