//! What many operations have in common: the names in their paths, their headers, the problems they can answer with.

use std::collections::BTreeMap;

use actix_web::http::Method;
use serde_json::json;
use utoipa::openapi::header::HeaderBuilder;
use utoipa::openapi::path::{Parameter, ParameterBuilder, ParameterIn};
use utoipa::openapi::response::{Response, ResponseBuilder, Responses};
use utoipa::openapi::schema::{ObjectBuilder, Type};
use utoipa::openapi::{ContentBuilder, RefOr, Required, Schema};

use crate::access::Who;
use crate::description::reference;

/// The pattern of all codes.
const CODE: &str = "^[A-Za-z0-9][A-Za-z0-9._-]{0,39}$";

/// The names that paths have in braces: the schema of each, and what it names.
const NAMES: &[(&str, &str, &str)] = &[
    ("programme", "ProgrammeId", "The programme."),
    ("person", "PersonHandle", "The person's handle."),
    ("point", "PointCode", "The point's code."),
    ("item", "ItemCode", "The item's code."),
    ("channel", "ChannelCode", "The channel's code."),
    ("limit", "LimitCode", "The limit's code."),
    ("check", "CheckCode", "The check's code."),
    ("hazard", "HazardCode", "The hazard's code."),
    ("document", "DocumentCode", "The document's code."),
    ("run", "RunNumber", "The run's number."),
    ("snag", "SnagNumber", "The snag's number."),
    ("exceedance", "ExceedanceNumber", "The exceedance's number."),
    ("proposal", "ProposalNumber", "The proposal's number."),
    ("topic", "TopicName", "The topic's name."),
    ("seq", "RecordNumber", "The record's number."),
];

fn code() -> RefOr<Schema> {
    ObjectBuilder::new().schema_type(Type::String).pattern(Some(CODE)).into()
}

fn number() -> RefOr<Schema> {
    ObjectBuilder::new().schema_type(Type::Integer).minimum(Some(1)).maximum(Some(u32::MAX)).into()
}

/// The schemas of names in paths.
pub(super) fn path_schemas() -> BTreeMap<String, RefOr<Schema>> {
    let schema = |name: &str| if name.ends_with("Number") { number() } else { code() };
    NAMES.iter().map(|(_, name, _)| ((*name).to_owned(), schema(name))).collect()
}

/// The parameters of a path template.
pub(super) fn path_parameters(path: &str) -> Vec<RefOr<Parameter>> {
    let in_braces = path.split('{').skip(1).filter_map(|rest| rest.split('}').next());
    in_braces
        .map(|segment| {
            let (_, schema, about) = NAMES
                .iter()
                .find(|(known, ..)| *known == segment)
                .copied()
                .unwrap_or(("", "ProgrammeId", ""));
            RefOr::T(
                ParameterBuilder::new()
                    .name(segment)
                    .parameter_in(ParameterIn::Path)
                    .required(Required::True)
                    .description(Some(about))
                    .schema(Some(reference(schema)))
                    .build(),
            )
        })
        .collect()
}

/// The header by which a POST can be repeated.
pub(super) fn idempotency_key() -> RefOr<Parameter> {
    let schema = ObjectBuilder::new()
        .schema_type(Type::String)
        .pattern(Some("^[!-~]{1,128}$"))
        .examples([json!("0197f2a4-6b1e-7c50-9d2f-3a8e5b1c7d90")]);
    RefOr::T(
        ParameterBuilder::new()
            .name("Idempotency-Key")
            .parameter_in(ParameterIn::Header)
            .required(Required::False)
            .description(Some(
                "A key of your own for this request. A repeat with the same key within 30 days is answered as the first was, and does nothing again.",
            ))
            .schema(Some(schema))
            .build(),
    )
}

/// One status of a problem: its name in the description, when it comes, and an example of its code and sentence.
struct Example {
    status: u16,
    name: &'static str,
    about: &'static str,
    code: &'static str,
    title: &'static str,
    detail: &'static str,
}

