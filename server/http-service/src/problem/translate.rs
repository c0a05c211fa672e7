//! From the errors of other rooms and of the HTTP library to problems.

use actix_web::error::PayloadError;
use actix_web::http::StatusCode;
use actix_web::http::header::{HeaderValue, WWW_AUTHENTICATE};
use evaluation::plan::NoPlan;
use flight_science::catalogue::{self, ComputeError};
use programme::refusal::Refusal;
use recordings::Unreadable;
use recordings::columns::CannotRead;
use store::{
    AccountError, ActError, AsOfError, BeginError, NotSignedIn, ObjectError, ReadError,
    RotateError, WriteError,
};

use super::*;

impl Problem {
    /// Nobody is signed in, or the token is not good: how to sign in stands in `WWW-Authenticate`.
    pub(crate) fn unauthenticated(kind: Kind, detail: &str) -> Self {
        let challenge = if kind == NOT_SIGNED_IN {
            HeaderValue::from_static("Bearer realm=\"rungbook\"")
        } else {
            HeaderValue::from_static("Bearer realm=\"rungbook\", error=\"invalid_token\"")
        };
        Self::new(kind, detail).with_header(WWW_AUTHENTICATE, challenge)
    }

    /// For a reply of the HTTP library that carries no problem of ours.
    pub(crate) fn of_status(status: StatusCode) -> Self {
        let kind = match status {
            StatusCode::NOT_FOUND => NO_SUCH_PAGE,
            StatusCode::METHOD_NOT_ALLOWED => METHOD_NOT_ALLOWED,
            StatusCode::NOT_ACCEPTABLE => NOT_ACCEPTABLE,
            StatusCode::REQUEST_TIMEOUT => REQUEST_TIMEOUT,
            StatusCode::PAYLOAD_TOO_LARGE => BODY_TOO_LARGE,
            StatusCode::UNSUPPORTED_MEDIA_TYPE => UNSUPPORTED_TYPE,
            StatusCode::SERVICE_UNAVAILABLE => BUSY,
            other if other.is_client_error() => BAD_REQUEST,
            _ => FAULT,
        };
        let detail = match kind {
            NO_SUCH_PAGE => {
                "There is nothing at this path. /api/v1/openapi.json describes all there is."
            }
            FAULT => {
                "The program failed. Nothing was recorded. Tell whoever runs it the request id."
            }
            _ => {
                "The request cannot be answered as it is. /api/v1/openapi.json describes what can be asked."
            }
        };
        Self::new(kind, detail)
    }

    /// What is to be signed has no JSON form; no command lets such a thing in.
    pub(crate) fn unsignable(error: programme::commands::digests::NoDigest) -> Self {
        Self::new(FAULT, "What is to be signed cannot be written. Tell whoever runs the server.")
            .because(error)
    }

    /// The body could not be read.
    pub(crate) fn of_payload(error: &PayloadError, largest: usize) -> Self {
        match error {
            PayloadError::Overflow => Self::new(
                BODY_TOO_LARGE,
                format!(
                    "The body is larger than {largest} bytes, which is the most that is read here."
                ),
            ),
            _ => Self::new(BAD_REQUEST, "The body did not arrive whole. Send the request again."),
        }
    }
}

impl From<Refusal> for Problem {
    fn from(refusal: Refusal) -> Self {
        let sentence = format!("{}.", capitalised(&refusal.to_string()));
        match refusal {
            Refusal::NotPermitted { act, .. } => {
                Problem::new(NOT_PERMITTED, sentence).allowed_to(act.allowed())
            }
            Refusal::Unknown { what, code } => Problem::unknown(what, code),
            Refusal::Invalid { faults } => {
                let told: Vec<&str> = faults.iter().map(|fault| fault.why.as_str()).collect();
                let detail = match told.as_slice() {
                    [one] => (*one).to_owned(),
                    _ => format!("{} things cannot be accepted; each fault says where and why.", told.len()),
                };
                Problem::new(INVALID, detail)
                    .with_faults(faults.into_iter().map(FaultView::from).collect())
            }
            Refusal::Held { holds } => {
                let detail = format!(
                    "{} of the stated conditions {} not met. Each hold says why, and what clears it.",
                    holds.len(),
                    if holds.len() == 1 { "is" } else { "are" },
                );
                Problem::new(HELD, detail).with_holds(holds)
            }
            Refusal::NotNow { code, why, clears } => {
                Problem::new(Kind::not_now(code), why).clears(clears)
            }
            Refusal::Stale { .. } => Problem::new(STALE, sentence).clears(
                "Read it again, look at what changed, and send the change with the ETag of what you read.",
            ),
        }
    }
}

/// A text as a sentence begins.
pub(crate) fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

