//! To which trace a request belongs, so that its log lines are found beside those of other programs.
//!
//! # Source
//!
//! W3C Trace Context (Recommendation, 23 November 2021), section 3.2 (from memory): the `traceparent` header, of version,
//! trace-id, parent-id and flags in lower-case hexadecimal. Whoever gives one that is not as written there, or two, is treated
//! as if they had given none. Nothing is sent on from here, and the Recommendation knows no header of replies, so `tracestate`
//! and the flags are read by nobody.

use actix_web::http::header::{HeaderMap, HeaderName};
use uuid::Uuid;

use crate::request_id::RequestId;

/// The header in which whoever asks tells the trace.
static HEADER: HeaderName = HeaderName::from_static("traceparent");

/// As long as a header of the one version that is known: `00-` and 32, 16 and 2 digits, with two dashes between.
const LENGTH: usize = 55;

/// The trace of a request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Trace {
    /// The trace's id: 32 lower-case hexadecimal digits.
    pub id: String,
    /// The id of what asked: 16 such digits; none where the trace begins here.
    pub parent: Option<String>,
}

impl Trace {
    /// The one that whoever asks has told, else a new one. A new one has the digits of the request's id where that is a UUID,
    /// so that either is found by the other.
    pub fn of(headers: &HeaderMap, request: &RequestId) -> Self {
        let mut given = headers.get_all(&HEADER);
        let told = match (given.next(), given.next()) {
            (Some(only), None) => only.to_str().ok().and_then(read),
            _ => None,
        };
        told.unwrap_or_else(|| Self::begun_by(request))
    }

    fn begun_by(request: &RequestId) -> Self {
        let named = Uuid::try_parse(request.as_str()).ok().filter(|id| !id.is_nil());
        Self { id: named.unwrap_or_else(Uuid::now_v7).simple().to_string(), parent: None }
    }
}

fn read(given: &str) -> Option<Trace> {
    let (known, more) = given.split_at_checked(LENGTH)?;
    let mut parts = known.split('-');
    let [version, trace, parent, flags] = [2, 32, 16, 2].map(|digits| {
        parts.next().filter(|part| part.len() == digits && part.bytes().all(is_digit))
    });
    let (version, trace, parent, _) = (version?, trace?, parent?, flags?);
    // Of later versions only the part that is known here is read; what they add begins with a dash.
    let goes_on =
        if version == "00" { more.is_empty() } else { more.is_empty() || more.starts_with('-') };
    let named = |id: &str| id.bytes().any(|digit| digit != b'0');
    (version != "ff" && goes_on && named(trace) && named(parent))
        .then(|| Trace { id: trace.to_owned(), parent: Some(parent.to_owned()) })
}

fn is_digit(byte: u8) -> bool {
    matches!(byte, b'0'..=b'9' | b'a'..=b'f')
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use actix_web::http::header::HeaderValue;

    use super::*;

    const TRACE: &str = "4bf92f3577b34da6a3ce929d0e0e4736";
    const PARENT: &str = "00f067aa0ba902b7";

    fn of(given: &[&str]) -> Trace {
        let mut headers = HeaderMap::new();
        for one in given {
            headers.append(HEADER.clone(), HeaderValue::from_str(one).unwrap());
        }
        Trace::of(&headers, &RequestId::new())
    }

    #[test]
    fn a_trace_that_is_told_is_taken_over_whatever_its_flags_are() {
        for given in [
            format!("00-{TRACE}-{PARENT}-01"),
            format!("00-{TRACE}-{PARENT}-00"),
            format!("00-{TRACE}-{PARENT}-ff"),
            // Of a version that is still to come, with more after what is known.
            format!("cc-{TRACE}-{PARENT}-01"),
            format!("cc-{TRACE}-{PARENT}-01-what-the-future-will-be-like"),
        ] {
            let trace = of(&[&given]);
            assert_eq!(
                (trace.id.as_str(), trace.parent.as_deref()),
                (TRACE, Some(PARENT)),
                "{given}"
            );
        }
    }

    #[test]
    fn what_is_not_written_as_it_must_be_begins_a_new_trace() {
        let good = format!("00-{TRACE}-{PARENT}-01");
        let mut bad = vec![
            String::new(),
            "00".to_owned(),
            format!("ff-{TRACE}-{PARENT}-01"),
            format!("00-{}-{PARENT}-01", "0".repeat(32)),
            format!("00-{TRACE}-{}-01", "0".repeat(16)),
            format!("00-{}-{PARENT}-01", TRACE.to_uppercase()),
            format!("0x-{TRACE}-{PARENT}-01"),
            format!("00-{TRACE}-{PARENT}-0X"),
            format!("00-{TRACE}-{PARENT}"),
            format!("00-{}-{PARENT}-01", &TRACE[1..]),
            format!("00-{TRACE}0-{PARENT}-01"),
            format!("00-{TRACE}-{PARENT}0-01"),
            format!("00_{TRACE}_{PARENT}_01"),
            format!("{good}-more"),
            format!("cc-{TRACE}-{PARENT}-01.more"),
            format!(" {good}"),
            format!("{good}, {good}"),
        ];
        // No digit can be left out, and none can be something else.
        for place in 0..good.len() {
            let mut shorter = good.clone();
            shorter.remove(place);
            let mut other = good.clone();
            other.replace_range(place..=place, "g");
            bad.extend([shorter, other]);
        }
        for given in bad {
            let trace = of(&[&given]);
            assert!(trace.id != TRACE && trace.parent.is_none(), "{given:?}: {trace:?}");
            assert!(trace.id.len() == 32 && trace.id.bytes().all(is_digit), "{trace:?}");
        }
        assert_eq!(of(&[&good, &good]).parent, None, "two are none");
    }

    #[test]
    fn a_new_trace_has_the_digits_of_the_request_that_begins_it() {
        let request = RequestId::new();
        let trace = Trace::of(&HeaderMap::new(), &request);
        assert_eq!(trace.id, request.as_str().replace('-', ""));
        let mut named = HeaderMap::new();
        named.insert(crate::request_id::HEADER.clone(), HeaderValue::from_static("tablet-7.00042"));
        let request = RequestId::of(&named);
        assert_ne!(Trace::of(&named, &request).id, Trace::of(&named, &request).id);
    }
}
