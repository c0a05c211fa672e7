//! Whether the program lives, and whether it can do its work.

use actix_web::http::StatusCode;
use chrono::{DateTime, Utc};
use serde::Serialize;
use store::{BackupNow, Health};

use crate::access::Anyone;
use crate::desk::{Answer, answer};
use crate::host_name::HostName;
use crate::houses::Houses;
use crate::office::Office;
use crate::problem::{DISK_FULL, NOT_WRITING, Problem};
use crate::settings::Settings;

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
    /// How the backup gets on that is kept up beside; absent where none is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub backup: Option<BackupStands>,
    /// Whether recordings can be kept and read, where they are in an object store; absent where they are in the server's folder.
    /// While they cannot, everything else goes on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub recordings_reachable: Option<bool>,
}

/// How the backup gets on that is kept up beside the ledger.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct BackupStands {
    /// How many records of all ledgers it holds.
    #[schema(example = 4120)]
    pub records: u64,
    /// When it was last found to hold everything; absent before the first time.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub whole_at: Option<DateTime<Utc>>,
    /// Since when it has failed; absent while all is well.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub failing_since: Option<DateTime<Utc>>,
}

impl From<BackupNow> for BackupStands {
    fn from(now: BackupNow) -> Self {
        Self { records: now.records, whole_at: now.whole_at, failing_since: now.failing_since }
    }
}

/// That the program lives.
pub(crate) fn lives(settings: &Settings) -> Answer {
    answer(StatusCode::OK, &Live { live: true, version: settings.version })
}

/// Whether every house can do its work; else what keeps the first of those that cannot, and which they are.
pub(crate) async fn all_ready(houses: &Houses) -> Answer {
    let mut ready = None;
    let mut troubles = Vec::new();
    for (host, office) in houses.all() {
        match state(office).await {
            Ok(now) => ready = Some(ReadyNow { backup: None, ..now }),
            Err(problem) => troubles.push((host.map(HostName::as_str), problem)),
        }
    }
    let hosts: Vec<&str> = troubles.iter().filter_map(|(host, _)| *host).collect();
    match troubles.first() {
        Some((Some(_), problem)) => Err(problem.clone().about(&hosts.join(", "))),
        Some((None, problem)) => Err(problem.clone()),
        None => answer(StatusCode::OK, &ready),
    }
}

async fn state(office: &Office) -> Result<ReadyNow, Problem> {
    let objects = office.store.objects();
    let recordings_reachable = match objects.bucket() {
        None => None,
        Some(_) => Some(objects.reach().await.is_ok()),
    };
    match office.store.health() {
        Health::Writing => Ok(ReadyNow {
            ready: true,
            version: office.settings.version,
            time: office.now(),
            backup: office.backup.as_ref().map(|watch| watch.now().into()),
            recordings_reachable,
        }),
        Health::DiskFull => Err(Problem::new(
            DISK_FULL,
            "The disk is full: reading goes on, and writing will once there is space.",
        )
        .retry_after(60)),
        Health::Unreachable(_) => Err(Problem::new(
            NOT_WRITING,
            "The database cannot be reached: connecting is tried again by itself. What is in memory can be read.",
        )
        .retry_after(5)),
        Health::Stopped(_) => Err(Problem::new(
            NOT_WRITING,
            "Writing has stopped until the program is started again; its log says why. Reading goes on.",
        )
        .retry_after(60)),
    }
}

/// Whether the program lives.
#[utoipa::path(get, path = "", responses((status = 200, description = "It lives.", body = Live)))]
pub(crate) async fn live(_: Anyone, office: Office) -> Answer {
    lives(&office.settings)
}

/// Whether the program can do its work: that the ledger is read and can be written.
#[utoipa::path(get, path = "", responses(
    (status = 200, description = "It reads and writes.", body = ReadyNow),
))]
pub(crate) async fn ready(_: Anyone, office: Office) -> Answer {
    answer(StatusCode::OK, &state(&office).await?)
}
