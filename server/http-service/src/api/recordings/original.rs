//! A recorder's file as it came.

use std::fs::File;
use std::io::Read as _;

use actix_web::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE, ETAG};
use actix_web::web::Bytes;
use actix_web::{HttpRequest, HttpResponse};
use futures_util::stream;

use super::view::known;
use crate::access::{Permitted, Read};
use crate::desk::Answer;
use crate::entity_tag;
use crate::given::{At, Sha256};
use crate::office::Office;
use crate::problem::Problem;

/// Bytes that are read at a time.
const PART: usize = 256 * 1024;

/// The file of a recording, byte for byte as it came. Its SHA-256 is the recording's name.
#[utoipa::path(
    get, path = "",
    responses((
        status = 200,
        description = "The file.",
        body = String,
        content_type = "application/octet-stream",
    )),
)]
pub(crate) async fn original(
    person: Permitted<Read>,
    recording: At<Sha256>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let digest = &recording.0.0;
    let name =
        office.look(&person, None, |view| Ok(known(view.state, digest)?.1.name.clone())).await?;
    let tag = entity_tag::of_digest(digest);
    if entity_tag::is_known(request.headers(), &tag) {
        return Ok(HttpResponse::NotModified()
            .insert_header((ETAG, entity_tag::to_header(&tag)))
            .finish());
    }
    let file = office.store.objects().open_file(digest).await?;
    Ok(HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, "application/octet-stream"))
        .insert_header((CONTENT_DISPOSITION, attachment(&name)))
        .insert_header((ETAG, entity_tag::to_header(&tag)))
        .body(streamed(file).map_err(Problem::from)?))
}

/// A file as the body of a reply, which is read as it is sent.
pub(crate) fn streamed(
    file: File,
) -> Result<
    actix_web::body::SizedStream<impl stream::Stream<Item = std::io::Result<Bytes>>>,
    store::ObjectError,
> {
    let length = file.metadata()?.len();
    let parts = stream::try_unfold(file, |mut file| async move {
        tokio::task::spawn_blocking(move || {
            let mut part = vec![0; PART];
            let read = file.read(&mut part)?;
            part.truncate(read);
            Ok((read > 0).then(|| (Bytes::from(part), file)))
        })
        .await
        .map_err(std::io::Error::other)?
    });
    Ok(actix_web::body::SizedStream::new(length, Box::pin(parts)))
}

/// Says that a file is to be kept, under a name of plain signs.
pub(crate) fn attachment(name: &str) -> String {
    let plain: String = name
        .chars()
        .map(|sign| if sign.is_ascii_alphanumeric() || "._- ".contains(sign) { sign } else { '_' })
        .take(120)
        .collect();
    format!("attachment; filename=\"{plain}\"")
}

#[cfg(test)]
mod tests {
    use super::attachment;

    #[test]
    fn a_name_in_a_header_has_only_plain_signs() {
        assert_eq!(attachment("bms 2026-05-02.csv"), "attachment; filename=\"bms 2026-05-02.csv\"");
        assert_eq!(attachment("a\"b\\c\r\nd/é"), "attachment; filename=\"a_b_c__d__\"");
        assert_eq!(attachment(&"x".repeat(500)).len(), "attachment; filename=\"\"".len() + 120);
    }
}
