//! One's own account: password, PIN, and where one is signed in.

use actix_web::http::StatusCode;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

use super::door::Visitor;
use super::form::{Draft, Form, Hidden, NEW_PASSWORD, PIN, SECRET, Trouble};
use super::led_to;
use super::words::moment;
use crate::api::account::{ChangePassword, ChangePin, new_password_of, new_pin_of, no_pin_of};
use crate::api::sessions::{StandingSession, end_of, no_such_sign_in, sessions_of};
use crate::desk::Answer;
use crate::given::Query;
use crate::office::Office;
use crate::problem::Problem;

/// What was just done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Done {
    PinSet,
    PinTakenAway,
    SignInEnded,
}

impl Done {
    const fn told(self) -> &'static str {
        match self {
            Self::PinSet => "Your PIN is set. From now on you can sign with it.",
            Self::PinTakenAway => "Your PIN was taken away. You sign with your password.",
            Self::SignInEnded => "That sign-in has ended.",
        }
    }

    const fn name(self) -> &'static str {
        match self {
            Self::PinSet => "pin-set",
            Self::PinTakenAway => "pin-taken-away",
            Self::SignInEnded => "sign-in-ended",
        }
    }
}

/// The name of the form that ends a sign-in.
fn of_sign_in(session: Uuid) -> String {
    format!("end-{session}")
}

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct AccountPage {
    pub handle: String,
    pub name: String,
    pub administrator: bool,
    pub has_pin: bool,
    pub token: String,
    /// Oldest first.
    pub sign_ins: Vec<StandingSession>,
    pub done: Option<Done>,
    pub trouble: Option<Trouble>,
}

impl AccountPage {
    fn body(&self) -> Markup {
        html! {
            h1 { "Your account" }
            @if let Some(trouble) = self.unplaced() { (trouble.told.part()) }
            @if let Some(done) = self.done { p.recorded role="status" { (done.told()) } }
            p { (self.name) ", who signs in as " strong { (self.handle) } "." @if self.administrator { " You manage the accounts here." } }
            (self.pin())
            (self.password())
            (self.where_signed_in())
        }
    }

    /// A refused form of a sign-in that has ended meanwhile, or of a PIN that is gone.
    fn unplaced(&self) -> Option<&Trouble> {
        let has_form = |form: &str| {
            let of_row = |row: &StandingSession| !row.current && form == of_sign_in(row.session);
            ["pin", "password"].contains(&form)
                || (form == "pin-removal" && self.has_pin)
                || self.sign_ins.iter().any(of_row)
        };
        self.trouble.as_ref().filter(|trouble| !has_form(&trouble.form))
    }

