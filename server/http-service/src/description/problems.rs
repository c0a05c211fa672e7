//! The problems that operations can answer with: every status, and for each of them every code with an example.

use std::collections::BTreeMap;

use actix_web::http::Method;
use serde_json::{Value, json};
use utoipa::openapi::example::ExampleBuilder;
use utoipa::openapi::header::HeaderBuilder;
use utoipa::openapi::response::{Response, ResponseBuilder};
use utoipa::openapi::schema::{ObjectBuilder, Type};
use utoipa::openapi::{ContentBuilder, RefOr};

use super::problem_examples::{COMMANDS, DETAILS};
use super::reference;
use crate::access::Who;
use crate::problem::{ALL, Kind};

/// The statuses of problems: their names in the description, and when they come.
const STATUSES: &[(u16, &str, &str)] = &[
    (
        400,
        "NotUnderstood",
        "The request cannot be understood: its query string, its headers or its JSON.",
    ),
    (401, "NotSignedIn", "Nobody is signed in, or what was given to sign in is not good."),
    (
        403,
        "NotPermitted",
        "Your roles do not allow it, or the password or PIN given to sign is not right.",
    ),
    (404, "NotFound", "There is no such thing, or it is in a programme in which you take no part."),
    (406, "NotAcceptable", "None of the accepted types can be sent."),
    (408, "TooSlow", "The body stopped coming."),
    (
        409,
        "NotNow",
        "Held, or not possible as things stand. Every hold is named, with what clears it; what else has to happen first \
         stands in `clears`.",
    ),
    (412, "Stale", "It has changed since you read it."),
    (413, "TooLarge", "The body is too large."),
    (415, "UnsupportedType", "A body of that type is not read here."),
    (
        421,
        "Misdirected",
        "Nothing is served under the name of the host that was asked for, on a server that has several organisations.",
    ),
    (422, "Invalid", "What was given cannot be accepted. Every fault is named, with its field."),
    (428, "VersionRequired", "Say in If-Match which version you are changing."),
    (
        429,
        "TooManyAttempts",
        "Too many attempts, or too much that waits; Retry-After says when to try again.",
    ),
    (500, "Failed", "The program failed."),
    (
        503,
        "NotServing",
        "The server is busy, has stopped writing, or does not reach the recordings; Retry-After says when to try again.",
    ),
    (507, "DiskFull", "The disk of the server is full; Retry-After says when to try again."),
];

/// What an operation is like, as far as its problems depend on it.
#[derive(Debug, Clone)]
pub(super) struct Character<'a> {
    pub method: &'a Method,
    pub path: &'a str,
    pub who: Who,
    pub has_body: bool,
    /// Whether the password or PIN is given again.
    pub signs: bool,
    /// Whether a version can be told in If-Match.
    pub amends: bool,
    /// Whether a version has to be told where the thing exists.
    pub version_asked: bool,
    /// Whether the past can be asked for.
    pub looks_back: bool,
}

impl Character<'_> {
    /// The problems that the operation can answer with: status and name.
    pub fn problems(&self) -> impl Iterator<Item = (String, &'static str)> {
        STATUSES
            .iter()
            .filter(|(status, ..)| self.answers_with(*status))
            .map(|(status, name, _)| (status.to_string(), *name))
    }

    fn answers_with(&self, status: u16) -> bool {
        let writes = self.method != Method::GET;
        let in_programme = matches!(self.who, Who::To(_));
        let signs_in = self.path.starts_with("/api/v1/sessions") && self.method == Method::POST;
        match status {
            // Every query string and every header is looked at, the host before all else, and every handler may fail.
            400 | 421 | 500 => true,
            401 => self.who != Who::Anyone || signs_in,
            403 => in_programme || self.who == Who::Administrator || self.signs,
            404 => self.path.contains('{'),
            406 => self.gives_data(),
            408 => self.reads_a_file(),
            // A past that has not come yet cannot be read.
            409 => {
                self.looks_back
                    || (writes && in_programme)
                    || self.can_clash()
                    || self.compares_recordings()
                    || self.gives_what_was_ordered()
            }
            412 => self.amends,
            428 => self.version_asked,
            422 => self.has_body || self.compares_recordings() || self.supposes_runs(),
            413 | 415 => self.has_body,
            429 => self.signs || signs_in || (writes && self.path.ends_with("/evidence")),
            503 => {
                writes || self.looks_back || self.of_recording() || self.path.ends_with("/ready")
            }
            507 => writes || self.gives_data() || self.path.ends_with("/ready"),
            _ => false,
        }
    }

    /// What is asked of several recordings together may not be possible with these, or as things stand.
    fn compares_recordings(&self) -> bool {
        self.method == Method::GET
            && (self.path.ends_with("/judged") || self.path.ends_with("/clock-estimate"))
    }

    /// It may not be made yet.
    fn gives_what_was_ordered(&self) -> bool {
        self.path.ends_with("/evidence/{order}/file")
    }

    /// The runs that are asked about may be impossible.
    fn supposes_runs(&self) -> bool {
        self.path.contains("/day-plans/{plan}/energy")
    }

    /// It reads the columns of a recording, which takes its turn.
    fn of_recording(&self) -> bool {
        self.path.contains("/{recording}")
            || self.path.ends_with("/{interval}/values")
            || self.path.ends_with("/{reduction}/input")
    }

    /// It gives a file of the type that was accepted, which is written to disk first.
    fn gives_data(&self) -> bool {
        self.path.ends_with("/data")
    }

    /// It reads a body as it comes, and does not wait for ever.
    fn reads_a_file(&self) -> bool {
        self.path.ends_with("/look")
            || (self.path.ends_with("/recordings") && self.method == Method::POST)
    }

    /// What administrators do can clash with what is there: a handle or an id that is taken, the last administrator.
    fn can_clash(&self) -> bool {
        let creates = self.method == Method::POST
            && matches!(self.path, "/api/v1/accounts" | "/api/v1/programmes");
        creates || (self.method == Method::PUT && self.path == "/api/v1/accounts/{person}")
    }
}

