//! A form that was not taken because of who is signed in: what was typed is kept on a page of its own, from which it can be
//! sent once somebody is.
//!
//! The page has what its reader sent and nothing else, and sends it only where they press its button: the form's token is
//! that of the present sign-in, so that the way round is no way past the token.

use actix_web::HttpMessage as _;
use actix_web::HttpRequest;
use actix_web::dev::ServiceRequest;
use actix_web::http::Method;
use maud::{Markup, html};

use super::door::{self, Visitor};
use super::form::{Form, SECRET, Trouble, read};
use crate::office::office_of;
use crate::problem::Problem;

/// What happened, in a word.
pub(super) const TITLE: &str = "Nothing was recorded yet";

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct UnsentPage {
    /// Where the form goes.
    pub to: String,
    /// Who is signed in, and the token of that sign-in.
    pub visitor: Option<(String, String)>,
    /// Whether it is signed by a PIN or password, which is never sent back.
    pub is_signed: bool,
    pub trouble: Trouble,
}

impl UnsentPage {
    fn of(request: &HttpRequest, form: Form, visitor: Option<Visitor>, problem: Problem) -> Self {
        Self {
            to: request.path().to_owned(),
            visitor: visitor.map(|it| (it.name, it.form_token)),
            is_signed: !form.text(SECRET).is_empty(),
            trouble: form.trouble(problem),
        }
    }

    pub fn body(&self) -> Markup {
        let fields = self.trouble.fields().iter().filter(|(name, _)| name != "form.token");
        let token = self.visitor.as_ref().map_or("", |(_, token)| token);
        html! {
            section.told role="alert" {
                h1 { (TITLE) }
                p { (self.trouble.told.detail) }
                @match &self.visitor {
                    None => { p { "What you typed is kept on this page. " a href="/sign-in" target="_blank" { "Sign in beside it" } ", then come back here and send it." } }
                    Some((name, _)) => { p { "What you typed is kept on this page. Sent from here, it is done by " strong { (name) } "." } }
                }
            }
            (self.trouble.what_was_typed())
            form method="post" action=(self.to) id="form-unsent" {
                input type="hidden" name="form.token" value=(token);
                @for (name, text) in fields { input type="hidden" name=(name) value=(text); }
                @if self.is_signed {
                    div.field {
                        label for="unsent-secret" { "Your PIN or password" }
                        p.hint #unsent-secret-hint { "Typed again, it is your signature. It is not kept." }
                        input type="password" id="unsent-secret" name=(SECRET) autocomplete="off" required aria-describedby="unsent-secret-hint";
                    }
                }
                p.send { button { @match &self.visitor { None => "Send it, signed in again", Some(_) => "Send it now" } } }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::long;
        use crate::problem::NOT_SIGNED_IN;
        let page = |many: usize, signed_in: bool| {
            let mut form = Form::bare();
            for place in 0..many {
                form.put(&format!("values[{place}].value:number?"), long("83.5", many));
            }
            Self {
                to: "/programmes/tug/runs/25/results/A-1".to_owned(),
                visitor: signed_in.then(|| (long("Marit", many), "0".repeat(64))),
                is_signed: many > 1,
                trouble: form.trouble(Problem::new(NOT_SIGNED_IN, "You have been signed out.")),
            }
        };
        vec![
            ("ordinary", page(3, true).body()),
            ("empty", page(0, false).body()),
            ("worst case", page(60, false).body()),
        ]
    }
}

/// The page of a form that nobody may send, since nobody is signed in; none where somebody is, or where no form came. What
/// came of a form with a file is not kept: the file would have to be chosen again all the same. Neither are passwords.
pub(super) async fn of_nobody(request: &mut ServiceRequest) -> Option<(Problem, UnsentPage)> {
    if request.method() != Method::POST || holds_passwords(request.path()) {
        return None;
    }
    let office = office_of(request.request()).ok()?;
    let problem = door::visitor(request.request(), office).err()?;
    let payload = request.take_payload();
    let form = read(request.request(), payload).await.ok()?;
    let page = UnsentPage::of(request.request(), form, None, problem.clone());
    Some((problem, page))
}

/// Whether forms that go there are about passwords: what else is in them is not worth a page of its own.
fn holds_passwords(path: &str) -> bool {
    path.starts_with("/sign-") || path.starts_with("/account")
}

/// The page of a form that carries the token of another sign-in; none where no such form came.
pub(super) fn of_another_sign_in(request: &HttpRequest, problem: &Problem) -> Option<UnsentPage> {
    let form = request.extensions_mut().remove::<Form>()?;
    if holds_passwords(request.path()) {
        return None;
    }
    let visitor = door::visitor(request, office_of(request).ok()?).ok()?;
    Some(UnsentPage::of(request, form, Some(visitor), problem.clone()))
}
