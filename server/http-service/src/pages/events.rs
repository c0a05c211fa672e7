//! What pages that are open hear while it happens: the same stream as the API's, for the session that the cookie names.
//!
//! A browser asks with the media type of event streams alone, so that what it is told where nobody is signed in is a status
//! and no page.

use actix_web::http::Method;
use actix_web::{HttpRequest, HttpResponse};

use super::door::{Member, pass};
use crate::access::Read;
use crate::desk::Answer;
use crate::live::{EVENTS, USUALLY_LASTS};
use crate::office::Office;

/// The stream.
pub(crate) async fn listen(member: Member<Read>, request: HttpRequest, office: Office) -> Answer {
    if request.method() == Method::HEAD {
        return Ok(HttpResponse::Ok().content_type(EVENTS).finish());
    }
    let pass = pass(&request, &office)?;
    office.listen(member.permitted.programme, pass, USUALLY_LASTS)
}
