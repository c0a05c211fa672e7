//! What is counted of the service, for whoever watches over it: figures alone, in the text form of OpenMetrics 1.0.
//!
//! Every label is one of a fixed set: a route as the table has it, a method, a class of status, a code of a problem, an outcome.
//! No name, handle, path as it was asked for or number of anything becomes a label, so that neither a person nor the memory can
//! be read from them. Where there are several organisations they are of all together. They are served on a listener of their own, see [`listener`].

mod listener;
mod process;

use std::time::Duration;

use actix_web::http::{Method, StatusCode};
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, Utc};
use prometheus_client::encoding::EncodeLabelSet;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::Histogram;
use prometheus_client::metrics::info::Info;
use prometheus_client::registry::{Registry, Unit};
use store::Transaction;

use crate::problem::Problem;
use crate::routes::Facts;
use crate::secrets;

pub(crate) use listener::serve;

/// What is asked at a path that no route has.
const NO_ROUTE: &str = "none";

/// Upper bounds of the times, in seconds: from what memory answers to what a forecast takes.
const BOUNDS_S: [f64; 13] =
    [0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0];

/// Upper bounds of how many acts a transaction holds; it holds no more than the last.
const BOUNDS_ACTS: [f64; 9] = [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 256.0];

fn times() -> Histogram {
    Histogram::new(BOUNDS_S)
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct OfRequest {
    method: &'static str,
    route: String,
    status: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct OfRoute {
    route: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct OfProblem {
    code: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Came {
    outcome: &'static str,
}

/// What came of an act.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Act {
    /// It was done, and is on disk.
    Done,
    /// It had been done before under its key.
    Repeated,
    /// It was refused, or could not be done.
    Refused,
}

impl Act {
    const fn word(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::Repeated => "repeated",
            Self::Refused => "refused",
        }
    }
}

/// What came of an attempt to sign in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum SignIn {
    /// Handle and password go together.
    Admitted,
    /// They do not, or nobody has the handle.
    Refused,
    /// Too many attempts came before it, or too many at once.
    PutOff,
}

impl SignIn {
    pub const fn word(self) -> &'static str {
        match self {
            Self::Admitted => "admitted",
            Self::Refused => "refused",
            Self::PutOff => "put-off",
        }
    }
}

/// What is counted.
#[derive(Debug)]
pub(crate) struct Metrics {
    registry: Registry,
    requests: Family<OfRequest, Counter>,
    took: Family<OfRoute, Histogram, fn() -> Histogram>,
    problems: Family<OfProblem, Counter>,
    acts: Family<Came, Counter>,
    act_took: Histogram,
    records: Counter,
    transaction_took: Histogram,
    acts_of_transaction: Histogram,
    sign_ins: Family<Came, Counter>,
    pub secrets: secrets::Counts,
    /// Recorders' files that are coming or being read.
    pub uploads: Gauge,
    /// Set when they are asked for.
    now: Now,
}

/// What is looked up when it is asked for.
#[derive(Debug, Default)]
struct Now {
    streams: Gauge,
    programmes: Gauge,
    records: Gauge,
    writing: Gauge,
    process: process::Gauges,
}

impl Metrics {
    /// Nothing was counted yet.
    pub fn begun_at(now: DateTime<Utc>, version: &'static str) -> Self {
        let mut new = Self {
            registry: Registry::default(),
            requests: Family::default(),
            took: Family::new_with_constructor(times as fn() -> Histogram),
            problems: Family::default(),
            acts: Family::default(),
            act_took: times(),
            records: Counter::default(),
            transaction_took: times(),
            acts_of_transaction: Histogram::new(BOUNDS_ACTS),
            sign_ins: Family::default(),
            secrets: secrets::Counts::default(),
            uploads: Gauge::default(),
            now: Now::default(),
        };
        new.register(version);
        process::register(&mut new.registry, &new.now.process, now);
        new
    }

