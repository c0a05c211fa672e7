//! What is around every page: where forms may come from, the headers of every reply, and problems told as pages.

use actix_web::Error;
use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::Method;
use actix_web::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use actix_web::middleware::Next;
use actix_web::{HttpRequest, HttpResponse};
use maud::Markup;

use super::around::{Around, Section};
use super::door;
use super::led_to;
use super::told::Told;
use super::unsent;
use crate::office::office_of;
use crate::problem::{FOREIGN_FORM, NOT_SIGNED_IN, Problem};

/// Headers of every page, unless the handler set its own.
///
/// The referrer policy is not `no-referrer`, since with that browsers send `Origin: null` with forms of our own (Fetch,
/// "append a request Origin header"); other sites are told nothing all the same.
static ALWAYS: [(HeaderName, HeaderValue); 4] = [
    (header::CACHE_CONTROL, HeaderValue::from_static("private, no-store")),
    (
        header::CONTENT_SECURITY_POLICY,
        HeaderValue::from_static(
            "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
        ),
    ),
    (header::REFERRER_POLICY, HeaderValue::from_static("same-origin")),
    (
        HeaderName::from_static("cross-origin-opener-policy"),
        HeaderValue::from_static("same-origin"),
    ),
];

/// The code of the problem that a page tells, for scripts that send forms.
static CODE: HeaderName = HeaderName::from_static("rungbook-problem");

/// Wraps all pages.
pub(super) async fn frame(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let mut request = request;
    if let Err(problem) = comes_from_here(request.request()) {
        let reply = reply_to(request.request(), &problem);
        return Ok(request.into_response(reply).map_into_boxed_body());
    }
    if wants_page(request.request())
        && let Some((problem, page)) = unsent::of_nobody(&mut request).await
    {
        let reply = reply_with(request.request(), &problem, unsent::TITLE, page.body());
        return Ok(request.into_response(reply).map_into_boxed_body());
    }
    let response = next.call(request).await?;
    let problem = response.response().error().and_then(|error| error.as_error::<Problem>());
    let mut response = match problem.cloned() {
        Some(problem) if wants_page(response.request()) => {
            let reply = reply_to(response.request(), &problem);
            response.into_response(reply)
        }
        Some(_) | None => response.map_into_boxed_body(),
    };
    dress(response.headers_mut());
    Ok(response)
}

fn dress(headers: &mut HeaderMap) {
    for (name, value) in &ALWAYS {
        if !headers.contains_key(name) {
            headers.insert(name.clone(), value.clone());
        }
    }
}

/// Refuses what another site made a browser send. Browsers say where every form comes from. What is asked of the API at a
/// path that it does not have is no form, and is told that there is no such path.
fn comes_from_here(request: &HttpRequest) -> Result<(), Problem> {
    let reads = request.method() == Method::GET || request.method() == Method::HEAD;
    if reads || request.path().starts_with("/api/") {
        return Ok(());
    }
    let office = office_of(request)?;
    let mut origins = request.headers().get_all(header::ORIGIN);
    let origin = match (origins.next(), origins.next()) {
        (Some(origin), None) => origin.to_str().ok(),
        _ => None,
    };
    let authority = origin
        .and_then(|it| it.strip_prefix("https://").or_else(|| it.strip_prefix("http://")))
        .unwrap_or_default();
    if !authority.is_empty() && authority.eq_ignore_ascii_case(&door::host(request, office)) {
        return Ok(());
    }
    Err(Problem::new(
        FOREIGN_FORM,
        "The form did not come from a page of this service, so nothing was done. Open the page here and send it again.",
    ))
}

/// Whether a page helps whoever asks more than a problem in JSON: people with a browser, and not under the API.
fn wants_page(request: &HttpRequest) -> bool {
    let accepts = request.headers().get(header::ACCEPT).and_then(|value| value.to_str().ok());
    !request.path().starts_with("/api/") && accepts.is_some_and(|it| it.contains("text/html"))
}

/// A problem as a page. Whoever only has to sign in is led there and back.
fn reply_to(request: &HttpRequest, problem: &Problem) -> HttpResponse {
    if let Some(page) = unsent::of_another_sign_in(request, problem) {
        return reply_with(request, problem, unsent::TITLE, page.body());
    }
    problem.log();
    if problem.code() == NOT_SIGNED_IN.code && request.method() == Method::GET {
        let asked = request.uri().path_and_query().map_or("/", |it| it.as_str());
        let place = if asked == "/" {
            "/sign-in".to_owned()
        } else {
            format!("/sign-in?to={}", super::words::escaped_for_query(asked))
        };
        return led_to(&place);
    }
    reply_with(request, problem, problem.title(), Told::of(problem).page())
}

/// A page about a problem.
fn reply_with(
    request: &HttpRequest,
    problem: &Problem,
    title: &'static str,
    body: Markup,
) -> HttpResponse {
    let mut reply = around(request, title).reply(problem.status(), body);
    dress(reply.headers_mut());
    if let Ok(code) = HeaderValue::from_str(problem.code()) {
        reply.headers_mut().insert(CODE.clone(), code);
    }
    for (name, value) in problem.headers() {
        // A challenge to send a token in a header means nothing to a browser.
        if *name != header::WWW_AUTHENTICATE {
            reply.headers_mut().insert(name.clone(), value.clone());
        }
    }
    reply
}

fn around(request: &HttpRequest, title: &'static str) -> Around {
    let Ok(office) = office_of(request) else {
        return Around::of_nobody(title, chrono::Utc::now());
    };
    let Ok(visitor) = door::visitor(request, office) else {
        return Around::of_nobody(title, office.now());
    };
    let programme = door::own_programme(request, office, &visitor);
    Around { programme, section: Section::None, ..visitor.around(title) }
}

/// Whether a reply is a page, so that nothing else is put in its place.
pub(crate) fn is_page(headers: &HeaderMap) -> bool {
    headers.get(header::CONTENT_TYPE).is_some_and(|kind| kind.as_bytes().starts_with(b"text/html"))
}
