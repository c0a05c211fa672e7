//! Asking twice with the same key does a thing once.

use actix_web::HttpRequest;
use actix_web::http::Method;
use actix_web::http::header::{HeaderName, HeaderValue};
use serde_json::Value;
use sha2::{Digest, Sha256};
use store::Idempotency;

use crate::problem::{BAD_HEADER, Problem};

/// The header in which a key travels.
pub(crate) static HEADER: HeaderName = HeaderName::from_static("idempotency-key");
/// Set on a reply that was given before.
pub(crate) static REPLAYED: HeaderName = HeaderName::from_static("idempotency-replayed");
pub(crate) static TRUE: HeaderValue = HeaderValue::from_static("true");

/// The longest key, in bytes.
const LONGEST: usize = 128;

/// Fields that hold secrets. They are left out of what is compared, since even a digest of them would help whoever
/// steals the database to guess them.
const SECRETS: &[&str] = &["secret", "password", "pin", "new_password", "refresh_token"];

/// The part of a request by which a repeat of it is known.
#[derive(Debug, Clone)]
pub(crate) struct Asked {
    /// The key and what was asked, on a POST with a key.
    pub idempotency: Option<Idempotency>,
}

impl Asked {
    /// Asked without a key.
    pub const fn once() -> Self {
        Self { idempotency: None }
    }

    pub fn of(request: &HttpRequest, body: &[u8]) -> Result<Self, Problem> {
        Self::of_part(request, &without_secrets(body))
    }

    /// What was asked, where the body is told by something that stands for it, such as the digest of a file.
    pub fn of_part(request: &HttpRequest, body: &[u8]) -> Result<Self, Problem> {
        if request.method() != Method::POST {
            return Ok(Self { idempotency: None });
        }
        let Some(key) = request.headers().get(&HEADER) else {
            return Ok(Self { idempotency: None });
        };
        let key = key.to_str().ok().filter(|key| is_key(key)).ok_or_else(|| {
            Problem::new(
                BAD_HEADER,
                format!(
                    "An Idempotency-Key has 1 to {LONGEST} visible ASCII characters without spaces; a UUID serves well."
                ),
            )
        })?;
        let mut digest = Sha256::new();
        digest.update(request.method().as_str());
        digest.update([0]);
        digest.update(request.uri().to_string());
        digest.update([0]);
        digest.update(request.headers().get("content-type").map_or(&b""[..], |v| v.as_bytes()));
        digest.update([0]);
        digest.update(body);
        Ok(Self {
            idempotency: Some(Idempotency {
                key: key.to_owned(),
                request_digest: digest.finalize().into(),
            }),
        })
    }
}

/// Spaces are not allowed, so that the service's own keys, which have one, can never be taken.
fn is_key(key: &str) -> bool {
    (1..=LONGEST).contains(&key.len()) && key.bytes().all(|byte| byte.is_ascii_graphic())
}

fn without_secrets(body: &[u8]) -> Vec<u8> {
    match serde_json::from_slice(body) {
        Ok(Value::Object(mut fields)) => {
            fields.retain(|name, _| !SECRETS.contains(&name.as_str()));
            serde_json::to_vec(&fields).unwrap_or_default()
        }
        _ => body.to_vec(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn secrets_are_not_part_of_what_is_compared_however_they_are_spelt() {
        let plain = without_secrets(br#"{"handle": "ada", "password": "one"}"#);
        let other = without_secrets(br#"{"p\u0061ssword": "two", "handle": "ada"}"#);
        assert_eq!(plain, other);
        assert_ne!(plain, without_secrets(br#"{"handle": "bo"}"#));
        assert_eq!(without_secrets(b"a,b\n1,2"), b"a,b\n1,2");
    }
}
