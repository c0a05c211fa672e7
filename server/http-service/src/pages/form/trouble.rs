//! A form that was refused.

use actix_web::http::StatusCode;
use maud::{Markup, html};

use super::body::{OWN, is_secret, place};
use super::given::Form;
use crate::pages::told::Told;
use crate::problem::{KEY_REUSED, Problem};

/// A form that was refused, with what was typed and why.
#[derive(Debug, Clone)]
pub(crate) struct Trouble {
    /// Which form of the page.
    pub form: String,
    typed: Vec<(String, String)>,
    pub told: Told,
    pub status: StatusCode,
}

impl Trouble {
    pub fn of(form: Form, problem: Problem) -> Self {
        problem.log();
        let mut told = Told::of(&problem);
        if problem.code() == KEY_REUSED.code {
            "This form was sent before with something else in it. Look whether that was what you wanted; if this is, send it again."
                .clone_into(&mut told.detail);
        }
        // A secret is never sent back.
        let typed = form.fields.iter().filter(|(name, _)| !is_secret(name)).cloned().collect();
        Self { form: form.name().to_owned(), typed, told, status: problem.status() }
    }

    /// A form that was not refused, and is shown again with what was typed.
    pub fn typed_only(form: Form) -> Self {
        let typed = form.fields.iter().filter(|(name, _)| !is_secret(name)).cloned().collect();
        Self { form: form.name().to_owned(), typed, told: Told::default(), status: StatusCode::OK }
    }

    /// Whether it was refused, so that there is something to tell.
    pub fn is_refused(&self) -> bool {
        self.status != StatusCode::OK
    }

    /// Why it was refused and what was typed, where the page does not have the form any more: somebody else was faster, say.
    pub fn alone(&self) -> Markup {
        html! {
            (self.told.part())
            (self.what_was_typed())
        }
    }

    /// Everything that a person typed, to be read and copied.
    pub fn what_was_typed(&self) -> Markup {
        let typed = || {
            let own = |name: &str| name.starts_with(OWN) || name.contains("digest");
            self.typed.iter().filter(move |(name, text)| !own(name) && !text.trim().is_empty())
        };
        html! {
            @if typed().next().is_some() {
                h2 { "What you typed" }
                dl.pairs { @for (name, text) in typed() { dt { (place(name)) } dd.prose { (text) } } }
            }
        }
    }

    /// Every field but those of secrets, as it came.
    pub fn fields(&self) -> &[(String, String)] {
        &self.typed
    }

    /// What was typed into a field.
    pub fn typed(&self, name: &str) -> Option<&str> {
        let found = self.typed.iter().find(|(known, _)| known == name);
        found.map(|(_, text)| text.as_str())
    }

    /// Whether a choice of a list was made.
    pub fn chosen(&self, name: &str, value: &str) -> bool {
        self.typed.iter().any(|(known, text)| known == name && text == value)
    }

    /// What is wrong with a field.
    pub fn fault_of(&self, name: &str) -> Option<&str> {
        self.told.fault_of(place(name))
    }
}
