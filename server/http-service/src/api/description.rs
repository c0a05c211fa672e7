//! The description of the API, from the program itself.

use std::sync::LazyLock;

use actix_web::HttpRequest;
use actix_web::web::Bytes;

use crate::access::Anyone;
use crate::desk::{Answer, Shown};
use crate::entity_tag;

static TEXT: LazyLock<(Bytes, String)> = LazyLock::new(|| {
    let text = Bytes::from(crate::description::openapi());
    let tag = entity_tag::of_bytes(&text);
    (text, tag)
});

/// The OpenAPI 3.1 description of this API.
#[utoipa::path(get, path = "", responses((status = 200, description = "The description.", body = serde_json::Value)))]
pub(crate) async fn read(_: Anyone, request: HttpRequest) -> Answer {
    let (text, tag) = &*TEXT;
    Ok(Shown::made_before(text.clone(), tag.clone()).reply(request.headers()))
}
