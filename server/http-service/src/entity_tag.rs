//! ETags: which version of a thing somebody read, and whether it is still the one that stands there.

use std::hash::{DefaultHasher, Hasher};

use actix_web::http::header::{HeaderMap, HeaderValue, IF_MATCH, IF_NONE_MATCH};
use actix_web::{FromRequest, HttpRequest};
use std::future::{Ready, ready};

use crate::problem::{BAD_HEADER, IF_MATCH_REQUIRED, Problem, STALE, capitalised};

/// The tag of bytes that are sent.
pub(crate) fn of_bytes(bytes: &[u8]) -> String {
    let mut hasher = DefaultHasher::new();
    hasher.write(bytes);
    format!("\"{:016x}\"", hasher.finish())
}

/// The tag of a file that is called by its digest.
pub(crate) fn of_digest(digest: &programme::record::Digest) -> String {
    format!("\"{digest}\"")
}

/// The tag of a thing that is amended by its revision: what stands before the point tells the revision, what stands
/// behind it the bytes that were sent.
pub(crate) fn of_revision(revision: impl std::fmt::Display, bytes: &[u8]) -> String {
    let mut hasher = DefaultHasher::new();
    hasher.write(bytes);
    format!("\"{revision}.{:016x}\"", hasher.finish())
}

pub(crate) fn to_header(tag: &str) -> HeaderValue {
    HeaderValue::from_str(tag).unwrap_or_else(|_| HeaderValue::from_static("\"\""))
}

/// Whether a reader has these bytes already.
pub(crate) fn is_known(headers: &HeaderMap, tag: &str) -> bool {
    headers.get_all(IF_NONE_MATCH).filter_map(|value| value.to_str().ok()).any(|known| {
        known.trim() == "*"
            || known.split(',').any(|known| known.trim().trim_start_matches("W/") == tag)
    })
}

/// The headers of an amendment, for the description.
#[derive(Debug, utoipa::IntoParams)]
#[into_params(parameter_in = Header)]
#[expect(dead_code, reason = "it describes headers that are read one by one")]
pub struct Amends {
    /// The ETag of what you read and now change. It is asked for where the thing exists.
    #[param(rename = "If-Match", example = "\"412.0123456789abcdef\"")]
    if_match: Option<String>,
    /// `*`: the thing must not exist yet.
    #[param(rename = "If-None-Match", pattern = "^\\*$")]
    if_none_match: Option<String>,
}

/// The header of an import of something that was read in one piece, for the description.
#[derive(Debug, utoipa::IntoParams)]
#[into_params(parameter_in = Header)]
#[expect(dead_code, reason = "it describes a header that is read by itself")]
pub struct Unchanged {
    /// The ETag of what you read and then worked on. Where it is sent and anything there has changed since, nothing is
    /// imported, so that nobody's change is undone.
    #[param(rename = "If-Match", example = "\"0123456789abcdef\"")]
    if_match: Option<String>,
}

/// Which version an amendment is of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Precondition {
    /// Nothing was said.
    None,
    /// One of these tags.
    Match(Vec<String>),
    /// Any version, but it has to exist.
    Exists,
    /// It must not exist yet.
    Absent,
}

impl FromRequest for Precondition {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut actix_web::dev::Payload) -> Self::Future {
        ready(read(request.headers()))
    }
}

fn read(headers: &HeaderMap) -> Result<Precondition, Problem> {
    let bad = |what| {
        Problem::new(
            BAD_HEADER,
            format!(
                "{what} has to be an ETag as it was sent, such as \"3.0123456789abcdef\" with its quotation marks."
            ),
        )
    };
    if let Some(value) = headers.get(IF_MATCH) {
        let text = value.to_str().map_err(|_| bad("If-Match"))?.trim();
        if text == "*" {
            return Ok(Precondition::Exists);
        }
        let tags: Option<Vec<String>> = text.split(',').map(|tag| inner(tag.trim())).collect();
        return tags.map(Precondition::Match).ok_or_else(|| bad("If-Match"));
    }
    match headers.get(IF_NONE_MATCH) {
        None => Ok(Precondition::None),
        Some(value) if value.as_bytes() == b"*" => Ok(Precondition::Absent),
        Some(_) => Err(Problem::new(
            BAD_HEADER,
            "On an amendment If-None-Match can only be *, which means that the thing must not exist yet.",
        )),
    }
}

