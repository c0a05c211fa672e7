//! The only place that turns an error into a status, a stable code and a sentence with the next step (RFC 9457).

mod kinds;
mod translate;

use std::error::Error;
use std::fmt;
use std::sync::Arc;

use actix_web::http::StatusCode;
use actix_web::http::header::{self, HeaderName, HeaderValue};
use actix_web::{HttpResponse, ResponseError};
use programme::holds::Hold;
use programme::nouns::Role;
use programme::refusal::Fault;
use serde::Serialize;
use serde_json::value::RawValue;

pub use kinds::*;
pub(crate) use translate::capitalised;

use crate::desk::Shown;
use crate::entity_tag;
use crate::request_id::RequestId;

/// What a person is told when something could not be done.
#[derive(Debug, Clone)]
pub struct Problem(Box<Parts>);

#[derive(Debug, Clone)]
struct Parts {
    kind: Kind,
    detail: String,
    faults: Vec<FaultView>,
    holds: Vec<Hold>,
    clears: Option<String>,
    allowed: Vec<Role>,
    present: Option<Box<RawValue>>,
    headers: Vec<(HeaderName, HeaderValue)>,
    cause: Option<Arc<dyn Error + Send + Sync>>,
}

/// One thing that is wrong with what was given.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, utoipa::ToSchema)]
#[schema(as = Fault)]
pub struct FaultView {
    /// Where: a path such as `points[3].criteria[0].unit`; empty for the whole.
    pub field: String,
    /// What is wrong there and what would be right, in a sentence.
    pub why: String,
    /// The kind of fault, where programs can tell kinds apart.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub code: Option<&'static str>,
}

impl From<Fault> for FaultView {
    fn from(fault: Fault) -> Self {
        Self { field: fault.field, why: fault.why, code: None }
    }
}

/// A problem as RFC 9457 has it, with members of our own after the first five.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Problem)]
pub struct ProblemDocument<'a> {
    /// What kind of problem: `/problems/` and the code.
    #[serde(rename = "type")]
    #[schema(format = "uri-reference")]
    pub kind: String,
    /// What kind of problem, in words that are the same each time.
    pub title: &'a str,
    /// The HTTP status.
    #[schema(minimum = 400, maximum = 599)]
    pub status: u16,
    /// What happened this time, and what to do.
    pub detail: &'a str,
    /// What was asked for.
    #[schema(format = "uri-reference")]
    pub instance: &'a str,
    /// A stable code, for programs.
    pub code: &'a str,
    /// The request's id, as in the `X-Request-Id` header and the server's log.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub request_id: Option<&'a str>,
    /// What is wrong with what was given: every fault.
    #[serde(skip_serializing_if = "<[_]>::is_empty")]
    pub faults: &'a [FaultView],
    /// Why a point may not go ahead: every hold.
    #[serde(skip_serializing_if = "<[_]>::is_empty")]
    pub holds: &'a [Hold],
    /// What would make it possible.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clears: Option<&'a str>,
    /// The roles that may do what was asked.
    #[serde(skip_serializing_if = "<[_]>::is_empty")]
    pub allowed: &'a [Role],
    /// What stands there now, where it has changed since it was read; its ETag is the reply's.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<Object>)]
    pub present: Option<&'a RawValue>,
}

impl Problem {
    /// A problem of a kind, with a sentence about this time.
    pub fn new(kind: Kind, detail: impl Into<String>) -> Self {
        Self(Box::new(Parts {
            kind,
            detail: detail.into(),
            faults: Vec::new(),
            holds: Vec::new(),
            clears: None,
            allowed: Vec::new(),
            present: None,
            headers: Vec::new(),
            cause: None,
        }))
    }

    /// One field of what was given cannot be accepted.
    pub fn of_field(kind: Kind, field: impl Into<String>, why: impl Into<String>) -> Self {
        let why = why.into();
        Self::new(kind, why.clone()).with_faults(vec![FaultView {
            field: field.into(),
            why,
            code: None,
        }])
    }

    /// There is no such thing.
    pub fn unknown(what: &str, code: impl fmt::Display) -> Self {
        Self::new(
            NOT_FOUND,
            format!("There is no {what} \"{code}\" here. Check how it is written."),
        )
    }

    pub(crate) fn with_faults(mut self, faults: Vec<FaultView>) -> Self {
        self.0.faults = faults;
        self
    }

