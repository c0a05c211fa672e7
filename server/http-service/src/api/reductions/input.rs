//! The exact input of a reduction's topic.

use actix_web::HttpRequest;
use programme::codes::ReductionNumber;
use programme::record::Digest;
use sha2::{Digest as _, Sha256};
use std::io::Read as _;
use store::ObjectError;

use super::view::known;
use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown};
use crate::given::{At, Number};
use crate::office::Office;
use crate::problem::{FILE_LOST, Problem};

/// The exact input of the topic that answered, byte for byte: send it to `POST /api/v1/compute/{topic}` to work it again.
#[utoipa::path(
    get, path = "",
    responses((status = 200, description = "The input.", body = serde_json::Value)),
)]
pub(crate) async fn input(
    person: Permitted<Read>,
    reduction: At<Number<ReductionNumber>>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let given = office
        .look(&person, None, |view| Ok(known(view.state, reduction.0.0)?.given.clone()))
        .await?;
    let mut file = office.store.objects().open_file(&given).await?;
    let text = office
        .aside_on(vec![file.trouble()], move || {
            let mut text = String::new();
            file.read_to_string(&mut text).map_err(|error| {
                Problem::new(FILE_LOST, "The input of the reduction cannot be read. Whoever runs the server runs `rungbook verify`.")
                    .because(error)
            })?;
            let computed = Digest::from_bytes(Sha256::digest(&text).into());
            if computed != given {
                return Err(ObjectError::Altered { digest: given, computed }.into());
            }
            Ok(text)
        })
        .await?;
    Ok(Shown::file("application/json", text).reply(request.headers()))
}
