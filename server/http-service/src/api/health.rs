//! Whether the program lives, and whether it can do its work.

use actix_web::http::StatusCode;
use chrono::{DateTime, Utc};
use serde::Serialize;
use store::Health;

use crate::access::Anyone;
use crate::desk::{Answer, answer};
use crate::office::Office;
use crate::problem::{DISK_FULL, NOT_WRITING, Problem};

/// The program lives.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct Live {
    /// Always true.
    pub live: bool,
    /// The program's version.
    #[schema(example = "0.1.0")]
    pub version: &'static str,
}

/// The program can do its work.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct ReadyNow {
    /// Always true.
    pub ready: bool,
    /// The program's version.
    #[schema(example = "0.1.0")]
    pub version: &'static str,
    /// What time it is for the server, by which holds and expiries are judged.
    pub time: DateTime<Utc>,
}

/// Whether the program lives.
#[utoipa::path(get, path = "", responses((status = 200, description = "It lives.", body = Live)))]
pub(crate) async fn live(_: Anyone, office: Office) -> Answer {
    answer(StatusCode::OK, &Live { live: true, version: office.settings.version })
}

/// Whether the program can do its work: that the ledger is read and can be written.
#[utoipa::path(get, path = "", responses(
    (status = 200, description = "It reads and writes.", body = ReadyNow),
))]
pub(crate) async fn ready(_: Anyone, office: Office) -> Answer {
    match office.store.health() {
        Health::Writing => answer(
            StatusCode::OK,
            &ReadyNow { ready: true, version: office.settings.version, time: office.now() },
        ),
        Health::DiskFull => Err(Problem::new(
            DISK_FULL,
            "The disk is full: reading goes on, and writing will once there is space.",
        )
        .retry_after(60)),
        Health::Stopped(_) => Err(Problem::new(
            NOT_WRITING,
            "Writing has stopped until the program is started again; its log says why. Reading goes on.",
        )
        .retry_after(60)),
    }
}