impl From<WriteError> for Problem {
    fn from(error: WriteError) -> Self {
        match &error {
            WriteError::DiskFull(_) => Problem::new(
                DISK_FULL,
                "The disk of the server is full: nothing was recorded. Free some space there and ask again.",
            )
            .retry_after(60)
            .because(error),
            WriteError::Stopped(_) => Problem::new(
                NOT_WRITING,
                "The server has stopped writing: nothing was recorded. Whoever runs it looks into its log and starts it again.",
            )
            .retry_after(60)
            .because(error),
            WriteError::Database(_) => Problem::new(
                NOT_WRITING,
                "The database did not take it: nothing was recorded. Ask again; if it stays so, tell whoever runs the server.",
            )
            .retry_after(5)
            .because(error),
            WriteError::Unreachable(_) => Problem::new(
                NOT_WRITING,
                "The server does not reach its database: nothing was recorded. It tries again by itself; ask again in a moment.",
            )
            .retry_after(5)
            .because(error),
            WriteError::Uncertain(_) => Problem::new(
                NOT_WRITING,
                "The server lost its database while this was recorded, and cannot tell yet whether it was. Look before you ask again, or ask again with the same Idempotency-Key: then it is done once.",
            )
            .retry_after(10)
            .because(error),
        }
    }
}

impl From<ObjectError> for Problem {
    fn from(error: ObjectError) -> Self {
        match &error {
            ObjectError::DiskFull => Problem::new(
                DISK_FULL,
                "The disk of the server is full: nothing was kept. Free some space there and ask again.",
            )
            .retry_after(60),
            ObjectError::Missing { digest } => Problem::new(
                FILE_LOST,
                format!("The server no longer has file {digest}, which the ledger speaks of. Whoever runs the server runs `rungbook verify` and restores a backup."),
            )
            .because(error),
            ObjectError::Altered { digest, .. } => Problem::new(
                FILE_LOST,
                format!("File {digest} was altered on the server. Whoever runs the server runs `rungbook verify` and restores a backup."),
            )
            .because(error),
            ObjectError::Away { .. } => Problem::new(
                RECORDINGS_AWAY,
                "The server does not reach the object store in which recordings are: nothing was kept, and nothing is lost. Everything else goes on. Ask again later; if it stays so, tell whoever runs the server.",
            )
            .retry_after(15)
            .because(error),
            ObjectError::Disk(_)
            | ObjectError::NotSet(_)
            | ObjectError::Elsewhere { .. }
            | ObjectError::InTheFolder { .. } => Problem::new(
                FAULT,
                "The folder of the recordings cannot be used. Ask again; if it stays so, tell whoever runs the server.",
            )
            .because(error),
        }
    }
}

impl From<Unreadable> for Problem {
    fn from(error: Unreadable) -> Self {
        let sentence = format!("{}.", capitalised(&error.to_string()));
        match error {
            Unreadable::NotKept(_) => Problem::new(
                FAULT,
                "The columns of the file could not be written, so nothing was kept. Ask again; if it stays so, tell whoever runs the server.",
            )
            .because(error),
            Unreadable::Cut(_) => Problem::new(
                FAULT,
                "The file could not be read again after it had come, so nothing was kept. Send it again.",
            )
            .because(error),
            Unreadable::NotTheFormat { .. }
            | Unreadable::NoSuchColumns { .. }
            | Unreadable::NoRows
            | Unreadable::TooMuch { .. }
            | Unreadable::PlannedTwice { .. } => Problem::new(RECORDING_UNREADABLE, sentence).clears(
                "Nothing was kept. Look whether it is the right file, and whether the recorder is described as its files are now.",
            ),
        }
    }
}

impl Problem {
    /// No file of the recorder can be read as things stand.
    pub(crate) fn no_plan(faults: Vec<NoPlan>) -> Self {
        let faults: Vec<FaultView> = faults
            .into_iter()
            .map(|fault| FaultView {
                field: match &fault {
                    NoPlan::NeedsStart => "began".to_owned(),
                    NoPlan::Unit { .. } | NoPlan::NoChannel { .. } | NoPlan::TooMany { .. } => {
                        "recorder".to_owned()
                    }
                },
                why: format!("{}.", capitalised(&fault.to_string())),
                code: None,
            })
            .collect();
        let detail = match faults.as_slice() {
            [one] => one.why.clone(),
            _ => "The file cannot be read by the mapping of its recorder; each fault says why."
                .to_owned(),
        };
        Problem::new(INVALID, detail).with_faults(faults)
    }
}

impl From<CannotRead> for Problem {
    fn from(error: CannotRead) -> Self {
        let sentence = format!("{}.", capitalised(&error.to_string()));
        match error {
            CannotRead::NoSuchChannels { .. } => Problem::of_field(BAD_QUERY, "channel", sentence),
            CannotRead::Damaged(_)
            | CannotRead::NotARecording { .. }
            | CannotRead::NotWritten(_)
            | CannotRead::NotKept(_) => Problem::new(
                FILE_LOST,
                "The columns of the recording cannot be read. Whoever runs the server runs `rungbook verify` and restores a backup.",
            )
            .because(error),
        }
    }
}

impl From<ReadError> for Problem {
    fn from(error: ReadError) -> Self {
        if error.is_of_reach() {
            return Problem::new(BUSY, "The server does not reach its database. It tries again by itself; ask again in a moment.")
                .retry_after(5)
                .because(error);
        }
        Problem::new(FAULT, "The database could not be read. Ask again; if it stays so, tell whoever runs the server.")
            .because(error)
    }
}

