//! Every kind of problem with its status, stable code and title.

/// A kind of problem.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Kind {
    /// The HTTP status.
    pub status: u16,
    /// A stable code.
    pub code: &'static str,
    /// What kind it is, in words that are the same each time.
    pub title: &'static str,
}

impl Kind {
    /// The programme is not in the state that a command needs; the command's own code tells more.
    pub(crate) const fn not_now(code: &'static str) -> Self {
        Self { status: 409, code, title: "That is not possible now" }
    }
}

macro_rules! kinds {
    ($($name:ident $status:literal $code:literal $title:literal;)+) => {
        $(#[doc = $title]
        pub const $name: Kind = Kind { status: $status, code: $code, title: $title };)+

        /// Every kind of problem, besides those of commands that come too early or too late.
        pub const ALL: &[Kind] = &[$($name),+];
    };
}

kinds! {
    BAD_REQUEST 400 "bad-request" "The request cannot be understood";
    NOT_JSON 400 "not-json" "The body is not JSON";
    TOO_DEEP 400 "too-deep" "The body is nested too deeply";
    BAD_QUERY 400 "bad-query" "The query string cannot be understood";
    BAD_HEADER 400 "bad-header" "A header cannot be understood";
    NOT_SIGNED_IN 401 "not-signed-in" "Nobody is signed in";
    TOKEN_REFUSED 401 "token-refused" "The access token is not good";
    SIGN_IN_REFUSED 401 "sign-in-refused" "Handle and password do not go together";
    REFRESH_REFUSED 401 "refresh-refused" "The refresh token is not good";
    NOT_PERMITTED 403 "not-permitted" "Your roles do not allow that";
    NOT_ADMINISTRATOR 403 "not-administrator" "That is for administrators";
    SECRET_WRONG 403 "secret-wrong" "Password or PIN is not right";
    NOT_FOUND 404 "not-found" "There is no such thing";
    NO_SUCH_PAGE 404 "no-such-path" "There is nothing at this path";
    UNKNOWN_TOPIC 404 "unknown-topic" "There is no such topic";
    METHOD_NOT_ALLOWED 405 "method-not-allowed" "That method does nothing here";
    NOT_ACCEPTABLE 406 "not-acceptable" "None of the accepted types can be sent";
    REQUEST_TIMEOUT 408 "request-timeout" "The request took too long to arrive";
    HELD 409 "held" "Held: stated conditions are not met";
    PROGRAMME_EXISTS 409 "programme-exists" "There is such a programme already";
    ACCOUNT_EXISTS 409 "account-exists" "There is such an account already";
    LAST_ADMINISTRATOR 409 "last-administrator" "Nobody would be left to manage accounts";
    COPY_NOT_ACKNOWLEDGED 409 "copy-not-acknowledged" "The ledger goes on from a copy";
    NOT_YET 409 "not-yet" "The ledger is not that long yet";
    NOT_MADE 409 "not-made" "There is no file of it";
    STALE 412 "stale" "It has changed since you read it";
    BODY_TOO_LARGE 413 "body-too-large" "The body is too large";
    UNSUPPORTED_TYPE 415 "unsupported-type" "A body of that type is not read here";
    COMPRESSED 415 "compressed" "Files are sent unpacked";
    MISDIRECTED 421 "misdirected" "Nothing is served under that name";
    INVALID 422 "invalid" "What was given cannot be accepted";
    INPUT_REFUSED 422 "input-refused" "The input cannot be computed with";
    RECORDING_UNREADABLE 422 "recording-unreadable" "Nothing can be made of the file";
    KEY_REUSED 422 "idempotency-key-reused" "The idempotency key was used for another request";
    IF_MATCH_REQUIRED 428 "if-match-required" "Say which version you are changing";
    TOO_MANY_ATTEMPTS 429 "too-many-attempts" "Too many attempts";
    TOO_MANY_ORDERS 429 "too-many-orders" "Too much waits to be made";
    FAULT 500 "fault" "The program failed";
    FILE_LOST 500 "file-lost" "A file of the ledger cannot be read";
    NOT_WRITING 503 "not-writing" "Nothing can be written now";
    BUSY 503 "busy" "The server is busy";
    RECORDINGS_AWAY 503 "recordings-away" "Recordings cannot be reached now";
    DISK_FULL 507 "disk-full" "The disk is full";
}

/// A form of a page that did not come from that page. It is no problem of the API, which takes no forms.
pub(crate) const FOREIGN_FORM: Kind =
    Kind { status: 403, code: "foreign-form", title: "The form came from somewhere else" };
