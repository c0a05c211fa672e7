//! What is around every request: its id, its log line, the headers of every reply, and problems for all that failed.

use std::panic::AssertUnwindSafe;
use std::time::Instant;

use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{ResponseHead, ServiceRequest, ServiceResponse};
use actix_web::error::InternalError;
use actix_web::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use actix_web::http::{ConnectionType, Method, StatusCode};
use actix_web::middleware::Next;
use actix_web::{Error, HttpRequest};
use futures_util::FutureExt;
use tracing::Instrument;

use crate::api::calendars::FEEDS;
use crate::host_name::HostName;
use crate::houses::{Houses, proxied_over_tls};
use crate::metrics::{self, Metrics};
use crate::office::Premises;
use crate::pages;
use crate::problem::{BUSY, FAULT, Problem};
use crate::request_id::{self, RequestId};
use crate::trace::Trace;

/// Headers of every reply, unless the handler set its own.
static ALWAYS: [(HeaderName, HeaderValue); 5] = [
    (header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff")),
    (header::CACHE_CONTROL, HeaderValue::from_static("private, no-cache")),
    (
        header::CONTENT_SECURITY_POLICY,
        HeaderValue::from_static("default-src 'none'; frame-ancestors 'none'; base-uri 'none'"),
    ),
    (header::REFERRER_POLICY, HeaderValue::from_static("no-referrer")),
    (
        HeaderName::from_static("cross-origin-resource-policy"),
        HeaderValue::from_static("same-origin"),
    ),
];

/// Tells browsers to come back over TLS only, for a year.
///
/// # Source
///
/// RFC 6797, section 6.1 (from memory). Other hosts of the domain are not ours to speak for.
static COME_BACK_OVER_TLS: HeaderValue = HeaderValue::from_static("max-age=31536000");

/// What is told where the program itself failed.
const FAILED: &str = "The program failed. Tell whoever runs it the request id. Look whether what you asked for was done before you ask again.";

/// What is told where a request was not answered before the program had to end.
const OUT_OF_TIME: &str = "The server ended before this was answered. Look whether what you asked for was done before you ask again.";

/// After how many seconds it is worth asking a server again that ended.
const AGAIN_AFTER_S: u64 = 10;

/// Wraps all routes.
pub(crate) async fn frame(
    houses: Houses,
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let began = Instant::now();
    let id = RequestId::of(request.headers());
    let trace = Trace::of(request.headers(), &id);
    let parent = trace.parent.as_deref();
    let method = request.method().clone();
    let path = told_of(request.path());
    let premises = houses.premises();
    let house = houses.of(request.request());
    let strict = comes_back_over_tls(request.request(), premises);
    let host = house.as_ref().ok().and_then(|office| office.host.as_ref()).map(HostName::as_str);
    let named = || tracing::info_span!("request", id = id.as_str(), trace = trace.id, parent, host, %method, path);
    // What only reads is logged where it fails, and is given its name in the log then.
    let span = if method == Method::GET || method == Method::HEAD {
        tracing::debug_span!("request", id = id.as_str(), trace = trace.id, parent, host, %method, path)
    } else {
        named()
    };

    if let Err(misdirected) = house {
        let _inside = span.enter();
        let reply = request.into_response(misdirected.reply(&path, &id));
        premises.metrics.told(&misdirected);
        return Ok(finished(reply, premises, (&id, &trace), (&method, &path), began, strict));
    }
    let answers = AssertUnwindSafe(next.call(request)).catch_unwind().instrument(span.clone());
    let answered = tokio::select! {
        biased;
        answered = answers => Some(answered),
        () = premises.ending.last_call() => None,
    };
    let went_well = matches!(&answered, Some(Ok(Ok(response))) if !is_failure(response.status()));
    let span = if went_well || !span.is_disabled() { span } else { named() };
    let _inside = span.enter();
    let response = match answered {
        Some(Ok(Ok(response))) => with_problem(response, &path, &id, &premises.metrics),
        failed => {
            let problem = match failed {
                Some(Ok(Err(error))) => problem_of(&error),
                Some(_) => Problem::new(FAULT, FAILED),
                None => Problem::new(BUSY, OUT_OF_TIME).retry_after(AGAIN_AFTER_S),
            };
            let mut reply = problem.reply(&path, &id);
            premises.metrics.told(&problem);
            note(premises, &trace, None, (&method, reply.status()), began);
            dress(reply.head_mut(), &id, premises, strict);
            log(&method, &path, reply.status(), began);
            // There is no request left that it could be the answer to.
            return Err(InternalError::from_response(problem, reply).into());
        }
    };
    Ok(finished(response, premises, (&id, &trace), (&method, &path), began, strict))
}

/// A reply as it goes out: counted, dressed and logged.
fn finished(
    mut response: ServiceResponse<BoxBody>,
    premises: &Premises,
    (id, trace): (&RequestId, &Trace),
    (method, path): (&Method, &str),
    began: Instant,
    strict: bool,
) -> ServiceResponse<BoxBody> {
    let status = response.status();
    note(premises, trace, Some(response.request()), (method, status), began);
    dress(response.response_mut().head_mut(), id, premises, strict);
    log(method, path, status, began);
    response
}

/// Counts an answer, and tells whoever follows its trace.
fn note(
    premises: &Premises,
    trace: &Trace,
    asked: Option<&HttpRequest>,
    (method, status): (&Method, StatusCode),
    began: Instant,
) {
    let took = began.elapsed();
    premises.metrics.answered(asked, method, status, took);
    if let Some(spans) = &premises.settings.spans {
        spans.answered(trace, method, asked.and_then(metrics::route_of), status, took);
    }
}

/// A path as it may be told and logged: without the secret of a private link.
fn told_of(path: &str) -> String {
    match path.strip_prefix(FEEDS) {
        Some(_) => format!("{FEEDS}link"),
        None => path.to_owned(),
    }
}

/// Whether browsers are told to come back over TLS only: where TLS is spoken with a certificate for which others vouch, by us or
/// by a proxy of ours. A phone that no longer trusts a folder's own authority could not get to the page that helps it, which has
/// no TLS and the same host.
fn comes_back_over_tls(request: &HttpRequest, premises: &Premises) -> bool {
    let settings = &premises.settings;
    let own = settings.certificate_is_given && request.app_config().secure();
    own || proxied_over_tls(request, settings.behind_proxy)
}

fn dress(head: &mut ResponseHead, id: &RequestId, premises: &Premises, strict: bool) {
    if premises.ending.has_begun() {
        // So that a server that ends does not wait for what its clients might still ask.
        head.set_connection_type(ConnectionType::Close);
    }
    let headers = head.headers_mut();
    headers.insert(request_id::HEADER.clone(), id.to_header());
    if strict {
        headers.insert(header::STRICT_TRANSPORT_SECURITY, COME_BACK_OVER_TLS.clone());
    }
    for (name, value) in &ALWAYS {
        if !headers.contains_key(name) {
            headers.insert(name.clone(), value.clone());
        }
    }
}

/// Puts a problem in the place of whatever a handler, an extractor or the library failed with.
fn with_problem(
    response: ServiceResponse<impl MessageBody + 'static>,
    path: &str,
    id: &RequestId,
    metrics: &Metrics,
) -> ServiceResponse<BoxBody> {
    let status = response.status();
    if !is_failure(status) {
        return response.map_into_boxed_body();
    }
    let problem = match response.response().error() {
        Some(error) => problem_of(error),
        // A problem that was kept under an idempotency key comes back as it was sent.
        None if is_problem(response.headers()) || pages::is_page(response.headers()) => {
            return response.map_into_boxed_body();
        }
        None => Problem::of_status(status),
    };
    metrics.told(&problem);
    let allow = response.headers().get(header::ALLOW).cloned();
    let mut reply = problem.reply(path, id);
    if let Some(allow) = allow {
        reply.headers_mut().insert(header::ALLOW, allow);
    }
    response.into_response(reply)
}

fn is_failure(status: StatusCode) -> bool {
    status.is_client_error() || status.is_server_error()
}

fn is_problem(headers: &HeaderMap) -> bool {
    headers
        .get(header::CONTENT_TYPE)
        .is_some_and(|kind| kind.as_bytes().starts_with(b"application/problem+json"))
}

fn problem_of(error: &Error) -> Problem {
    error
        .as_error::<Problem>()
        .cloned()
        .unwrap_or_else(|| Problem::of_status(error.as_response_error().status_code()))
}

fn log(method: &Method, path: &str, status: StatusCode, began: Instant) {
    let status = status.as_u16();
    let took_us = u64::try_from(began.elapsed().as_micros()).unwrap_or(u64::MAX);
    if method == Method::GET || method == Method::HEAD {
        tracing::debug!(status, took_us, "{method} {path} was answered with {status}");
    } else {
        tracing::info!(status, took_us, "{method} {path} was answered with {status}");
    }
}
