//! Stories about the service over a real store: problems, tokens, repeats, permissions.

#![allow(clippy::unwrap_used, clippy::panic)]

mod definitions;
mod described;
mod description;
mod documents;
mod doors;
mod field;
mod frame;
mod guessing;
mod ladder;
mod programmes;
pub(crate) mod tug;

use std::sync::Arc;
use std::time::Duration;

use actix_web::body::to_bytes;
use actix_web::http::StatusCode;
use actix_web::http::header::{HeaderMap, HeaderValue};
use actix_web::{App, test as actix_test};
use chrono::{DateTime, TimeDelta, Utc};
use parking_lot::Mutex;
use programme::codes::PersonHandle;
use serde_json::{Value, json};
use store::{NewAccount, Store};

use crate::{Clock, Pace, Service, Settings};

pub(crate) const PASSWORD: &str = "a long password for stories";

/// A service over a fresh store, and a clock that stands until it is moved.
pub(crate) struct House {
    pub service: Service,
    pub store: Store,
    now: Arc<Mutex<DateTime<Utc>>>,
    _folder: tempfile::TempDir,
}

/// What was answered.
#[derive(Debug)]
pub(crate) struct Answer {
    pub status: StatusCode,
    pub headers: HeaderMap,
    pub body: Vec<u8>,
}

impl Answer {
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body)
            .unwrap_or_else(|error| panic!("{error}: {}", String::from_utf8_lossy(&self.body)))
    }

    #[track_caller]
    pub fn has_status(self, status: u16) -> Self {
        let told = String::from_utf8_lossy(&self.body);
        assert_eq!(self.status.as_u16(), status, "{told}");
        self
    }

    /// A whole problem, with its id in header and body.
    #[track_caller]
    pub fn is_problem(&self, status: u16, code: &str) -> Value {
        let told = String::from_utf8_lossy(&self.body);
        assert_eq!(self.status.as_u16(), status, "{told}");
        assert_eq!(self.header("content-type"), "application/problem+json");
        let problem = self.json();
        assert_eq!(problem["code"], code, "{problem}");
        assert_eq!(problem["status"], status);
        assert_eq!(problem["type"], format!("/problems/{code}"));
        for text in ["title", "detail", "instance"] {
            assert!(!problem[text].as_str().unwrap().is_empty(), "{problem}");
        }
        assert_eq!(problem["request_id"], self.header("x-request-id"));
        problem
    }

    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }
}

/// A request on its way.
pub(crate) struct Ask<'a> {
    house: &'a House,
    request: actix_test::TestRequest,
}

impl Ask<'_> {
    pub fn header(mut self, name: &str, value: &str) -> Self {
        let value = HeaderValue::from_str(value).unwrap();
        self.request = self.request.append_header((name, value));
        self
    }

    pub fn token(self, token: &str) -> Self {
        self.header("authorization", &format!("Bearer {token}"))
    }

    pub fn json(mut self, body: &Value) -> Self {
        self.request = self.request.set_json(body);
        self
    }

    pub fn bytes(mut self, kind: &str, body: impl Into<actix_web::web::Bytes>) -> Self {
        self.request = self.request.insert_header(("content-type", kind)).set_payload(body);
        self
    }

    pub async fn answer(self) -> Answer {
        let service = self.house.service.clone();
        let app =
            actix_test::init_service(App::new().configure(move |config| service.configure(config)))
                .await;
        let peer = "127.0.0.1:4711".parse().unwrap();
        let request = self.request.peer_addr(peer).to_request();
        let (method, path) = (request.method().clone(), request.uri().to_string());
        let response = match actix_test::try_call_service(&app, request).await {
            Ok(response) => response.into_parts().1,
            Err(error) => error.error_response(),
        };
        let (status, headers) = (response.status(), response.headers().clone());
        let body = to_bytes(response.into_body()).await.unwrap().to_vec();
        let answer = Answer { status, headers, body };
        let media_type = answer.header("content-type").split(';').next().unwrap_or_default();
        described::hold_against(&method, &path, status, media_type.trim(), &answer.body);
        answer
    }
}

impl House {
    pub async fn new() -> Self {
        Self::with(Settings {
            attempts_per_address: Pace::new(10_000, Duration::from_millis(1)),
            attempts_per_account: Pace::new(10_000, Duration::from_millis(1)),
            ..Settings::default()
        })
        .await
    }

    pub async fn with(settings: Settings) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path()).await.unwrap();
        let begins: DateTime<Utc> = "2026-05-02T08:00:00Z".parse().unwrap();
        let now = Arc::new(Mutex::new(begins));
        let told = Arc::clone(&now);
        let clock = Clock::that(move || *told.lock());
        let service = Service::new(store.clone(), settings, clock).await.unwrap();
        let house = Self { service, store, now, _folder: folder };
        house.account("keeper", true).await;
        house
    }

    pub fn time_passes(&self, time: TimeDelta) {
        *self.now.lock() += time;
    }

    /// Makes an account; the hash of the stories' password is made once, since that takes long.
    pub async fn account(&self, handle: &str, administrator: bool) {
        static HASH: std::sync::LazyLock<String> = std::sync::LazyLock::new(|| {
            crate::hash_password(&PersonHandle::new("someone").unwrap(), PASSWORD).unwrap()
        });
        let new = NewAccount {
            handle: PersonHandle::new(handle).unwrap(),
            name: format!("The {handle}"),
            password_hash: HASH.clone(),
            pin_hash: None,
            administrator,
        };
        let now = *self.now.lock();
        self.store.create_account(new, now, None).await.unwrap();
    }

    pub fn get(&self, path: &str) -> Ask<'_> {
        Ask { house: self, request: actix_test::TestRequest::get().uri(path) }
    }

    pub fn post(&self, path: &str) -> Ask<'_> {
        Ask { house: self, request: actix_test::TestRequest::post().uri(path) }
    }

    pub fn put(&self, path: &str) -> Ask<'_> {
        Ask { house: self, request: actix_test::TestRequest::put().uri(path) }
    }

    pub fn delete(&self, path: &str) -> Ask<'_> {
        Ask { house: self, request: actix_test::TestRequest::delete().uri(path) }
    }

    /// Signs in and gives the reply with the tokens.
    pub async fn sign_in(&self, handle: &str) -> Value {
        let body = json!({ "handle": handle, "password": PASSWORD });
        self.post("/api/v1/sessions").json(&body).answer().await.has_status(201).json()
    }

    /// Signs in and gives the access token.
    pub async fn token(&self, handle: &str) -> String {
        self.sign_in(handle).await["access_token"].as_str().unwrap().to_owned()
    }
}
