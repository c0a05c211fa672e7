//! A form as it is written into a page.

use maud::{Markup, html};
use programme::measure::Unit;

use super::trouble::Trouble;

/// A form on its way into a page: to where it goes, and what was typed into it where it was refused.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Draft<'a> {
    /// Its name among the forms of the page.
    pub name: &'a str,
    /// Where it goes.
    pub to: &'a str,
    /// The token of the session.
    pub token: &'a str,
    trouble: Option<&'a Trouble>,
    queue: Option<&'static str>,
}

impl<'a> Draft<'a> {
    /// A form of a page; `trouble` is told where it is about this form.
    pub fn new(name: &'a str, to: &'a str, token: &'a str, trouble: Option<&'a Trouble>) -> Self {
        Self {
            name,
            to,
            token,
            trouble: trouble.filter(|trouble| trouble.form == name),
            queue: None,
        }
    }

    /// The form may be filled in where there is no signal: the browser keeps it until it can be sent. `time` is the field
    /// that tells when it was pressed, where nothing in the form does; empty where that does not matter.
    pub fn queued(self, time: &'static str) -> Self {
        Self { queue: Some(time), ..self }
    }

    /// The whole form, with why it was refused above it.
    pub fn form(&self, fields: Markup) -> Markup {
        self.posted(None, fields)
    }

    /// A form that takes a file along, which is sent after everything else. A script tells how much of it has gone.
    pub fn form_with_file(&self, fields: Markup) -> Markup {
        self.posted(Some("multipart/form-data"), fields)
    }

    /// A form that asks and changes nothing: what is typed goes into the address.
    pub fn asks(&self, fields: Markup) -> Markup {
        html! {
            form method="get" action=(self.to) id={ "form-" (self.name) } { (fields) }
        }
    }

    /// A file. Of `first` bytes a script sends no more, where only the beginning is looked at.
    pub fn file(&self, label: &str, hint: &str, first: Option<usize>) -> Markup {
        self.field("file", label, hint, html! {
            input type="file" id=(self.id("file")) name="file" required data-first=[first] aria-describedby=[self.described_by("file", hint)] aria-invalid=[self.invalid("file")];
        })
    }

    fn posted(&self, encoding: Option<&str>, fields: Markup) -> Markup {
        html! {
            @if let Some(trouble) = self.trouble.filter(|it| it.is_refused()) { (trouble.told.part()) }
            form method="post" action=(self.to) id={ "form-" (self.name) } enctype=[encoding] data-queue[self.queue.is_some()] data-queue-time=[self.queue.filter(|time| !time.is_empty())] {
                input type="hidden" name="form.token" value=(self.token);
                input type="hidden" name="form.key" value=(uuid::Uuid::now_v7());
                input type="hidden" name="form.name" value=(self.name);
                (fields)
            }
        }
    }

    /// Something that goes with the form and is not typed.
    pub fn hidden(&self, name: &str, value: impl maud::Render) -> Markup {
        html! { input type="hidden" name=(name) value=(value); }
    }

    /// What the field shows at first: what was typed, else what is usual.
    fn value(&self, name: &str, usual: &str) -> String {
        self.trouble.and_then(|trouble| trouble.typed(name)).unwrap_or(usual).to_owned()
    }

    fn id(&self, name: &str) -> String {
        let plain = |letter: char| if letter.is_ascii_alphanumeric() { letter } else { '-' };
        format!("{}-{}", self.name, name.chars().map(plain).collect::<String>())
    }