impl From<ActError> for Problem {
    fn from(error: ActError) -> Self {
        match error {
            ActError::UnknownProgramme(id) => Problem::unknown("programme", id),
            ActError::ProgrammeExists(id) => Problem::new(
                PROGRAMME_EXISTS,
                format!("There is a programme \"{id}\" already. Choose another id."),
            ),
            ActError::Refused(refusal) => refusal.into(),
            ActError::KeyReused(_) => Problem::key_reused(),
            ActError::Unkeepable { kind, .. } => Problem::new(
                INVALID,
                format!("A record of kind \"{kind}\" cannot be kept with these figures. Give finite numbers."),
            )
            .because(error),
            ActError::CopyNotAcknowledged { .. } => Problem::new(
                COPY_NOT_ACKNOWLEDGED,
                format!(
                    "Nothing was signed: {error}, so what was signed since may be missing. Find out what is missing; then both acknowledge the copy."
                ),
            ),
            ActError::Panicked => Problem::new(
                FAULT,
                "The program failed while deciding: nothing was recorded. Tell whoever runs it the request id.",
            )
            .because(error),
            ActError::NotWritten(error) => error.into(),
        }
    }
}

impl Problem {
    pub(crate) fn key_reused() -> Self {
        Problem::new(
            KEY_REUSED,
            "This Idempotency-Key was sent before, with another request. Use a new key for a new request; only a \
             repeat of the same request has the same key.",
        )
    }
}

impl From<AsOfError> for Problem {
    fn from(error: AsOfError) -> Self {
        match error {
            AsOfError::UnknownProgramme(id) => Problem::unknown("programme", id),
            AsOfError::NotYet { asked, length } => Problem::of_field(
                NOT_YET,
                "as_of",
                format!("The ledger has {length} records, so nothing stood as of record {asked} yet."),
            ),
            AsOfError::Damaged(_) => Problem::new(
                FAULT,
                "The ledger fails its check, so the past cannot be told. Whoever runs the server runs `rungbook verify`.",
            )
            .because(error),
            AsOfError::Unreadable(error) => error.into(),
        }
    }
}

impl From<AccountError> for Problem {
    fn from(error: AccountError) -> Self {
        let sentence = format!("{}.", capitalised(&error.to_string()));
        match error {
            AccountError::Unknown(handle) => Problem::unknown("account", handle),
            AccountError::Exists(_) => Problem::new(ACCOUNT_EXISTS, sentence),
            AccountError::LastAdministrator(_) => Problem::new(LAST_ADMINISTRATOR, sentence),
            AccountError::NotWritten(error) => error.into(),
        }
    }
}

impl From<BeginError> for Problem {
    fn from(error: BeginError) -> Self {
        match error {
            BeginError::NoAccount(_) => Problem::sign_in_refused(),
            BeginError::NotWritten(error) => error.into(),
        }
    }
}

impl Problem {
    pub(crate) fn sign_in_refused() -> Self {
        Problem::new(
            SIGN_IN_REFUSED,
            "Handle and password do not go together, or the account is disabled. Try again; an administrator can reset a password.",
        )
        .with_header(WWW_AUTHENTICATE, HeaderValue::from_static("Bearer realm=\"rungbook\""))
    }

    pub(crate) fn refresh_refused() -> Self {
        Problem::unauthenticated(REFRESH_REFUSED, "The session is over. Sign in again.")
    }
}

impl From<RotateError> for Problem {
    fn from(error: RotateError) -> Self {
        match error {
            RotateError::Ended => Problem::refresh_refused(),
            RotateError::Reused { handle, session } => {
                tracing::warn!(
                    person = %handle,
                    %session,
                    "a refresh token of {handle} was used twice: somebody may have a copy, so the session was ended"
                );
                Problem::unauthenticated(
                    REFRESH_REFUSED,
                    "This refresh token was used before, so somebody may have a copy of it and its session was ended. Sign in again.",
                )
            }
            RotateError::NotWritten(error) => error.into(),
        }
    }
}

impl From<NotSignedIn> for Problem {
    fn from(_: NotSignedIn) -> Self {
        crate::token::refused()
    }
}

impl From<ComputeError> for Problem {
    fn from(error: ComputeError) -> Self {
        match error {
            ComputeError::UnknownTopic { name } => {
                let topics: Vec<&str> =
                    catalogue::catalogue().iter().map(|topic| topic.name).collect();
                Problem::new(
                    UNKNOWN_TOPIC,
                    format!("There is no topic \"{name}\"; the topics are {}.", topics.join(", ")),
                )
            }
            ComputeError::Refused(refused) => {
                let faults = refused.faults.into_iter().map(|fault| FaultView {
                    field: fault.field,
                    why: fault.why,
                    code: Some(fault.code.code()),
                });
                Problem::new(
                    INPUT_REFUSED,
                    "Each fault names its field and what would be accepted.",
                )
                .with_faults(faults.collect())
            }
        }
    }
}