/// A tag without its quotation marks.
fn inner(tag: &str) -> Option<String> {
    let inner = tag.strip_prefix('"')?.strip_suffix('"')?;
    (!inner.is_empty() && !inner.contains('"')).then(|| inner.to_owned())
}

/// What stands there now, as far as a precondition is about it.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Present<'a> {
    /// Its revision, which stands before the point of its tags.
    Revision(u64),
    /// Its whole tag.
    Tag(&'a str),
}

impl Present<'_> {
    fn is(self, given: &str) -> bool {
        match self {
            Present::Revision(revision) => {
                given.split('.').next().is_some_and(|part| part == revision.to_string())
            }
            Present::Tag(tag) => inner(tag).is_some_and(|tag| tag == given),
        }
    }
}

impl Precondition {
    /// Holds what was said against what stands there now; none where nothing does.
    ///
    /// # Errors
    ///
    /// 428 where a thing that exists would be amended and nobody said which version, 412 where it is another one.
    pub fn check(&self, what: &str, present: Option<Present<'_>>) -> Result<(), Problem> {
        match (self, present) {
            (Precondition::None | Precondition::Absent, None) => Ok(()),
            (Precondition::Exists, Some(_)) => Ok(()),
            (Precondition::Match(given), Some(present))
                if given.iter().any(|tag| present.is(tag)) =>
            {
                Ok(())
            }
            (Precondition::None, Some(_)) => Err(Problem::new(
                IF_MATCH_REQUIRED,
                format!(
                    "Read {what} first and send its ETag in If-Match, so that nobody's change is lost."
                ),
            )),
            (Precondition::Match(_) | Precondition::Exists, None) => {
                Err(Problem::new(STALE, format!("There is no {what} that could be changed.")))
            }
            (Precondition::Absent, Some(_)) => Err(Problem::new(
                STALE,
                format!(
                    "There is {what} already. Read it, and send the change with its ETag in If-Match."
                ),
            )),
            (Precondition::Match(_), Some(_)) => Err(Problem::new(
                STALE,
                format!(
                    "{} has changed since you read it. Read it again, look at what changed, and send the change with the new ETag.",
                    capitalised(what),
                ),
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn precondition(name: &'static str, value: &'static str) -> Result<Precondition, Problem> {
        let mut headers = HeaderMap::new();
        headers.insert(
            actix_web::http::header::HeaderName::from_static(name),
            HeaderValue::from_static(value),
        );
        read(&headers)
    }

    #[test]
    fn an_amendment_says_which_version_it_is_of() {
        let present = Some(Present::Revision(3));
        let same = precondition("if-match", "\"3.1234\"").unwrap();
        assert!(same.check("it", present).is_ok(), "only the revision counts");
        let other = precondition("if-match", "\"2.00ff\"").unwrap();
        assert_eq!(other.check("it", present).unwrap_err().code(), "stale");
        assert_eq!(
            Precondition::None.check("it", present).unwrap_err().code(),
            "if-match-required"
        );
        assert!(Precondition::None.check("it", None).is_ok(), "a new thing needs no version");
        let new = precondition("if-none-match", "*").unwrap();
        assert!(new.check("it", None).is_ok());
        assert_eq!(new.check("it", present).unwrap_err().code(), "stale");
        assert!(precondition("if-match", "3").is_err());
    }

    #[test]
    fn a_reader_who_has_the_bytes_is_told_so() {
        let mut headers = HeaderMap::new();
        headers.insert(IF_NONE_MATCH, HeaderValue::from_static("\"a\", W/\"b\""));
        assert!(is_known(&headers, "\"b\""));
        assert!(!is_known(&headers, "\"c\""));
    }
}
