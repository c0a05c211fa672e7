//! Sends what became of requests to a collector of traces, in batches and from a thread of its own: a collector that is slow or
//! away keeps nobody waiting.
//!
//! # Source
//!
//! OpenTelemetry Protocol 1.x over HTTP with JSON bodies (ids as hexadecimal text, times as decimal text), and the semantic
//! conventions of HTTP server spans; both from memory.

use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant, SystemTime};

use http_service::{RequestSpan, Spans, ToSend};
use serde_json::{Value, json};

use crate::commands::Failure;

/// Requests of one batch at most, and how long the first of it waits for others.
const BATCH: usize = 256;
const GATHERED_FOR: Duration = Duration::from_secs(1);

/// How long a collector may take to answer.
const PATIENCE: Duration = Duration::from_secs(3);

/// How often the log tells that a collector does not take what it is sent.
const TOLD_EVERY: Duration = Duration::from_secs(60);

/// Sends spans until it is told that nothing more comes.
pub struct Exporter {
    spans: Spans,
    thread: JoinHandle<()>,
}

/// The place to which a collector wants traces to be sent, where an address can be one.
///
/// # Errors
///
/// What is wrong with it, in words.
pub fn place_of(collector: &str) -> Result<String, &'static str> {
    let rest = collector.strip_prefix("http://").or_else(|| collector.strip_prefix("https://"));
    let host = rest.and_then(|rest| rest.split('/').next()).unwrap_or_default();
    if host.is_empty() || collector.chars().any(|it| it.is_whitespace() || it.is_control()) {
        return Err(
            "the address of the collector of traces (--otlp) begins with http:// or https://, such as http://127.0.0.1:4318",
        );
    }
    if host.contains('@') || collector.contains(['?', '#']) {
        return Err(
            "the address of the collector of traces (--otlp) holds no name, password or question: those would be in the log",
        );
    }
    Ok(format!("{}/v1/traces", collector.trim_end_matches('/')))
}

impl Exporter {
    /// Begins to send to a collector.
    ///
    /// # Errors
    ///
    /// [`Failure`] where its address is none, or the system gives no thread.
    pub fn begin(collector: &str) -> Result<Self, Failure> {
        let place =
            place_of(collector).map_err(|why| Failure::of_input(format!("rungbook: {why}")))?;
        let (spans, from) = Spans::new();
        let counts = spans.clone();
        let thread = std::thread::Builder::new()
            .name("traces".to_owned())
            .spawn(move || send_all(&place, &from, &counts))?;
        Ok(Self { spans, thread })
    }

    /// Where the service tells what became of requests.
    pub fn spans(&self) -> Spans {
        self.spans.clone()
    }

    /// Sends what still waits, and ends.
    pub fn end(self) {
        self.spans.end();
        if self.thread.join().is_err() {
            tracing::error!("the thread that sends traces failed");
        }
    }
}

fn send_all(place: &str, from: &Receiver<ToSend>, spans: &Spans) {
    let agent = ureq::Agent::config_builder()
        .timeout_global(Some(PATIENCE))
        .max_redirects(0)
        .build()
        .new_agent();
    let (mut goes_on, mut lost, mut told) = (true, 0, None::<Instant>);
    while goes_on {
        let batch;
        (batch, goes_on) = gathered(from, spans);
        lost += spans.dropped();
        if batch.is_empty() {
            continue;
        }
        let sent = agent.post(place).send_json(body(&batch));
        if let Err(error) = sent {
            lost += batch.len() as u64;
            // A program that ends does not wait for a collector once for each batch.
            goes_on &= !spans.ends();
            if told.is_none_or(|told| told.elapsed() >= TOLD_EVERY) {
                tracing::warn!(
                    error = &error as &dyn std::error::Error,
                    lost,
                    "the collector of traces did not take {lost} spans; requests go on"
                );
                (lost, told) = (0, Some(Instant::now()));
            }
        }
    }
}

/// The next batch, and whether more may come.
fn gathered(from: &Receiver<ToSend>, spans: &Spans) -> (Vec<RequestSpan>, bool) {
    let mut batch = Vec::new();
    let first = if spans.ends() { from.try_recv().ok() } else { from.recv().ok() };
    let Some(ToSend::Span(first)) = first else { return (batch, false) };
    batch.push(*first);
    let until = Instant::now() + if spans.ends() { Duration::ZERO } else { GATHERED_FOR };
    while batch.len() < BATCH {
        match from.recv_timeout(until.saturating_duration_since(Instant::now())) {
            Ok(ToSend::Span(span)) => batch.push(*span),
            Err(RecvTimeoutError::Timeout) => break,
            Ok(ToSend::End) | Err(RecvTimeoutError::Disconnected) => return (batch, false),
        }
    }
    (batch, true)
}

fn body(batch: &[RequestSpan]) -> Value {
    let spans: Vec<Value> = batch.iter().map(span).collect();
    let about =
        [text("service.name", "rungbook"), text("service.version", env!("CARGO_PKG_VERSION"))];
    json!({ "resourceSpans": [{
        "resource": { "attributes": about },
        "scopeSpans": [{ "scope": { "name": "rungbook" }, "spans": spans }],
    }] })
}

fn span(span: &RequestSpan) -> Value {
    let nanos = |at: SystemTime| {
        let since = at.duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
        since.as_nanos().to_string()
    };
    let (method, named) =
        if span.method == "other" { ("_OTHER", "HTTP") } else { (span.method, span.method) };
    let mut attributes = vec![text("http.request.method", method)];
    attributes.extend(span.route.as_deref().map(|route| text("http.route", route)));
    let status = json!({ "intValue": span.status.to_string() });
    attributes.push(json!({ "key": "http.response.status_code", "value": status }));
    let name = match &span.route {
        Some(route) => format!("{named} {route}"),
        None => named.to_owned(),
    };
    let mut told = json!({
        "traceId": span.trace,
        "spanId": span.id,
        "name": name,
        // Of a server.
        "kind": 2,
        "startTimeUnixNano": nanos(span.began),
        "endTimeUnixNano": nanos(span.began + span.lasted),
        "attributes": attributes,
    });
    if let Some(parent) = &span.parent {
        told["parentSpanId"] = parent.as_str().into();
    }
    if span.status >= 500 {
        told["status"] = json!({ "code": 2 });
    }
    told
}

fn text(key: &str, value: &str) -> Value {
    json!({ "key": key, "value": { "stringValue": value } })
}

#[cfg(test)]
mod tests {
    use super::place_of;

    #[test]
    fn a_collector_is_named_by_an_address_without_a_password() {
        let place = |collector| place_of(collector).ok();
        let usual = Some("http://127.0.0.1:4318/v1/traces".to_owned());
        assert_eq!(place("http://127.0.0.1:4318"), usual);
        assert_eq!(place("http://127.0.0.1:4318/"), usual);
        assert_eq!(
            place("https://a.example.org/b"),
            Some("https://a.example.org/b/v1/traces".to_owned())
        );
        for wrong in [
            "",
            "127.0.0.1:4318",
            "grpc://a",
            "http://",
            "http:///x",
            "http://a b",
            "http://me:s3cret@a",
            "http://a?key=s3cret",
        ] {
            assert_eq!(place(wrong), None, "{wrong}");
        }
    }
}
