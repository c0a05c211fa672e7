//! What people give with a request: a path, a query string, a body. Everything unknown, missing or too large is refused.

use std::future::{Future, Ready, ready};
use std::ops::Deref;
use std::pin::Pin;
use std::str::FromStr;

use actix_web::dev::Payload;
use actix_web::http::header::{CONTENT_TYPE, HeaderMap};
use actix_web::web::Bytes;
use actix_web::{FromRequest, HttpMessage, HttpRequest};
use programme::codes::*;
use programme::envelope::Pair;
use programme::record::{BadDigest, Digest};
use serde::de::DeserializeOwned;
use serde_json::Value;
use uuid::Uuid;

use crate::api::calendars::Link;
use crate::idempotency::Asked;
use crate::problem::{
    BAD_QUERY, BAD_REQUEST, INVALID, NOT_JSON, Problem, TOO_DEEP, UNSUPPORTED_TYPE,
};
use crate::routes::Facts;

/// How deeply a JSON body may be nested.
const DEEPEST: usize = 32;

/// A JSON body of exactly this shape, and the request it came with.
#[derive(Debug)]
pub(crate) struct Given<T> {
    pub body: T,
    pub asked: Asked,
}

/// A JSON body with what is to be signed, and besides the password or PIN of whoever signs.
#[derive(Debug)]
pub(crate) struct Signed<T> {
    pub body: T,
    pub secret: String,
    pub asked: Asked,
}

/// A body that is not JSON, of one of the media types that a handler reads.
#[derive(Debug)]
pub(crate) struct File<T> {
    pub bytes: Bytes,
    pub kind: T,
    pub asked: Asked,
}

impl<T> Given<T> {
    /// What was given, as a part of something else.
    pub fn map<U>(self, into: impl FnOnce(T) -> U) -> Given<U> {
        Given { body: into(self.body), asked: self.asked }
    }
}

impl<T> Signed<T> {
    /// What was given, as a part of something else.
    pub fn map<U>(self, into: impl FnOnce(T) -> U) -> Signed<U> {
        Signed { body: into(self.body), secret: self.secret, asked: self.asked }
    }
}

/// A media type that a handler reads.
pub(crate) trait MediaType: Sized {
    /// All that it can be.
    const KNOWN: &'static [&'static str];
    /// Which it is.
    fn of(essence: &str) -> Option<Self>;
}

async fn read(request: &HttpRequest, mut payload: Payload) -> Result<Bytes, Problem> {
    let largest = Facts::largest_body(request);
    Bytes::from_request(request, &mut payload).await.map_err(|error| {
        error.as_error().map_or_else(
            || Problem::new(BAD_REQUEST, "The body did not arrive whole. Send the request again."),
            |error| Problem::of_payload(error, largest),
        )
    })
}

/// Refuses a body of another media type than these.
pub(crate) fn check_type(
    headers: &HeaderMap,
    request: &HttpRequest,
    known: &[&str],
) -> Result<String, Problem> {
    let essence = request.content_type().trim().to_ascii_lowercase();
    let several = headers.get_all(CONTENT_TYPE).count() > 1;
    if several || !known.contains(&essence.as_str()) {
        return Err(Problem::new(
            UNSUPPORTED_TYPE,
            format!("The body's Content-Type has to be {}.", known.join(" or ")),
        ));
    }
    Ok(essence)
}

fn check_depth(body: &[u8]) -> Result<(), Problem> {
    let (mut depth, mut in_text, mut escaped) = (0_usize, false, false);
    for byte in body {
        match byte {
            _ if escaped => escaped = false,
            b'\\' if in_text => escaped = true,
            b'"' => in_text = !in_text,
            b'{' | b'[' if !in_text => {
                depth += 1;
                if depth > DEEPEST {
                    return Err(Problem::new(
                        TOO_DEEP,
                        format!(
                            "The body is nested more than {DEEPEST} deep, which nothing here needs."
                        ),
                    ));
                }
            }
            b'}' | b']' if !in_text => depth = depth.saturating_sub(1),
            _ => {}
        }
    }
    Ok(())
}

