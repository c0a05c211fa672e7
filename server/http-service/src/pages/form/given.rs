//! A form as it comes from a browser.

use std::collections::BTreeSet;
use std::future::Future;
use std::pin::Pin;

use actix_web::body::to_bytes;
use actix_web::dev::Payload;
use actix_web::web::Bytes;
use actix_web::{FromRequest, HttpMessage as _, HttpRequest, HttpResponse};
use serde::de::DeserializeOwned;
use serde_json::Value;
use sha2::{Digest, Sha256};
use store::Idempotency;

use super::body::{self, OWN, SECRET, is_secret};
use super::trouble::Trouble;
use crate::desk::Answer;
use crate::entity_tag::Precondition;
use crate::given::{Given, Signed, check_type, shaped};
use crate::idempotency::Asked;
use crate::office::office_of;
use crate::pages::door;
use crate::pages::led_to;
use crate::problem::{BAD_REQUEST, FOREIGN_FORM, FaultView, INVALID, Problem};

/// The media type of forms without files.
const URL_ENCODED: &str = "application/x-www-form-urlencoded";
/// Bytes of a form at most.
pub(crate) const LARGEST: usize = 256 * 1024;

/// A form of a page that the person themself has opened: it carries the token of their session.
#[derive(Debug, Clone)]
pub(crate) struct Form {
    pub(super) fields: Vec<(String, String)>,
    pub(super) asked: Asked,
}

/// A form of somebody who is not signed in. Where it came from was made sure of by its origin alone.
#[derive(Debug, Clone)]
pub(crate) struct FormAtTheDoor(pub Form);

impl Form {
    /// A form without any field.
    #[cfg(test)]
    pub fn bare() -> Self {
        Self { fields: Vec::new(), asked: Asked::once() }
    }

    /// A field of the form, as typed.
    pub fn text(&self, name: &str) -> &str {
        let found = self.fields.iter().find(|(known, _)| known == name);
        found.map_or("", |(_, text)| text.as_str())
    }

    /// Which form of its page it is.
    pub fn name(&self) -> &str {
        self.text("form.name")
    }

    /// Everything that was given under one name.
    pub fn texts(&self, name: &str) -> Vec<&str> {
        let of_it = self.fields.iter().filter(|(known, _)| known == name);
        of_it.map(|(_, text)| text.as_str()).collect()
    }

    /// The form with those places of a list first in which a field is filled, and what is left of it without the others: a
    /// fault of what is given on then still finds its field.
    pub fn filled_first(mut self, list: &str, field: &str) -> (Self, Self) {
        let place_of = |name: &str| {
            let (place, _) = name.strip_prefix(list)?.strip_prefix('[')?.split_once(']')?;
            place.parse::<usize>().ok()
        };
        let places: BTreeSet<usize> =
            self.fields.iter().filter_map(|(name, _)| place_of(name)).collect();
        let is_filled =
            |place: &usize| !self.text(&format!("{list}[{place}].{field}")).trim().is_empty();
        let (filled, empty): (Vec<usize>, Vec<usize>) = places.into_iter().partition(is_filled);
        let order: Vec<usize> = filled.iter().chain(&empty).copied().collect();
        for (name, _) in &mut self.fields {
            let Some(place) = place_of(name) else { continue };
            let Some(new) = order.iter().position(|known| *known == place) else { continue };
            let behind = name.split_once(']').map(|(_, behind)| behind.to_owned());
            *name = format!("{list}[{new}]{}", behind.unwrap_or_default());
        }
        let only = self.clone().without(|name| place_of(name).is_some_and(|at| at >= filled.len()));
        (self, only)
    }

    /// Adds a field that the page itself works out of others.
    pub fn put(&mut self, name: &str, text: String) {
        self.fields.push((name.to_owned(), text));
    }

    /// What was typed, to be shown again though nothing was refused.
    pub fn typed_again(self) -> Trouble {
        Trouble::typed_only(self)
    }

    /// The same form with only those fields.
    pub fn only(&self, names: &[&str]) -> Self {
        self.clone().without(|name| !names.contains(&name))
    }

    /// The same form without some of its fields.
    pub fn without(mut self, mut goes: impl FnMut(&str) -> bool) -> Self {
        self.fields.retain(|(name, _)| !goes(name));
        self
    }

    /// What the API would be given as a body.
    pub fn given<T: DeserializeOwned>(&self) -> Result<Given<T>, Problem> {
        Ok(Given { body: self.body()?, asked: self.asked.clone() })
    }

    /// What the API would be given as a body, with the password or PIN of whoever signs.
    pub fn signed<T: DeserializeOwned>(&self) -> Result<Signed<T>, Problem> {
        let secret = self.text(SECRET).to_owned();
        if secret.is_empty() {
            return Err(Problem::of_field(
                INVALID,
                SECRET,
                "Give your PIN or your password again: that is your signature.",
            ));
        }
        Ok(Signed { body: self.body()?, secret, asked: self.asked.clone() })
    }

    fn body<T: DeserializeOwned>(&self) -> Result<T, Problem> {
        let body = body::body(&self.fields).map_err(|faults| {
            let faults: Vec<FaultView> = faults.into_iter().map(FaultView::from).collect();
            let what = if faults.len() == 1 { "One field" } else { "Some fields" };
            Problem::new(INVALID, format!("{what} cannot be read. Nothing was recorded."))
                .with_faults(faults)
        })?;
        shaped(body)
    }