const EXAMPLES: &[Example] = &[
    Example {
        status: 400,
        name: "NotUnderstood",
        about: "The request cannot be understood: its query string, its headers or its JSON.",
        code: "bad-query",
        title: "The query string cannot be understood",
        detail: "\"colour\" is not known here; what can be asked for is after, limit, as_of.",
    },
    Example {
        status: 401,
        name: "NotSignedIn",
        about: "Nobody is signed in, or the token is not good.",
        code: "token-refused",
        title: "The access token is not good",
        detail: "The session is over. Sign in again.",
    },
    Example {
        status: 403,
        name: "NotPermitted",
        about: "Your roles do not allow it, or the password or PIN given to sign is not right.",
        code: "not-permitted",
        title: "Your roles do not allow that",
        detail: "You may not lift a stand-down: that is for safety officer.",
    },
    Example {
        status: 404,
        name: "NotFound",
        about: "There is no such thing, or it is in a programme in which you take no part.",
        code: "not-found",
        title: "There is no such thing",
        detail: "There is no point \"GR-99\" here. Check how it is written.",
    },
    Example {
        status: 409,
        name: "NotNow",
        about: "Held, or not possible as things stand. Every hold is named, with what clears it.",
        code: "held",
        title: "Held: stated conditions are not met",
        detail: "1 of the stated conditions is not met. Each hold says why, and what clears it.",
    },
    Example {
        status: 412,
        name: "Stale",
        about: "It has changed since you read it.",
        code: "stale",
        title: "It has changed since you read it",
        detail: "The plan of GR-02 has changed since you read it. Read it again, look at what changed, and send the change with the new ETag.",
    },
    Example {
        status: 413,
        name: "TooLarge",
        about: "The body is too large.",
        code: "body-too-large",
        title: "The body is too large",
        detail: "The body is larger than 262144 bytes, which is the most that is read here.",
    },
    Example {
        status: 415,
        name: "UnsupportedType",
        about: "A body of that type is not read here.",
        code: "unsupported-type",
        title: "A body of that type is not read here",
        detail: "The body's Content-Type has to be application/json.",
    },
    Example {
        status: 422,
        name: "Invalid",
        about: "What was given cannot be accepted. Every fault is named, with its field.",
        code: "invalid",
        title: "What was given cannot be accepted",
        detail: "Unknown field `colour`, expected one of `reason`.",
    },
    Example {
        status: 428,
        name: "VersionRequired",
        about: "Say in If-Match which version you are changing.",
        code: "if-match-required",
        title: "Say which version you are changing",
        detail: "Read the plan of GR-02 first and send its ETag in If-Match, so that nobody's change is lost.",
    },
    Example {
        status: 429,
        name: "TooManyAttempts",
        about: "Too many attempts; Retry-After says when to try again.",
        code: "too-many-attempts",
        title: "Too many attempts",
        detail: "There were too many attempts. Wait 6 s and try again.",
    },
    Example {
        status: 500,
        name: "Failed",
        about: "The program failed.",
        code: "fault",
        title: "The program failed",
        detail: "The program failed. Nothing was recorded. Tell whoever runs it the request id.",
    },
    Example {
        status: 503,
        name: "NotServing",
        about: "The server is busy, or has stopped writing; Retry-After says when to try again.",
        code: "busy",
        title: "The server is busy",
        detail: "Too many people sign in or sign at once. Try again in a moment.",
    },
    Example {
        status: 507,
        name: "DiskFull",
        about: "The disk of the server is full.",
        code: "disk-full",
        title: "The disk is full",
        detail: "The disk of the server is full: nothing was recorded. Free some space there and ask again.",
    },
];

/// The replies that say what went wrong, by name.
pub(super) fn problems() -> BTreeMap<String, RefOr<Response>> {
    EXAMPLES.iter().map(|example| (example.name.to_owned(), RefOr::T(problem(example)))).collect()
}

fn problem(example: &Example) -> Response {
    let shown = json!({
        "type": format!("/problems/{}", example.code),
        "title": example.title,
        "status": example.status,
        "detail": example.detail,
        "instance": "/api/v1/programmes/glider-tug/points/GR-02",
        "code": example.code,
        "request_id": "0197f2a4-6b1e-7c50-9d2f-3a8e5b1c7d90",
    });
    let mut response = ResponseBuilder::new().description(example.about).content(
        "application/problem+json",
        ContentBuilder::new().schema(Some(reference("Problem"))).example(Some(shown)).build(),
    );
    if matches!(example.status, 429 | 503) {
        let seconds = ObjectBuilder::new().schema_type(Type::Integer).minimum(Some(1));
        response = response.header(
            "Retry-After",
            HeaderBuilder::new()
                .schema(Some(seconds))
                .description(Some("Seconds to wait."))
                .build(),
        );
    }
    response.build()
}

/// The problems that an operation can answer with, by status.
pub(super) fn problems_of(
    method: &Method,
    who: Who,
    path: &str,
    has_body: bool,
    amends: bool,
) -> Vec<(String, &'static str)> {
    let writes = method != Method::GET;
    let in_programme = matches!(who, Who::To(_));
    let signs_in = path.starts_with("/api/v1/sessions");
    let comes = |status: u16| match status {
        400 | 500 | 503 => true,
        401 => who != Who::Anyone || (signs_in && writes),
        403 => in_programme || who == Who::Administrator || path.starts_with("/api/v1/account/"),
        404 => path.contains('{'),
        // A past that has not come yet cannot be read.
        409 => (writes && !signs_in) || in_programme,
        412 | 428 => amends,
        413 | 415 => has_body,
        422 => has_body || (writes && in_programme),
        429 => writes,
        507 => writes || path.ends_with("/ready"),
        _ => false,
    };
    EXAMPLES
        .iter()
        .filter(|example| comes(example.status))
        .map(|example| (example.status.to_string(), example.name))
        .collect()
}

/// Names the headers of successful replies.
pub(super) fn name_headers(method: &Method, responses: &mut Responses) {
    let text = || ObjectBuilder::new().schema_type(Type::String);
    for (status, response) in &mut responses.responses {
        let RefOr::T(response) = response else { continue };
        let mut name = |name: &str, about: &str| {
            let header = HeaderBuilder::new().schema(Some(text())).description(Some(about)).build();
            response.headers.insert(name.to_owned(), RefOr::T(header));
        };
        name("X-Request-Id", "The request's id, as in the server's log.");
        if status == "201" {
            name("Location", "Where the new thing is.");
        }
        if status.starts_with('2') && status != "204" && method != Method::POST {
            name("ETag", "Which version this is, where it can be amended or read again.");
        }
        if method == Method::POST && status.starts_with('2') {
            name(
                "Idempotency-Replayed",
                "`true` where this request was done before under its key.",
            );
        }
    }
}
