//! How the object store is spoken with: by the HTTP client that the program has anyway, on threads that may wait.
//!
//! What a store says of a refusal may repeat keys and tokens, so that only its code goes on from here.

use std::error::Error as StdError;
use std::fmt;
use std::io::{self, Read};
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, Waker};
use std::time::Duration;

use async_trait::async_trait;
use bytes::{Buf as _, Bytes};
use http_body::{Body, Frame};
use object_store::client::{
    HttpClient, HttpConnector, HttpError, HttpErrorKind, HttpRequest, HttpRequestBody,
    HttpResponse, HttpResponseBody, HttpService,
};
use object_store::{ClientConfigKey, ClientOptions};
use tokio::sync::{mpsc, oneshot};
use ureq::http::header::CONTENT_LENGTH;
use ureq::http::{HeaderValue, Response, StatusCode};
use ureq::tls::{PemItem, RootCerts, TlsConfig, parse_pem};
use ureq::{Agent, SendBody, Timeout};

use super::away::NotSet;

/// How long a connection may take to be made.
const CONNECTS_WITHIN: Duration = Duration::from_secs(3);

/// How long the other side may be silent, or take nothing in.
const SILENT_AT_MOST: Duration = Duration::from_secs(30);

/// Bytes of an answer that are handed on at a time.
const PART: usize = 128 * 1024;

/// The most that is read of what a refusal says.
const LONGEST_REFUSAL: u64 = 64 * 1024;

/// Names a file of certificates to be trusted instead of those of the public authorities, as for other tools.
const OWN_AUTHORITIES: &str = "AWS_CA_BUNDLE";

/// A refusal of the object store.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Refused {
    /// The status of its answer.
    pub status: u16,
    /// Its code for it, where it gave one.
    pub code: Option<String>,
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "it answered with status {}", self.status)?;
        self.code.as_ref().map_or(Ok(()), |code| write!(f, " ({code})"))
    }
}

impl StdError for Refused {}

/// Makes clients.
#[derive(Debug)]
pub(super) struct Transport {
    authorities: Option<RootCerts>,
}

impl Transport {
    /// Reads the certificates that are to be trusted, where the environment names some.
    ///
    /// # Errors
    ///
    /// [`NotSet::Authorities`], where there are none.
    pub fn of_the_environment() -> Result<Self, NotSet> {
        let Some(file) = std::env::var_os(OWN_AUTHORITIES).filter(|file| !file.is_empty()) else {
            return Ok(Self { authorities: None });
        };
        let pem = std::fs::read(file).map_err(|error| NotSet::Authorities(Some(error)))?;
        let mut trusted = Vec::new();
        for item in parse_pem(&pem) {
            if let Ok(PemItem::Certificate(certificate)) = item {
                trusted.push(certificate);
            }
        }
        if trusted.is_empty() {
            return Err(NotSet::Authorities(None));
        }
        Ok(Self { authorities: Some(RootCerts::Specific(Arc::new(trusted))) })
    }
}

impl HttpConnector for Transport {
    fn connect(&self, options: &ClientOptions) -> object_store::Result<HttpClient> {
        let plain = options.get_config_value(&ClientConfigKey::AllowHttp);
        let mut tls = TlsConfig::builder();
        if let Some(authorities) = &self.authorities {
            tls = tls.root_certs(authorities.clone());
        }
        let agent = Agent::config_builder()
            .https_only(plain.as_deref() != Some("true"))
            .http_status_as_error(false)
            .max_redirects(0)
            .max_redirects_will_error(false)
            .user_agent(concat!("rungbook/", env!("CARGO_PKG_VERSION")))
            .timeout_resolve(Some(CONNECTS_WITHIN))
            .timeout_connect(Some(CONNECTS_WITHIN))
            .timeout_per_read(Some(SILENT_AT_MOST))
            .timeout_per_write(Some(SILENT_AT_MOST))
            .timeout_recv_response(Some(SILENT_AT_MOST))
            .tls_config(tls.build())
            .build()
            .new_agent();
        Ok(HttpClient::new(Wire { agent }))
    }
}

#[derive(Debug)]
struct Wire {
    agent: Agent,
}

#[async_trait]
impl HttpService for Wire {
    async fn call(&self, request: HttpRequest) -> Result<HttpResponse, HttpError> {
        let agent = self.agent.clone();
        let (head, answered) = oneshot::channel();
        tokio::task::spawn_blocking(move || exchange(&agent, request, head));
        answered.await.unwrap_or_else(|gone| Err(HttpError::new(HttpErrorKind::Interrupted, gone)))
    }
}

/// Sends a request and hands the answer on as it comes, until nobody wants more of it.
fn exchange(
    agent: &Agent,
    request: HttpRequest,
    head: oneshot::Sender<Result<HttpResponse, HttpError>>,
) {
    let (mut parts, body) = request.into_parts();
    if !parts.headers.contains_key(CONTENT_LENGTH) && !body.is_end_stream() {
        parts.headers.insert(CONTENT_LENGTH, HeaderValue::from(body.content_length()));
    }
    let sent = if body.is_end_stream() {
        agent.run(ureq::http::Request::from_parts(parts, ()))
    } else {
        let reader = Sent { body, part: Bytes::new() };
        agent.run(ureq::http::Request::from_parts(parts, SendBody::from_owned_reader(reader)))
    };
    let answer = match sent {
        Ok(answer) => answer,
        Err(error) => {
            // Who asked may have gone.
            let _ = head.send(Err(failed(error)));
            return;
        }
    };
    let (parts, body) = answer.into_parts();
    let mut body = body.into_reader();
    if parts.status.is_client_error() || parts.status.is_server_error() {
        let _ = head.send(refusal(parts, body));
        return;
    }
    let (frames, received) = mpsc::channel(2);
    let answer = Response::from_parts(parts, HttpResponseBody::new(Received(received)));
    if head.send(Ok(answer)).is_err() {
        return;
    }
    loop {
        let mut part = vec![0; PART];
        let frame = match body.read(&mut part) {
            Ok(0) => return,
            Ok(read) => {
                part.truncate(read);
                Ok(Frame::data(Bytes::from(part)))
            }
            Err(error) => Err(HttpError::new(HttpErrorKind::Interrupted, error)),
        };
        let over = frame.is_err();
        if frames.blocking_send(frame).is_err() || over {
            return;
        }
    }
}

