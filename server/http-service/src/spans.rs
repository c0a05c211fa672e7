//! What became of a request, for whoever follows a trace through several programs. It names no person, no programme and
//! nothing of what was asked but the route.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::time::{Duration, SystemTime};

use actix_web::http::{Method, StatusCode};
use uuid::Uuid;

use crate::metrics;
use crate::trace::Trace;

/// Requests that wait to be sent on. What comes while so many wait is only counted.
const WAITING: usize = 4096;

/// A request that was answered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RequestSpan {
    /// The trace that it belongs to: 32 hexadecimal digits.
    pub trace: String,
    /// Its own id: 16 hexadecimal digits.
    pub id: String,
    /// The id of what asked; none where the trace begins here.
    pub parent: Option<String>,
    /// The method, or `other` where it is none that the service knows.
    pub method: &'static str,
    /// The route, with names in place of what was asked for; none where there is none.
    pub route: Option<String>,
    /// The status of the reply.
    pub status: u16,
    /// When the request came.
    pub began: SystemTime,
    /// How long it took.
    pub lasted: Duration,
}

/// What whoever sends spans on is told.
#[derive(Debug)]
pub enum ToSend {
    /// A request was answered.
    Span(Box<RequestSpan>),
    /// Nothing more comes.
    End,
}

/// Where spans go. It never waits: where they come faster than they are sent on, they are dropped and counted.
#[derive(Debug, Clone)]
pub struct Spans {
    to: SyncSender<ToSend>,
    dropped: Arc<AtomicU64>,
    ends: Arc<AtomicBool>,
}

impl Spans {
    /// The two ends.
    pub fn new() -> (Self, Receiver<ToSend>) {
        let (to, from) = sync_channel(WAITING);
        (Self { to, dropped: Arc::default(), ends: Arc::default() }, from)
    }

    /// Says that nothing more comes.
    pub fn end(&self) {
        self.ends.store(true, Ordering::SeqCst);
        // Whoever waits for the next is woken by it. Where it does not fit in, nobody waits.
        let _ = self.to.try_send(ToSend::End);
    }

    /// Whether it was said that nothing more comes.
    pub fn ends(&self) -> bool {
        self.ends.load(Ordering::SeqCst)
    }

    /// How many were dropped since this was asked last.
    pub fn dropped(&self) -> u64 {
        self.dropped.swap(0, Ordering::Relaxed)
    }

    pub(crate) fn answered(
        &self,
        trace: &Trace,
        method: &Method,
        route: Option<String>,
        status: StatusCode,
        lasted: Duration,
    ) {
        let now = SystemTime::now();
        let id = Uuid::now_v7().simple().to_string().split_off(16);
        let span = RequestSpan {
            trace: trace.id.clone(),
            id,
            parent: trace.parent.clone(),
            method: metrics::name_of(method),
            route,
            status: status.as_u16(),
            began: now.checked_sub(lasted).unwrap_or(now),
            lasted,
        };
        if self.to.try_send(ToSend::Span(Box::new(span))).is_err() {
            self.dropped.fetch_add(1, Ordering::Relaxed);
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use actix_web::http::header::HeaderMap;

    use super::*;
    use crate::request_id::RequestId;

    #[test]
    fn who_answers_never_waits_for_whoever_sends_spans_on() {
        let (spans, from) = Spans::new();
        let trace = Trace::of(&HeaderMap::new(), &RequestId::new());
        for _ in 0..WAITING + 3 {
            let (method, route) = (&Method::GET, Some("/health".to_owned()));
            spans.answered(&trace, method, route, StatusCode::OK, Duration::from_millis(5));
        }
        assert_eq!((spans.dropped(), spans.dropped()), (3, 0));
        let ToSend::Span(first) = from.recv().unwrap() else { unreachable!() };
        assert_eq!((first.method, first.status), ("GET", 200));
        assert!(first.id.len() == 16 && first.trace == trace.id && first.parent.is_none());
        let odd = Method::from_bytes(b"SOMETHING-OF-THEIR-OWN").unwrap();
        spans.answered(&trace, &odd, None, StatusCode::NOT_FOUND, Duration::ZERO);
        let ToSend::Span(last) = from.iter().nth(WAITING - 1).unwrap() else { unreachable!() };
        assert_eq!((last.method, last.route), ("other", None));
        assert!(!spans.ends());
        spans.end();
        assert!(spans.ends() && matches!(from.try_recv(), Ok(ToSend::End)));
    }
}