    pub(crate) fn with_holds(mut self, holds: Vec<Hold>) -> Self {
        self.0.holds = holds;
        self
    }

    pub(crate) fn clears(mut self, clears: impl Into<String>) -> Self {
        self.0.clears = Some(clears.into());
        self
    }

    pub(crate) fn allowed_to(mut self, roles: &[Role]) -> Self {
        self.0.allowed = roles.to_vec();
        self
    }

    /// Tells what stands there now, with its tag.
    pub(crate) fn with_present(mut self, shown: &Shown) -> Self {
        self.0.present = serde_json::from_slice(&shown.bytes()).ok();
        match shown.tag() {
            Some(tag) => self.with_header(header::ETAG, entity_tag::to_header(tag)),
            None => self,
        }
    }

    pub(crate) fn because(mut self, cause: impl Error + Send + Sync + 'static) -> Self {
        self.0.cause = Some(Arc::new(cause));
        self
    }

    pub(crate) fn with_header(mut self, name: HeaderName, value: HeaderValue) -> Self {
        self.0.headers.push((name, value));
        self
    }

    /// Tells when to ask again.
    pub(crate) fn retry_after(self, seconds: u64) -> Self {
        self.with_header(header::RETRY_AFTER, HeaderValue::from(seconds.max(1)))
    }

    /// The stable code.
    pub fn code(&self) -> &'static str {
        self.0.kind.code
    }

    /// The status.
    pub fn status(&self) -> StatusCode {
        StatusCode::from_u16(self.0.kind.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR)
    }

    /// What kind it is, in words that are the same each time.
    pub(crate) fn title(&self) -> &'static str {
        self.0.kind.title
    }

    /// Headers that go with the reply.
    pub(crate) fn headers(&self) -> &[(HeaderName, HeaderValue)] {
        &self.0.headers
    }

    /// The problem as it is told about what was asked for; `request_id` is absent outside a request, as on the command
    /// line.
    pub fn document<'a>(
        &'a self,
        instance: &'a str,
        request_id: Option<&'a str>,
    ) -> ProblemDocument<'a> {
        let Parts { kind, detail, faults, holds, clears, allowed, present, .. } = &*self.0;
        ProblemDocument {
            kind: format!("/problems/{}", kind.code),
            title: kind.title,
            status: kind.status,
            detail,
            instance,
            code: kind.code,
            request_id,
            faults,
            holds,
            clears: clears.as_deref(),
            allowed,
            present: present.as_deref(),
        }
    }

    /// The same of these of several, named before its sentence.
    pub(crate) fn about(mut self, whom: &str) -> Self {
        self.0.detail = format!("{whom}: {}", self.0.detail);
        self
    }

    /// Logs what the program itself is to blame for.
    pub(crate) fn log(&self) {
        let Parts { kind, detail, cause, .. } = &*self.0;
        if kind.status >= 500 {
            let cause = cause.as_deref().map(told).unwrap_or_default();
            tracing::error!(code = kind.code, cause, "{detail}");
        } else {
            tracing::debug!(code = kind.code, "{detail}");
        }
    }

    /// Makes the reply, and logs what the program itself is to blame for.
    pub(crate) fn reply(&self, path: &str, id: &RequestId) -> HttpResponse {
        self.log();
        let mut reply = HttpResponse::build(self.status());
        for header in self.headers() {
            reply.append_header(header.clone());
        }
        let document = self.document(path, Some(id.as_str()));
        let body = serde_json::to_vec(&document).unwrap_or_default();
        reply.content_type("application/problem+json").body(body)
    }
}

/// An error and all that led to it, in one line.
fn told(error: &(dyn Error + Send + Sync + 'static)) -> String {
    let mut line = error.to_string();
    let mut source = error.source();
    while let Some(cause) = source {
        line.push_str(": ");
        line.push_str(&cause.to_string());
        source = cause.source();
    }
    line
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.0.kind.code, self.0.detail)
    }
}

impl Error for Problem {}

impl ResponseError for Problem {
    fn status_code(&self) -> StatusCode {
        self.status()
    }

    /// What is sent where the frame around all routes, which knows path and id, did not make the reply.
    fn error_response(&self) -> HttpResponse {
        self.reply("", &RequestId::new())
    }
}