/// The replies that say what went wrong, by name.
pub(super) fn responses() -> BTreeMap<String, RefOr<Response>> {
    STATUSES
        .iter()
        .map(|(status, name, about)| ((*name).to_owned(), RefOr::T(response(*status, about))))
        .collect()
}

fn response(status: u16, about: &str) -> Response {
    let mut content = ContentBuilder::new().schema(Some(reference("Problem")));
    let (mut codes, mut examples) = (Vec::new(), Vec::new());
    let kinds = ALL.iter().copied().chain(COMMANDS.iter().map(|(code, ..)| Kind::not_now(code)));
    for kind in kinds.filter(|kind| kind.status == status) {
        codes.push(format!("`{}`", kind.code));
        let example = ExampleBuilder::new().summary(kind.title).value(Some(shown(kind)));
        examples.push((kind.code, example.build()));
    }
    content = content.examples_from_iter(examples);
    let about = format!("{about}\n\nCodes: {}.", codes.join(", "));
    let mut response = ResponseBuilder::new()
        .description(about)
        .content("application/problem+json", content.build());
    if matches!(status, 429 | 503 | 507) {
        let seconds = ObjectBuilder::new().schema_type(Type::Integer).minimum(Some(1));
        let header =
            HeaderBuilder::new().schema(Some(seconds)).description(Some("Seconds to wait."));
        response = response.header("Retry-After", header.build());
    }
    if status == 401 {
        let text = ObjectBuilder::new().schema_type(Type::String);
        let header = HeaderBuilder::new()
            .schema(Some(text))
            .description(Some("How to sign in, as RFC 6750 has it."));
        response = response.header("WWW-Authenticate", header.build());
    }
    response.build()
}

/// A problem of a kind as it is sent.
fn shown(kind: Kind) -> Value {
    let (detail, more) = COMMANDS
        .iter()
        .find(|(code, ..)| *code == kind.code)
        .map(|(_, detail, clears)| (*detail, json!({ "clears": clears })))
        .or_else(|| {
            let known = DETAILS.iter().find(|(code, _)| *code == kind.code);
            known.map(|(code, detail)| (*detail, members(code)))
        })
        .unwrap_or((kind.title, json!({})));
    let mut problem = json!({
        "type": format!("/problems/{}", kind.code),
        "title": kind.title,
        "status": kind.status,
        "detail": detail,
        "instance": "/api/v1/programmes/tallow/points/GR-02",
        "code": kind.code,
        "request_id": "0197f2a4-6b1e-7c50-9d2f-3a8e5b1c7d90",
    });
    if let (Value::Object(problem), Value::Object(more)) = (&mut problem, more) {
        problem.extend(more);
    }
    problem
}

/// The members that a problem of a code has besides those of all.
fn members(code: &str) -> Value {
    match code {
        "held" => json!({ "holds": [{
            "rule": "plan-not-approved",
            "subject": { "what": "point", "code": "GR-02" },
            "why": "The plan of GR-02 is not approved.",
            "clears": "A test lead or engineer other than its author approves the plan.",
            "source": "Rungbook, rule 2 of its design",
            "stage": "release",
        }] }),
        "invalid" | "input-refused" => json!({ "faults": [{
            "field": "reason",
            "why": "Say in a few words why.",
        }] }),
        "not-permitted" => json!({ "allowed": ["safety"] }),
        _ => json!({}),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn every_code_has_an_example_and_every_example_a_code() {
        let described: BTreeSet<&str> = DETAILS.iter().map(|(code, _)| *code).collect();
        let known: BTreeSet<&str> = ALL.iter().map(|kind| kind.code).collect();
        assert_eq!(described, known);
        assert_eq!(described.len(), DETAILS.len(), "no code is there twice");
    }

    #[test]
    fn every_code_with_which_commands_answer_that_it_is_not_the_time_is_described() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../programme/src/commands");
        let mut in_the_source = BTreeSet::new();
        let entries = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
        for file in entries.filter(|path| path.is_file()) {
            let source = std::fs::read_to_string(file).unwrap();
            // Only what stands before a file's tests is asked for by people.
            let source = source.split("#[cfg(test)]\nmod tests").next().unwrap();
            for call in source.split("not_now(").skip(1) {
                if let Some(("", rest)) = call.trim_start().split_once('"') {
                    in_the_source.insert(rest.split('"').next().unwrap().to_owned());
                }
            }
        }
        // What only a recording can tell is refused before a command decides.
        for (file, code) in [
            (include_str!("../api/intervals/take.rs"), "not-steady"),
            (include_str!("../api/reductions/make.rs"), "reduction-not-repeatable"),
        ] {
            assert!(file.contains(&format!("\"{code}\"")), "{code}");
            in_the_source.insert(code.to_owned());
        }
        let described: BTreeSet<String> =
            COMMANDS.iter().map(|(code, ..)| (*code).to_owned()).collect();
        assert_eq!(described, in_the_source);
    }
}
