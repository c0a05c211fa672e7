//! Signing in and out.

use actix_web::http::StatusCode;
use actix_web::http::header::LOCATION;
use actix_web::{HttpRequest, HttpResponse};
use maud::{Markup, html};
use programme::codes::PersonHandle;
use serde::{Deserialize, Serialize};

use super::around::Around;
use super::door::{self, Visitor};
use super::form::{Draft, Form, FormAtTheDoor, PASSWORD, Trouble};
use super::led_to;
use crate::api::sessions;
use crate::desk::{Answer, answer};
use crate::office::Office;

/// Who signs in where.
#[derive(Debug, Clone)]
pub(crate) struct SignInPage {
    /// Where they wanted to go.
    pub to: String,
    /// Where they sign in, where the server has several organisations and this one has a name.
    pub organisation: Option<String>,
    /// Whether they have just changed their password.
    pub changed_password: bool,
    pub trouble: Option<Trouble>,
}

impl SignInPage {
    fn body(&self) -> Markup {
        let draft = Draft::new("sign-in", "/sign-in", "", self.trouble.as_ref());
        html! {
            h1 { "Sign in" @if let Some(name) = &self.organisation { " at " (name) } }
            @if self.changed_password { p.recorded role="status" { "If you have just changed your password, every sign-in of yours has ended: sign in with the new one." } }
            p { "Rungbook takes an experimental aircraft from its first ground run to its full flight envelope, one released step at a time." }
            div.narrow {
                (draft.form(html! {
                    (draft.hidden("to", &self.to))
                    div.field {
                        label for="handle" { "Handle" }
                        input #handle type="text" name="handle" value=(self.trouble.as_ref().and_then(|it| it.typed("handle")).unwrap_or_default()) autocomplete="username" autocapitalize="none" spellcheck="false" required;
                    }
                    div.field {
                        label for="password" { "Password" }
                        input #password type="password" name="password" autocomplete="current-password" required;
                    }
                    (draft.send("Sign in"))
                }))
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        let page = |to: &str, organisation: Option<&str>| Self {
            to: to.to_owned(),
            organisation: organisation.map(str::to_owned),
            changed_password: to.starts_with("/account"),
            trouble: None,
        };
        let (far, long) =
            ("/programmes/a-long-name/points/".repeat(20), "Gliding club of ".repeat(8));
        vec![
            ("ordinary", page("/", Some("Fjord Gliding Club")).body()),
            ("empty", page("/", None).body()),
            ("after a change", page("/account", None).body()),
            ("worst case", page(&far, Some(&long)).body()),
        ]
    }
}

/// What the address may say.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    to: String,
    /// What became of the password.
    password: Option<Became>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Became {
    Changed,
}

/// A place of ours, and of nobody else: browsers take `//` and `/\` for another host.
fn our_place(to: &str) -> &str {
    let ours = to.starts_with('/')
        && !to.starts_with("//")
        && !to.contains(['\\', '\n', '\r', '\t'])
        && to.is_ascii();
    if ours { to } else { "/" }
}

/// The page on which people sign in. Who is signed in already is led on.
pub(crate) async fn show(request: HttpRequest, office: Office) -> Answer {
    let wanted = actix_web::web::Query::<Wanted>::from_query(request.query_string());
    let wanted = wanted.map(actix_web::web::Query::into_inner).unwrap_or_default();
    let to = our_place(&wanted.to).to_owned();
    if door::visitor(&request, &office).is_ok() {
        return Ok(led_to(&to));
    }
    let page = SignInPage {
        to,
        organisation: office.organisation.clone(),
        changed_password: wanted.password == Some(Became::Changed),
        trouble: None,
    };
    Ok(Around::of_nobody("Sign in", office.now()).reply(StatusCode::OK, page.body()))
}

/// Signs in. What is typed is looked at as the API looks at it, and takes as long.
pub(crate) async fn begin(form: FormAtTheDoor, request: HttpRequest, office: Office) -> Answer {
    let form = form.0;
    let to = our_place(form.text("to")).to_owned();
    let password = form.text(PASSWORD).to_owned();
    match sessions::admitted(&office, &request, form.text("handle"), password).await {
        Ok(person) => {
            let now = office.now();
            let refresh = office.tokens.handed_out()?;
            let session = sessions::begun(&office, person.clone(), &refresh, now).await?;
            // What this browser was signed in with before is nowhere any more.
            if let Ok(before) = door::visitor(&request, &office) {
                office.store.end_session(before.session, now).await?;
                let (who, ended) = (&before.handle, before.session);
                tracing::info!(person = %who, session = %ended, "a sign-in of {who} ended with another one in its browser");
            }
            let expires_at = now + office.settings.refresh_token_lasts;
            let token = office.tokens.issue_for_pages(&person, session, now, expires_at)?;
            let lasts_s = (expires_at - now).num_seconds();
            let cookie = door::cookie(&request, &office, token, lasts_s);
            Ok(HttpResponse::SeeOther().cookie(cookie).insert_header((LOCATION, to)).finish())
        }
        Err(problem) => {
            let organisation = office.organisation.clone();
            let trouble = Some(form.trouble(problem));
            let page = SignInPage { to, organisation, changed_password: false, trouble };
            let status = page.trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
            Ok(Around::of_nobody("Sign in", office.now()).reply(status, page.body()))
        }
    }
}

/// Who is signed in, as scripts ask before they send what was kept on a device.
#[derive(Debug, Serialize)]
struct SignedInHere {
    /// Absent where nobody is.
    person: Option<PersonHandle>,
    /// What each form of this sign-in carries.
    token: Option<String>,
}

/// Tells who is signed in in this browser.
pub(crate) async fn who(request: HttpRequest, office: Office) -> Answer {
    let visitor = door::visitor(&request, &office).ok();
    let (person, token) = visitor.map(|it| (it.handle, it.form_token)).unzip();
    answer(StatusCode::OK, &SignedInHere { person, token })
}

/// Signs out, at once and everywhere the cookie may be.
pub(crate) async fn end(visitor: Visitor, _: Form, request: HttpRequest, office: Office) -> Answer {
    office.store.end_session(visitor.session, office.now()).await?;
    tracing::info!(person = %visitor.handle, session = %visitor.session, "{} signed out", visitor.handle);
    let cookie = door::cookie(&request, &office, String::new(), 0);
    Ok(HttpResponse::SeeOther().cookie(cookie).insert_header((LOCATION, "/sign-in")).finish())
}

#[cfg(test)]
mod tests {
    use super::our_place;

    #[test]
    fn nobody_is_led_to_another_host_after_signing_in() {
        assert_eq!(our_place("/programmes/tug?recorded=3"), "/programmes/tug?recorded=3");
        for foreign in ["https://else.example/", "//else.example", "/\\else.example", "", "/\t/x"] {
            assert_eq!(our_place(foreign), "/", "{foreign}");
        }
    }
}