    fn register(&mut self, version: &'static str) {
        self.registry.register("rungbook_build", "The program", Info::new([("version", version)]));
        let own = self.registry.sub_registry_with_prefix("rungbook");
        own.register(
            "requests",
            "Requests that were answered, by route, method and class of status",
            self.requests.clone(),
        );
        own.register_with_unit(
            "request_duration",
            "Time until the answer to a request began, by route",
            Unit::Seconds,
            self.took.clone(),
        );
        own.register("problems", "Problems that the API told, by code", self.problems.clone());
        own.register("acts", "Acts on programmes, by what came of them", self.acts.clone());
        own.register_with_unit(
            "act_duration",
            "Time from handing an act to the store until it was on disk or refused",
            Unit::Seconds,
            self.act_took.clone(),
        );
        own.register("records_written", "Records that acts have written", self.records.clone());
        own.register_with_unit(
            "transaction_duration",
            "Time from the decision on the first act of a transaction until all of it was on disk",
            Unit::Seconds,
            self.transaction_took.clone(),
        );
        own.register(
            "transaction_acts",
            "Acts that one transaction has put on disk together",
            self.acts_of_transaction.clone(),
        );
        own.register(
            "sign_ins",
            "Attempts to sign in, by what came of them",
            self.sign_ins.clone(),
        );
        own.register(
            "secret_hashes",
            "Hashes of passwords and PINs that were computed",
            self.secrets.hashes.clone(),
        );
        own.register(
            "secret_hashes_at_work",
            "Requests whose secret is being hashed",
            self.secrets.at_work.clone(),
        );
        own.register(
            "secret_hashes_waiting",
            "Requests that wait for their turn to hash",
            self.secrets.waiting.clone(),
        );
        own.register(
            "uploads",
            "Recorder files that are coming or being read",
            self.uploads.clone(),
        );
        own.register("event_streams", "Streams of events that are open", self.now.streams.clone());
        own.register("programmes", "Programmes on this server", self.now.programmes.clone());
        own.register("ledger_records", "Records of all ledgers together", self.now.records.clone());
        own.register(
            "writing",
            "1 while every ledger can be written, 0 while one cannot",
            self.now.writing.clone(),
        );
    }

    /// A request was answered. `asked` is none where nothing is left of it.
    pub fn answered(
        &self,
        asked: Option<&HttpRequest>,
        method: &Method,
        status: StatusCode,
        took: Duration,
    ) {
        let route = asked.and_then(route_of).unwrap_or_else(|| NO_ROUTE.to_owned());
        self.took.get_or_create(&OfRoute { route: route.clone() }).observe(took.as_secs_f64());
        let labels = OfRequest { method: name_of(method), route, status: class_of(status) };
        self.requests.get_or_create(&labels).inc();
    }

    /// A problem was told.
    pub fn told(&self, problem: &Problem) {
        self.problems.get_or_create(&OfProblem { code: problem.code() }).inc();
    }

    /// An act came to its end.
    pub fn acted(&self, outcome: Act, records: usize, took: Duration) {
        self.acts.get_or_create(&Came { outcome: outcome.word() }).inc();
        self.records.inc_by(u64::try_from(records).unwrap_or(u64::MAX));
        self.act_took.observe(took.as_secs_f64());
    }

    /// A transaction is on disk.
    pub fn committed(&self, transaction: Transaction) {
        self.transaction_took.observe(transaction.took.as_secs_f64());
        self.acts_of_transaction.observe(transaction.acts as f64);
    }

    /// Somebody tried to sign in.
    pub fn tried(&self, outcome: SignIn) {
        self.sign_ins.get_or_create(&Came { outcome: outcome.word() }).inc();
    }
}

/// Something that goes on, counted until it is dropped.
#[derive(Debug)]
pub(crate) struct Counted(Gauge);

impl Counted {
    /// One more of it goes on.
    pub fn one_more(of: &Gauge) -> Self {
        of.inc();
        Self(of.clone())
    }
}

impl Drop for Counted {
    fn drop(&mut self) {
        self.0.dec();
    }
}

/// The route of a request as the table has it, with names in braces; none where there is none.
pub(crate) fn route_of(asked: &HttpRequest) -> Option<String> {
    match asked.app_data::<Facts>() {
        Some(facts) => Some(facts.path().to_owned()),
        None => asked.match_pattern(),
    }
}

/// The method, or `other` where it is none that the service knows.
pub(crate) fn name_of(method: &Method) -> &'static str {
    match *method {
        Method::GET => "GET",
        Method::HEAD => "HEAD",
        Method::POST => "POST",
        Method::PUT => "PUT",
        Method::DELETE => "DELETE",
        _ => "other",
    }
}

fn class_of(status: StatusCode) -> &'static str {
    match status.as_u16() {
        100..200 => "1xx",
        200..300 => "2xx",
        300..400 => "3xx",
        400..500 => "4xx",
        _ => "5xx",
    }
}

/// The answer to who asks for the figures.
fn exposition(metrics: &Metrics) -> HttpResponse {
    let mut text = String::new();
    match prometheus_client::encoding::text::encode(&mut text, &metrics.registry) {
        Ok(()) => HttpResponse::Ok().content_type(listener::OPEN_METRICS).body(text),
        Err(_) => HttpResponse::InternalServerError().finish(),
    }
}
