//! Taking in a recorder's file, as it comes.

use std::io::Write as _;
use std::time::Duration;

use actix_web::HttpRequest;
use actix_web::http::header::{CONTENT_ENCODING, CONTENT_LENGTH};
use actix_web::web::{Bytes, Payload};
use chrono::{DateTime, Utc};
use futures_util::{Stream, StreamExt as _};
use programme::codes::RecorderCode;
use programme::record::Digest;
use serde::Deserialize;
use store::{Incoming, ObjectError, Objects};
use tokio::time::timeout;

use super::view::{RecordingView, shown};
use crate::access::{Permitted, TakeRecordings};
use crate::desk::{Answer, Outcome, Written};
use crate::given::{Given, Query, check_type};
use crate::idempotency::Asked;
use crate::intake::{self, FileOf};
use crate::metrics::Counted;
use crate::office::Office;
use crate::problem::{BAD_REQUEST, BODY_TOO_LARGE, Problem, REQUEST_TIMEOUT};

/// The largest file that is taken in, in bytes.
pub(crate) const LARGEST: usize = 4 * 1024 * 1024 * 1024;

/// Bytes that are gathered before they are written.
const GATHERED: usize = 1024 * 1024;

/// What recorders' files are sent as.
const KNOWN: &[&str] = &[
    "application/octet-stream",
    "text/csv",
    "text/plain",
    "application/gpx+xml",
    "application/xml",
    "text/xml",
];

/// Which recorder wrote the file.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Upload {
    /// The recorder, by whose mapping the file is read.
    #[param(value_type = String, example = "bms")]
    pub recorder: RecorderCode,
    /// What the file is called.
    #[param(example = "bms_2026-05-02_0904.csv", min_length = 1)]
    pub name: String,
    /// The moment at which the file begins (RFC 3339); only for a recorder whose files do not say that.
    #[param(example = "2026-05-02T09:04:40Z")]
    pub began: Option<DateTime<Utc>>,
}

/// Take in a recorder's file: its bytes as the body, as the recorder wrote them, not packed.
///
/// The file is kept byte for byte under its SHA-256, which becomes the recording's name. Its columns are read by the
/// recorder's mapping; every cell that is refused is counted and told, and nothing is filled in. Where nothing can be made of
/// the file, or it does not come whole, nothing is kept. The same file is not taken in twice.
#[utoipa::path(
    post, path = "",
    params(Upload),
    request_body(
        content = String,
        content_type = "application/octet-stream",
        example = json!("Zeit;U_pack\n;V\n2026-05-02T09:04:40,000Z;371,2\n"),
    ),
    responses((status = 201, description = "Taken in.", body = Written<RecordingView>)),
)]
pub(crate) async fn take(
    person: Permitted<TakeRecordings>,
    upload: Query<Upload>,
    body: Payload,
    request: HttpRequest,
    office: Office,
) -> Answer {
    check_type(request.headers(), &request, KNOWN)?;
    if request.headers().get(CONTENT_ENCODING).is_some_and(|it| it != "identity") {
        return Err(intake::packed());
    }
    let told = request.headers().get(CONTENT_LENGTH).and_then(|it| it.to_str().ok()?.parse().ok());
    if told.is_some_and(|told: usize| told > LARGEST) {
        return Err(too_large());
    }
    let file = FileOf {
        recorder: upload.recorder.clone(),
        name: intake::name(&upload.name)?,
        began: upload.began,
    };
    taken(&office, &person, file, body, |digest| Asked::of_part(&request, digest.bytes())).await
}

/// Takes in a file as it comes.
pub(crate) async fn taken<E: std::error::Error + Send + Sync + 'static>(
    office: &Office,
    person: &Permitted<TakeRecordings>,
    file: FileOf,
    body: impl Stream<Item = Result<Bytes, E>> + Unpin,
    asked: impl FnOnce(&Digest) -> Result<Asked, Problem>,
) -> Answer {
    office.would_take(&person.programme, &file)?;
    let _until_done = Counted::one_more(&office.metrics.uploads);
    // Nobody sends a large file for nothing.
    office.store.objects().reach().await?;
    let original =
        receive(office.store.objects(), body, office.settings.sender_silent_at_most).await?;
    let digest = original.digest();
    let asked = asked(&digest)?;
    let stamp = person.stamp(office.now());
    if let Some(reply) = office.replayed(person, &asked).await? {
        return Ok(reply);
    }
    let command = office.take_in(&person.programme, &stamp, file, original).await?;
    let place = format!("/api/v1/programmes/{}/recordings/{digest}", person.programme);
    office
        .act(person, Given { body: command, asked }, move |view, _| {
            Ok(Outcome::created(place, shown(view.state, &digest)?))
        })
        .await
}

fn too_large() -> Problem {
    Problem::new(
        BODY_TOO_LARGE,
        format!(
            "The file is larger than {LARGEST} bytes, which is the most that is taken in. Part it at a moment between two runs."
        ),
    )
}

/// Writes the bytes down as they come. No thread waits for a slow sender.
async fn receive<E: std::error::Error + Send + Sync + 'static>(
    objects: &Objects,
    mut body: impl Stream<Item = Result<Bytes, E>> + Unpin,
    silent_at_most: Duration,
) -> Result<Incoming, Problem> {
    let opened = objects.clone();
    let mut original = tokio::task::spawn_blocking(move || opened.begin())
        .await
        .map_err(intake::thread_lost)??;
    let mut gathered: Vec<Bytes> = Vec::new();
    let (mut size, mut received) = (0, 0_usize);
    let mut first = Vec::with_capacity(2 * intake::LONGEST_MARK);
    loop {
        let part = timeout(silent_at_most, body.next()).await.map_err(|_| {
            Problem::new(
                REQUEST_TIMEOUT,
                "The file stopped coming: nothing was kept. Send it again.",
            )
        })?;
        let over = part.is_none();
        if let Some(part) = part {
            let part = part.map_err(|error| {
                Problem::new(
                    BAD_REQUEST,
                    "The file did not arrive whole: nothing was kept. Send it again.",
                )
                .because(error)
            })?;
            if first.len() < intake::LONGEST_MARK {
                first.extend(part.iter().take(intake::LONGEST_MARK));
                intake::refuse_packed(&first)?;
            }
            received = received.saturating_add(part.len());
            if received > LARGEST {
                return Err(too_large());
            }
            size += part.len();
            gathered.push(part);
        }
        if over || size >= GATHERED {
            let parts = std::mem::take(&mut gathered);
            size = 0;
            original = tokio::task::spawn_blocking(move || {
                parts.iter().try_for_each(|part| original.write_all(part))?;
                Ok::<_, ObjectError>(original)
            })
            .await
            .map_err(intake::thread_lost)??;
        }
        if over {
            return Ok(original);
        }
    }
}
