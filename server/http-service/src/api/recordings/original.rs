//! A recorder's file as it came.

use std::io::{self, Read as _};

use actix_web::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE, ETAG};
use actix_web::web::Bytes;
use actix_web::{HttpRequest, HttpResponse};
use futures_util::stream;
use programme::record::Digest;
use sha2::Digest as _;
use store::Opened;

use super::view::known;
use crate::access::{Permitted, Read};
use crate::desk::Answer;
use crate::entity_tag;
use crate::given::{At, Sha256};
use crate::office::Office;

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
        .body(streamed(file, digest)))
}

/// A file as the body of a reply, which is read as it is sent.
pub(crate) fn streamed(
    file: Opened,
    digest: &Digest,
) -> actix_web::body::SizedStream<impl stream::Stream<Item = io::Result<Bytes>> + use<>> {
    let length = file.size();
    let sending = Sending { file, hash: sha2::Sha256::new(), left: length, digest: digest.clone() };
    let parts = stream::try_unfold(sending, |mut sending| async move {
        tokio::task::spawn_blocking(move || {
            let part = sending.part()?;
            Ok((!part.is_empty()).then_some((part, sending)))
        })
        .await
        .map_err(io::Error::other)?
    });
    actix_web::body::SizedStream::new(length, Box::pin(parts))
}

/// A file that is being sent. What has another digest than its name says does not arrive whole.
struct Sending {
    file: Opened,
    hash: sha2::Sha256,
    left: u64,
    digest: Digest,
}

impl Sending {
    fn part(&mut self) -> io::Result<Bytes> {
        let mut part = vec![0; PART];
        let read = self.file.read(&mut part)?;
        part.truncate(read);
        self.hash.update(&part);
        self.left = self.left.saturating_sub(read as u64);
        if self.left == 0 && Digest::from_bytes(self.hash.clone().finalize().into()) != self.digest
        {
            tracing::error!(
                digest = %self.digest,
                "file {} was altered, so that it was not sent to its end; run: rungbook verify",
                self.digest
            );
            return Err(io::ErrorKind::InvalidData.into());
        }
        Ok(part.into())
    }
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
