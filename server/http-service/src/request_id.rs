//! The name of one request, in its reply and in the log.

use actix_web::http::header::{HeaderMap, HeaderName, HeaderValue};
use uuid::Uuid;

/// The header in which the id travels.
pub static HEADER: HeaderName = HeaderName::from_static("x-request-id");

/// The longest id that is taken over from a client.
const LONGEST: usize = 64;

/// The name of one request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RequestId(String);

impl RequestId {
    /// A new one: a UUID of version 7, so that ids sort by time.
    pub fn new() -> Self {
        let mut buffer = Uuid::encode_buffer();
        Self(Uuid::now_v7().hyphenated().encode_lower(&mut buffer).to_owned())
    }

    /// The one that came with the request, if it is sane, else a new one.
    pub fn of(headers: &HeaderMap) -> Self {
        headers
            .get(&HEADER)
            .and_then(|value| value.to_str().ok())
            .filter(|id| is_sane(id))
            .map_or_else(Self::new, |id| Self(id.to_owned()))
    }

    /// The id as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The id as a header's value.
    pub fn to_header(&self) -> HeaderValue {
        HeaderValue::from_str(&self.0).unwrap_or_else(|_| HeaderValue::from_static("unknown"))
    }
}

/// Letters, digits, `-`, `_` and `.`, so that it can neither break a log line nor a header.
fn is_sane(id: &str) -> bool {
    (8..=LONGEST).contains(&id.len())
        && id.bytes().all(|byte| byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_' | b'.'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_request_id_that_could_forge_a_log_line_is_replaced() {
        let mut headers = HeaderMap::new();
        headers.insert(HEADER.clone(), HeaderValue::from_static("run-2026.07_a"));
        assert_eq!(RequestId::of(&headers).as_str(), "run-2026.07_a");
        for forged in ["short", "with a space in it", "{\"level\":\"error\"}"] {
            headers.insert(HEADER.clone(), HeaderValue::from_static(forged));
            assert_ne!(RequestId::of(&headers).as_str(), forged);
        }
    }
}