/// An answer that says no, with nothing of it but its code. What asking again does not change is an error at once.
fn refusal(
    mut parts: ureq::http::response::Parts,
    body: impl Read,
) -> Result<HttpResponse, HttpError> {
    let mut text = Vec::new();
    let _ = body.take(LONGEST_REFUSAL).read_to_end(&mut text);
    let code = code_in(&String::from_utf8_lossy(&text));
    let status = parts.status;
    let known = [
        StatusCode::NOT_FOUND,
        StatusCode::REQUEST_TIMEOUT,
        StatusCode::CONFLICT,
        StatusCode::PRECONDITION_FAILED,
        StatusCode::TOO_MANY_REQUESTS,
    ];
    let no_bucket = code.as_deref() == Some(NO_BUCKET);
    if status.is_client_error() && (no_bucket || !known.contains(&status)) {
        let refused = Refused { status: status.as_u16(), code };
        return Err(HttpError::new(HttpErrorKind::Unknown, refused));
    }
    parts.headers.remove(CONTENT_LENGTH);
    let told = code.map(|code| format!("<Error><Code>{code}</Code></Error>")).unwrap_or_default();
    Ok(Response::from_parts(parts, HttpResponseBody::from(told)))
}

/// What a store answers that has no such bucket.
pub(super) const NO_BUCKET: &str = "NoSuchBucket";

/// The code in what a refusal says.
fn code_in(text: &str) -> Option<String> {
    let (_, rest) = text.split_once("<Code>")?;
    let (code, _) = rest.split_once("</Code>")?;
    let plain = code.len() <= 80 && code.chars().all(|sign| sign.is_ascii_alphanumeric());
    (plain && !code.is_empty()).then(|| code.to_owned())
}

/// Tells what may be tried again from what may not.
fn failed(error: ureq::Error) -> HttpError {
    let kind = match &error {
        ureq::Error::Timeout(Timeout::Resolve | Timeout::Connect)
        | ureq::Error::HostNotFound
        | ureq::Error::ConnectionFailed => HttpErrorKind::Connect,
        ureq::Error::Timeout(_) => HttpErrorKind::Timeout,
        ureq::Error::Io(error) => match error.kind() {
            io::ErrorKind::ConnectionRefused
            | io::ErrorKind::HostUnreachable
            | io::ErrorKind::NetworkUnreachable
            | io::ErrorKind::AddrNotAvailable => HttpErrorKind::Connect,
            io::ErrorKind::TimedOut => HttpErrorKind::Timeout,
            _ => HttpErrorKind::Interrupted,
        },
        ureq::Error::Protocol(_) => HttpErrorKind::Interrupted,
        _ => HttpErrorKind::Unknown,
    };
    let source: Box<dyn StdError + Send + Sync> = Box::new(error);
    HttpError::new_boxed(kind, source)
}

/// The body of a request, which is whole before it is sent.
struct Sent {
    body: HttpRequestBody,
    part: Bytes,
}

impl Read for Sent {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        while self.part.is_empty() {
            let mut context = Context::from_waker(Waker::noop());
            match Pin::new(&mut self.body).poll_frame(&mut context) {
                Poll::Ready(Some(Ok(frame))) => self.part = frame.into_data().unwrap_or_default(),
                Poll::Ready(Some(Err(error))) => return Err(io::Error::other(error)),
                Poll::Ready(None) => return Ok(0),
                Poll::Pending => return Err(io::ErrorKind::WouldBlock.into()),
            }
        }
        let length = into.len().min(self.part.len());
        self.part.copy_to_slice(&mut into[..length]);
        Ok(length)
    }
}

/// The body of an answer, as the thread that reads it hands it on.
struct Received(mpsc::Receiver<Result<Frame<Bytes>, HttpError>>);

impl Body for Received {
    type Data = Bytes;
    type Error = HttpError;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, HttpError>>> {
        self.0.poll_recv(context)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn of_a_refusal_only_a_plain_code_is_kept() {
        let told = "<Error><Code>InvalidToken</Code><Token-0>s3cret</Token-0></Error>";
        assert_eq!(code_in(told).unwrap(), "InvalidToken");
        for other in ["", "<Code></Code>", "<Code>a b</Code>", "<Code>&lt;</Code>", "<Code>open"] {
            assert_eq!(code_in(other), None, "{other}");
        }
        let parts = Response::builder().status(403).body(()).unwrap().into_parts().0;
        let error = refusal(parts, told.as_bytes()).unwrap_err();
        let shown = format!("{error} {error:?}");
        assert!(shown.contains("InvalidToken") && !shown.contains("s3cret"), "{shown}");
    }
}