    fn fault(&self, name: &str) -> Option<&'a str> {
        self.trouble.and_then(|trouble| trouble.fault_of(name))
    }

    fn field(&self, name: &str, label: &str, hint: &str, input: Markup) -> Markup {
        let id = self.id(name);
        html! {
            div.field {
                label for=(id) { (label) }
                @if !hint.is_empty() { p.hint id={ (id) "-hint" } { (hint) } }
                @if let Some(why) = self.fault(name) { p.fault id={ (id) "-fault" } { (why) } }
                (input)
            }
        }
    }

    /// Whether this form was sent and comes again.
    pub const fn was_sent(&self) -> bool {
        self.trouble.is_some()
    }

    /// What is wrong with something that is no single field.
    pub fn fault_at(&self, place: &str) -> Markup {
        html! { @if let Some(why) = self.fault(place) { p.fault { (why) } } }
    }

    /// Which parts of the page say more about a field.
    fn described_by(&self, name: &str, hint: &str) -> Option<String> {
        let id = self.id(name);
        let hint = (!hint.is_empty()).then(|| format!("{id}-hint"));
        let fault = self.fault(name).map(|_| format!("{id}-fault"));
        let parts: Vec<String> = hint.into_iter().chain(fault).collect();
        (!parts.is_empty()).then(|| parts.join(" "))
    }

    fn invalid(&self, name: &str) -> Option<&'static str> {
        self.fault(name).map(|_| "true")
    }

    /// One line of text.
    pub fn line(&self, name: &str, label: &str, hint: &str, usual: &str) -> Markup {
        self.field(name, label, hint, html! {
            input type="text" id=(self.id(name)) name=(name) value=(self.value(name, usual)) autocomplete="off" aria-describedby=[self.described_by(name, hint)] aria-invalid=[self.invalid(name)];
        })
    }

    /// Several lines of text.
    pub fn text(&self, name: &str, label: &str, hint: &str) -> Markup {
        self.text_with(name, label, hint, "")
    }

    /// Several lines of text, of which some stand there already.
    pub fn text_with(&self, name: &str, label: &str, hint: &str, usual: &str) -> Markup {
        self.field(name, label, hint, html! {
            textarea id=(self.id(name)) name=(name) rows="3" aria-describedby=[self.described_by(name, hint)] aria-invalid=[self.invalid(name)] { (self.value(name, usual)) }
        })
    }

    /// A figure, with its unit behind it.
    pub fn figure(&self, name: &str, label: &str, hint: &str, unit: &str) -> Markup {
        self.figure_with(name, label, hint, unit, None)
    }

    /// A figure that goes with its unit, as a place of its own; left empty, neither goes.
    pub fn measured(&self, place: &str, label: &str, unit: Unit, usual: Option<f64>) -> Markup {
        let name = format!("{place}:measure {}?", unit.as_str());
        self.figure_with(&name, label, "", &unit.to_string(), usual)
    }

    /// A figure that stands there already.
    pub fn figure_with(
        &self,
        name: &str,
        label: &str,
        hint: &str,
        unit: &str,
        usual: Option<f64>,
    ) -> Markup {
        let usual = usual.map(|figure| figure.to_string()).unwrap_or_default();
        self.field(name, label, hint, html! {
            span.figure {
                input type="number" step="any" inputmode="decimal" id=(self.id(name)) name=(name) value=(self.value(name, &usual)) autocomplete="off" aria-describedby=[self.described_by(name, hint)] aria-invalid=[self.invalid(name)];
                " " span.unit { (unit) }
            }
        })
    }

    /// A moment, in UTC.
    pub fn moment(&self, name: &str, label: &str, hint: &str, usual: &str) -> Markup {
        self.field(name, label, hint, html! {
            span.figure {
                input type="datetime-local" id=(self.id(name)) name=(name) value=(self.value(name, usual)) aria-describedby=[self.described_by(name, hint)] aria-invalid=[self.invalid(name)];
                " " span.unit { "UTC" }
            }
        })
    }

    /// A day.
    pub fn day(&self, name: &str, label: &str, hint: &str, usual: &str) -> Markup {
        self.field(name, label, hint, html! {
            input type="date" id=(self.id(name)) name=(name) value=(self.value(name, usual)) aria-describedby=[self.described_by(name, hint)] aria-invalid=[self.invalid(name)];
        })
    }

    /// One of several, from a list of values and words.
    pub fn choice(
        &self,
        name: &str,
        label: &str,
        hint: &str,
        usual: &str,
        of: &[(String, String)],
    ) -> Markup {
        let chosen = self.value(name, usual);
        self.field(name, label, hint, html! {
            select id=(self.id(name)) name=(name) aria-describedby=[self.described_by(name, hint)] aria-invalid=[self.invalid(name)] {
                @for (value, words) in of {
                    option value=(value) selected[*value == chosen] { (words) }
                }
            }
        })
    }

    /// One of several for one place of a list; `of_whom` tells it from the other fields of the list.
    pub fn choice_of_list(
        &self,
        name: &str,
        of_whom: &str,
        label: &str,
        of: &[(String, String)],
    ) -> Markup {
        let id = self.id(&format!("{name}-{of_whom}"));
        let chosen = |value: &str| {
            !value.is_empty() && self.trouble.is_some_and(|trouble| trouble.chosen(name, value))
        };
        html! {
            div.field {
                label for=(id) { (label) }
                select id=(id) name=(name) {
                    @for (value, words) in of { option value=(value) selected[chosen(value)] { (words) } }
                }
            }
        }
    }

    /// Something that is ticked or not.
    pub fn tick(&self, name: &str, value: &str, label: Markup, usual: bool) -> Markup {
        let ticked = self.trouble.map_or(usual, |trouble| trouble.chosen(name, value));
        html! {
            label.tick {
                input type="checkbox" name=(name) value=(value) checked[ticked];
                span { (label) }
            }
        }
    }

    /// The PIN or password of whoever signs.
    pub fn secret(&self) -> Markup {
        let hint = "Typed again, it is your signature. It is not kept.";
        self.hidden_text("secret", "Your PIN or password", hint, Hidden::Signature)
    }

    /// A text that nobody who looks on can read. It is never shown again.
    pub fn hidden_text(&self, name: &str, label: &str, hint: &str, what: Hidden) -> Markup {
        let digits = (what == Hidden::Pin).then_some("numeric");
        self.field(name, label, hint, html! {
            input type="password" id=(self.id(name)) name=(name) autocomplete=(what.autocomplete()) inputmode=[digits] required aria-describedby=[self.described_by(name, hint)] aria-invalid=[self.invalid(name)];
        })
    }

    /// The button that sends it.
    pub fn send(&self, words: &str) -> Markup {
        html! { p.send { button { (words) } } }
    }
}

/// What is typed where nobody shall read it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Hidden {
    /// The PIN or password of whoever signs: typed by themselves each time.
    Signature,
    /// A new PIN.
    Pin,
    /// The password as it is.
    Password,
    /// The password as it will be.
    NewPassword,
}

impl Hidden {
    /// Which of those that a browser keeps belongs there.
    const fn autocomplete(self) -> &'static str {
        match self {
            Self::Signature | Self::Pin => "off",
            Self::Password => "current-password",
            Self::NewPassword => "new-password",
        }
    }
}