    /// Which version of something the person saw when they opened the form; absent where it was not there.
    pub fn revision(&self) -> Precondition {
        match self.text("form.revision") {
            "" => Precondition::Absent,
            revision => Precondition::Match(vec![revision.to_owned()]),
        }
    }

    /// What is shown again where it was refused.
    pub fn trouble(self, problem: Problem) -> Trouble {
        Trouble::of(self, problem)
    }
}

/// Leads the browser to a page after an act of the API, and lets that page tell the record.
pub(crate) async fn recorded(acted: Answer, place: &str) -> Answer {
    let told = told(acted?).await;
    Ok(see(place, &told))
}

/// Leads to a page after an act of the API; where it was refused, the form's own page comes again with why and with what was
/// typed.
pub(crate) async fn settled(
    acted: Answer,
    form: Form,
    place: &str,
    again: impl AsyncFnOnce(Trouble) -> Answer,
) -> Answer {
    match recorded(acted, place).await {
        Ok(reply) => Ok(reply),
        Err(problem) => again(form.trouble(problem)).await,
    }
}

/// As [`recorded`], to the page of the new thing whose number or name the reply tells.
pub(crate) async fn recorded_anew(acted: Answer, list: &str, number: &str) -> Answer {
    let told = told(acted?).await;
    let place = match &told["now"][number] {
        Value::Number(number) => Some(format!("{list}/{number}")),
        Value::String(name) => Some(format!("{list}/{name}")),
        _ => None,
    };
    Ok(see(place.as_deref().unwrap_or(list), &told))
}

/// What the API told of an act.
async fn told(reply: HttpResponse) -> Value {
    let body = to_bytes(reply.into_body()).await.unwrap_or_default();
    serde_json::from_slice(&body).unwrap_or_default()
}

fn see(place: &str, told: &Value) -> HttpResponse {
    let seq = told["records"].as_array().and_then(|records| records.last()?["seq"].as_u64());
    let place = match seq {
        Some(seq) => format!("{place}?recorded={seq}"),
        None => place.to_owned(),
    };
    led_to(&place)
}

pub(in crate::pages) async fn read(
    request: &HttpRequest,
    mut payload: Payload,
) -> Result<Form, Problem> {
    check_type(request.headers(), request, &[URL_ENCODED])?;
    let bytes = Bytes::from_request(request, &mut payload).await.map_err(|error| {
        error.as_error().map_or_else(
            || Problem::new(BAD_REQUEST, "The form did not arrive whole. Send it again."),
            |error| Problem::of_payload(error, LARGEST),
        )
    })?;
    let unreadable = || Problem::new(BAD_REQUEST, "The form cannot be read. Load the page again.");
    let text = std::str::from_utf8(&bytes).map_err(|_| unreadable())?;
    let fields = actix_web::web::Query::<Vec<(String, String)>>::from_query(text)
        .map_err(|_| unreadable())?
        .into_inner();
    // Browsers end the lines of a text with two characters.
    let plain = |(name, text): (String, String)| (name, text.replace("\r\n", "\n"));
    let mut form = Form { fields: fields.into_iter().map(plain).collect(), asked: Asked::once() };
    form.asked = Asked { idempotency: idempotency(request.path(), &form, None) };
    Ok(form)
}

/// A form that is sent twice, because a finger tapped twice or a reply got lost, does its act once.
pub(super) fn idempotency(
    path: &str,
    form: &Form,
    file: Option<&programme::record::Digest>,
) -> Option<Idempotency> {
    let key = uuid::Uuid::try_parse(form.text("form.key")).ok()?;
    let mut digest = Sha256::new();
    digest.update(path);
    if let Some(file) = file {
        digest.update(file.bytes());
    }
    for (name, text) in &form.fields {
        if name.starts_with(OWN) || is_secret(name) {
            continue;
        }
        for part in [name, text] {
            digest.update((part.len() as u64).to_be_bytes());
            digest.update(part);
        }
    }
    Some(Idempotency { key: format!("form-{key}"), request_digest: digest.finalize().into() })
}

type Extracted<T> = Pin<Box<dyn Future<Output = Result<T, Problem>>>>;

impl FromRequest for Form {
    type Error = Problem;
    type Future = Extracted<Self>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (request, payload) = (request.clone(), payload.take());
        Box::pin(async move {
            let office = office_of(&request)?;
            let visitor = door::visitor(&request, office)?;
            let form = read(&request, payload).await?;
            if office.tokens.is_form_token(visitor.session, form.text("form.token"))? {
                return Ok(form);
            }
            // Whoever signed in again since they opened the page loses nothing: see `unsent`.
            request.extensions_mut().insert(form);
            Err(Problem::new(
                FOREIGN_FORM,
                "The form is of an earlier sign-in, so nothing was done.",
            )
            .clears("Open the page again and send it from there."))
        })
    }
}

impl FromRequest for FormAtTheDoor {
    type Error = Problem;
    type Future = Extracted<Self>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (request, payload) = (request.clone(), payload.take());
        Box::pin(async move { read(&request, payload).await.map(Self) })
    }
}