fn not_json(error: &serde_json::Error) -> Problem {
    Problem::new(NOT_JSON, format!("The body is not a JSON text: {error}."))
}

/// Reads a shape, and names the field that does not fit it.
pub(crate) fn shaped<'de, T, D>(from: D) -> Result<T, Problem>
where
    T: DeserializeOwned,
    D: serde::Deserializer<'de, Error = serde_json::Error>,
{
    serde_path_to_error::deserialize(from).map_err(|error| {
        let field = error.path().to_string();
        let field = if field == "." { String::new() } else { field };
        let inner = error.into_inner();
        if inner.classify() == serde_json::error::Category::Data {
            Problem::of_field(INVALID, field, told(&inner))
        } else {
            not_json(&inner)
        }
    })
}

/// The library's message as a sentence.
fn told(error: &serde_json::Error) -> String {
    let message = error.to_string();
    let mut letters = message.chars();
    let sentence: String = letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect())
        .unwrap_or_default();
    format!("{sentence}.")
}

async fn json(request: &HttpRequest, payload: Payload) -> Result<Bytes, Problem> {
    check_type(request.headers(), request, &["application/json"])?;
    let body = read(request, payload).await?;
    check_depth(&body)?;
    Ok(body)
}

type Extracted<T> = Pin<Box<dyn Future<Output = Result<T, Problem>>>>;

impl<T: DeserializeOwned + 'static> FromRequest for Given<T> {
    type Error = Problem;
    type Future = Extracted<Self>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (request, payload) = (request.clone(), payload.take());
        Box::pin(async move {
            let body = json(&request, payload).await?;
            let asked = Asked::of(&request, &body)?;
            let mut deserializer = serde_json::Deserializer::from_slice(&body);
            let given = shaped(&mut deserializer)?;
            deserializer.end().map_err(|error| not_json(&error))?;
            Ok(Self { body: given, asked })
        })
    }
}

impl<T: DeserializeOwned + 'static> FromRequest for Signed<T> {
    type Error = Problem;
    type Future = Extracted<Self>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (request, payload) = (request.clone(), payload.take());
        Box::pin(async move {
            let body = json(&request, payload).await?;
            let asked = Asked::of(&request, &body)?;
            let mut value: Value =
                serde_json::from_slice(&body).map_err(|error| not_json(&error))?;
            let secret = value.as_object_mut().and_then(|object| object.remove("secret"));
            let Some(Value::String(secret)) = secret else {
                return Err(Problem::of_field(
                    INVALID,
                    "secret",
                    "Whoever signs gives their password or PIN again, as the text \"secret\".",
                ));
            };
            Ok(Self { body: shaped(value)?, secret, asked })
        })
    }
}

impl<T: MediaType + 'static> FromRequest for File<T> {
    type Error = Problem;
    type Future = Extracted<Self>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (request, payload) = (request.clone(), payload.take());
        Box::pin(async move {
            let essence = check_type(request.headers(), &request, T::KNOWN)?;
            let kind = T::of(&essence).ok_or_else(|| {
                Problem::new(UNSUPPORTED_TYPE, "A body of that type is not read here.")
            })?;
            let bytes = read(&request, payload).await?;
            let asked = Asked::of(&request, &bytes)?;
            Ok(Self { bytes, kind, asked })
        })
    }
}

/// A query string of exactly this shape.
#[derive(Debug)]
pub(crate) struct Query<T>(pub T);

impl<T> Deref for Query<T> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.0
    }
}

impl<T: DeserializeOwned> FromRequest for Query<T> {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let read = actix_web::web::Query::<T>::from_query(request.query_string());
        ready(read.map(|query| Self(query.into_inner())).map_err(|error| {
            let why = match error {
                actix_web::error::QueryPayloadError::Deserialize(error) => error.to_string(),
                other => other.to_string(),
            };
            Problem::new(BAD_QUERY, format!("The query string cannot be understood: {why}."))
        }))
    }
}

/// Something that a part of the path names.
pub(crate) trait Named: FromStr {
    /// The part's name in the table of routes.
    const SEGMENT: &'static str;
    /// What it names, in words.
    const WHAT: &'static str;
}