    fn draft<'a>(&'a self, name: &'a str, to: &'a str) -> Draft<'a> {
        Draft::new(name, to, &self.token, self.trouble.as_ref())
    }

    fn pin(&self) -> Markup {
        let set = self.draft("pin", "/account/pin");
        let remove = self.draft("pin-removal", "/account/pin-removal");
        html! {
            section {
                h2 { "PIN" }
                @if self.has_pin { p { "You have a PIN to sign with on the field." } }
                @else { p { "You have no PIN. With one you sign on the field without typing your password." } }
                (set.form(html! {
                    (set.hidden_text(PIN, if self.has_pin { "Another PIN" } else { "PIN" }, "6 to 12 digits, not all the same and not counting up or down.", Hidden::Pin))
                    (set.hidden_text(SECRET, "Your password", "So that nobody else sets it.", Hidden::Password))
                    (set.send("Set the PIN"))
                }))
                @if self.has_pin { (remove.form(html! { p.send { button.quiet { "Take the PIN away" } } })) }
            }
        }
    }

    fn password(&self) -> Markup {
        let change = self.draft("password", "/account/password");
        html! {
            section {
                h2 { "Password" }
                p { "Changing it ends every sign-in of yours, also this one." }
                (change.form(html! {
                    (change.hidden_text(SECRET, "Your password as it is", "", Hidden::Password))
                    (change.hidden_text(NEW_PASSWORD, "The new password", "12 characters or more, without your handle in it. Words that only you would put together are best.", Hidden::NewPassword))
                    (change.send("Change the password"))
                }))
            }
        }
    }

    fn where_signed_in(&self) -> Markup {
        html! {
            section {
                h2 { "Where you are signed in" }
                p { "End what you do not know, or what a lost phone still has. If you do not know one of them, change your password, too. A program that signed in may carry its sign-in on." }
                ul.calls {
                    @for row in &self.sign_ins {
                        li {
                            p {
                                @if let Some(at) = row.began_at { "Since " (moment(at)) } @else { "Since an unknown moment" }
                                @if row.current { ": " strong { "this one" } }
                                ". It ends " (moment(row.expires_at)) "."
                            }
                            @if !row.current {
                                @let name = of_sign_in(row.session);
                                @let end = self.draft(&name, "/account/sign-ins");
                                (end.form(html! {
                                    (end.hidden("session", row.session.to_string()))
                                    (end.send("End it"))
                                }))
                            }
                        }
                    }
                }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use super::tests::long;
        use chrono::DateTime;
        let page = |many: usize, done: Option<Done>| {
            let row = |place: usize| StandingSession {
                session: Uuid::from_u128(place as u128),
                current: place == 0,
                began_at: (place % 3 < 2).then_some(DateTime::UNIX_EPOCH),
                expires_at: DateTime::UNIX_EPOCH,
            };
            Self {
                handle: if many > 10 { "a".repeat(40) } else { "marit".to_owned() },
                name: long("Marit Sund", many),
                administrator: many > 10,
                has_pin: many > 1,
                token: "0".repeat(64),
                sign_ins: (0..many).map(row).collect(),
                done,
                trouble: None,
            }
        };
        vec![
            ("ordinary", page(3, Some(Done::PinSet)).body()),
            ("empty", page(1, None).body()),
            ("worst case", page(60, None).body()),
        ]
    }
}

/// What the address may say.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
pub(crate) struct Asked {
    done: Option<Done>,
}

/// The page.
pub(crate) async fn show(visitor: Visitor, asked: Query<Asked>, office: Office) -> Answer {
    page(&visitor, asked.done, None, &office)
}

fn page(
    visitor: &Visitor,
    done: Option<Done>,
    trouble: Option<Trouble>,
    office: &Office,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let account = office
        .store
        .account(&visitor.handle)
        .ok_or_else(|| Problem::unknown("person", &visitor.handle))?;
    let page = AccountPage {
        handle: visitor.handle.to_string(),
        name: account.name,
        administrator: account.administrator,
        has_pin: account.pin_hash.is_some(),
        token: visitor.form_token.clone(),
        sign_ins: sessions_of(&visitor.handle, visitor.session, office),
        done,
        trouble,
    };
    Ok(visitor.around("Your account").reply(status, page.body()))
}

/// Leads back to the page, which tells what was done; or shows it again with why nothing was.
fn shown_again(
    outcome: Result<Done, Problem>,
    visitor: &Visitor,
    form: Form,
    office: &Office,
) -> Answer {
    match outcome {
        Ok(done) => Ok(led_to(&format!("/account?done={}", done.name()))),
        Err(problem) => page(visitor, None, Some(form.trouble(problem)), office),
    }
}

/// Changes the password, and leads to where one signs in with it.
pub(crate) async fn change_password(visitor: Visitor, form: Form, office: Office) -> Answer {
    let change = ChangePassword {
        secret: form.text(SECRET).to_owned(),
        new_password: form.text(NEW_PASSWORD).to_owned(),
    };
    match new_password_of(&visitor.handle, change, &office).await {
        Ok(()) => Ok(led_to("/sign-in?to=%2Faccount&password=changed")),
        Err(problem) => shown_again(Err(problem), &visitor, form, &office),
    }
}

/// Sets the PIN.
pub(crate) async fn change_pin(visitor: Visitor, form: Form, office: Office) -> Answer {
    let change =
        ChangePin { secret: form.text(SECRET).to_owned(), pin: form.text(PIN).trim().to_owned() };
    let set = new_pin_of(&visitor.handle, change, &office).await;
    shown_again(set.map(|()| Done::PinSet), &visitor, form, &office)
}

/// Takes the PIN away.
pub(crate) async fn remove_pin(visitor: Visitor, form: Form, office: Office) -> Answer {
    let removed = no_pin_of(&visitor.handle, &office).await;
    shown_again(removed.map(|()| Done::PinTakenAway), &visitor, form, &office)
}

/// Ends one of the sign-ins.
pub(crate) async fn end_sign_in(visitor: Visitor, form: Form, office: Office) -> Answer {
    let session = form.text("session").parse().map_err(|_| no_such_sign_in());
    let ended = match session {
        Ok(session) => end_of(&visitor.handle, session, &office).await,
        Err(problem) => Err(problem),
    };
    shown_again(ended.map(|()| Done::SignInEnded), &visitor, form, &office)
}