/// What the path names. What cannot be a name names nothing.
#[derive(Debug, Clone)]
pub(crate) struct At<T>(pub T);

impl<T: PartialEq + std::fmt::Display> At<T> {
    /// Refuses a body that is about another thing than the path.
    pub fn names(&self, field: &str, given: &T) -> Result<(), Problem> {
        if self.0 == *given {
            return Ok(());
        }
        Err(Problem::of_field(
            INVALID,
            field,
            format!("The path names {}, and the body {given}: they have to be the same.", self.0),
        ))
    }
}

impl<T> Deref for At<T> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.0
    }
}

impl<T: Named> FromRequest for At<T> {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let name = request.match_info().get(T::SEGMENT).unwrap_or_default();
        ready(name.parse().map(Self).map_err(|_| Problem::unknown(T::WHAT, name)))
    }
}

macro_rules! named {
    ($($type:ty, $segment:literal, $what:literal;)+) => {
        $(impl Named for $type {
            const SEGMENT: &'static str = $segment;
            const WHAT: &'static str = $what;
        })+
    };
}

named! {
    PersonHandle, "person", "person";
    PointCode, "point", "point";
    ItemCode, "item", "item";
    ChannelCode, "channel", "channel";
    LimitCode, "limit", "limit";
    CheckCode, "check", "check";
    HazardCode, "hazard", "hazard";
    DocumentCode, "document", "document";
    RecorderCode, "recorder", "recorder";
    Sha256, "recording", "recording";
    Number<IntervalNumber>, "interval", "interval";
    Number<ReductionNumber>, "reduction", "reduction";
    Number<RunNumber>, "run", "run";
    Number<SnagNumber>, "snag", "snag";
    Number<ExceedanceNumber>, "exceedance", "exceedance";
    Number<ProposalNumber>, "proposal", "proposal";
    Number<DeviationNumber>, "deviation", "deviation";
    Number<ForecastNumber>, "forecast", "forecast";
    Number<DayPlanNumber>, "plan", "plan of a day";
    Pair, "pair", "pair of axes";
    Topic, "topic", "topic";
    Seq, "seq", "record";
    Link, "link", "calendar";
    Uuid, "order", "order";
    Session, "session", "sign-in";
}

/// A number of a programme, from 1.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Number<T>(pub T);

macro_rules! numbers {
    ($($type:ident),+) => {
        $(impl FromStr for Number<$type> {
            type Err = std::num::ParseIntError;

            fn from_str(text: &str) -> Result<Self, Self::Err> {
                Ok(Self($type(text.parse()?)))
            }
        })+
    };
}

numbers!(
    RunNumber,
    SnagNumber,
    ExceedanceNumber,
    ProposalNumber,
    IntervalNumber,
    ReductionNumber,
    DeviationNumber,
    ForecastNumber,
    DayPlanNumber
);

/// SHA-256 of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Sha256(pub Digest);

impl FromStr for Sha256 {
    type Err = BadDigest;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Ok(Self(text.to_owned().try_into()?))
    }
}

/// The number of a record.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Seq(pub u64);

impl FromStr for Seq {
    type Err = std::num::ParseIntError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        text.parse().map(Self)
    }
}

/// The id of a sign-in.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Session(pub Uuid);

impl FromStr for Session {
    type Err = uuid::Error;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        text.parse().map(Self)
    }
}

/// The name of a topic.
#[derive(Debug, Clone)]
pub(crate) struct Topic(pub String);

impl FromStr for Topic {
    type Err = std::convert::Infallible;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Ok(Self(text.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn depth_counts_brackets_and_not_what_stands_in_texts() {
        assert!(check_depth("[".repeat(DEEPEST).as_bytes()).is_ok());
        assert!(check_depth("[".repeat(DEEPEST + 1).as_bytes()).is_err());
        let text = format!("{{\"a\": \"{}\\\"{}\"}}", "[".repeat(100), "{".repeat(100));
        assert!(check_depth(text.as_bytes()).is_ok());
    }
}
