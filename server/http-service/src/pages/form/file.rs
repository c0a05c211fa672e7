//! A form with a file behind its fields, read as it comes.

use std::future::Future;
use std::pin::Pin;
use std::time::Duration;

use actix_multipart::{Field, Multipart};
use actix_web::dev::Payload;
use actix_web::web::Bytes;
use actix_web::{FromRequest, HttpRequest};
use futures_util::stream::LocalBoxStream;
use futures_util::{Stream, StreamExt as _};
use programme::record::Digest;
use tokio::time::timeout;

use super::given::{Form, idempotency};
use super::trouble::Trouble;
use crate::given::check_type;
use crate::idempotency::Asked;
use crate::office::office_of;
use crate::pages::door;
use crate::problem::{
    BAD_REQUEST, BODY_TOO_LARGE, FOREIGN_FORM, INVALID, Problem, REQUEST_TIMEOUT,
};

/// The media type of forms with files.
const WITH_FILE: &str = "multipart/form-data";
/// Bytes of all fields before the file at most.
const MOST_OF_FIELDS: usize = 64 * 1024;
/// Fields before the file at most.
const MOST_FIELDS: usize = 100;
/// Of a file that is refused, so many bytes are read and thrown away: most browsers show no answer before all has gone.
const THROWN_AWAY: usize = 64 * 1024 * 1024;

/// What is left of the file, or why it does not come.
type Bits = LocalBoxStream<'static, Result<Bytes, std::io::Error>>;

/// A form of a page that the person themself has opened, and the file that stands behind its fields.
pub(crate) struct FormWithFile {
    pub form: Form,
    /// What the file is called where it comes from.
    pub name: String,
    path: String,
    bits: Bits,
    silent_at_most: Duration,
}

impl FormWithFile {
    /// The file as it comes.
    pub fn bits(&mut self) -> impl Stream<Item = Result<Bytes, std::io::Error>> + Unpin + '_ {
        &mut self.bits
    }

    /// By what the same file with the same fields is known where it is sent twice.
    pub fn asked(form: &Form, path: &str, file: &Digest) -> Asked {
        Asked { idempotency: idempotency(path, form, Some(file)) }
    }

    /// Where it was sent.
    pub fn path(&self) -> &str {
        &self.path
    }

    /// What is shown again where it was refused, once the rest of the file has come.
    pub async fn trouble(mut self, problem: Problem) -> Trouble {
        let mut thrown_away = 0;
        while let Ok(Some(Ok(part))) = timeout(self.silent_at_most, self.bits.next()).await {
            thrown_away += part.len();
            if thrown_away > THROWN_AWAY {
                break;
            }
        }
        self.form.trouble(problem)
    }
}

fn not_whole() -> Problem {
    Problem::new(BAD_REQUEST, "The form did not arrive whole. Send it again.")
}

async fn read(
    request: &HttpRequest,
    payload: Payload,
    silent_at_most: Duration,
) -> Result<FormWithFile, Problem> {
    let mut parts = Multipart::new(request.headers(), payload);
    let mut form = Form { fields: Vec::new(), asked: Asked::once() };
    let mut size = 0;
    loop {
        let part = timeout(silent_at_most, parts.next()).await.map_err(|_| silent())?;
        let Some(part) = part else {
            return Err(Problem::of_field(INVALID, "file", "Choose a file."));
        };
        let mut part = part.map_err(|_| not_whole())?;
        let name = part.name().unwrap_or_default().to_owned();
        if name == "file" {
            let file = part.content_disposition().and_then(|it| it.get_filename());
            let file = file.unwrap_or_default().to_owned();
            return Ok(FormWithFile {
                form,
                name: file,
                path: request.path().to_owned(),
                bits: bits(parts, part),
                silent_at_most,
            });
        }
        let text = field(&mut part, &mut size, silent_at_most).await?;
        form.fields.push((name, text));
        if form.fields.len() > MOST_FIELDS {
            return Err(too_long());
        }
    }
}

fn too_long() -> Problem {
    Problem::new(BODY_TOO_LARGE, "The form has more fields, or longer ones, than any form here.")
}

fn silent() -> Problem {
    Problem::new(REQUEST_TIMEOUT, "The form stopped coming: nothing was kept. Send it again.")
}

async fn field(
    part: &mut Field,
    size: &mut usize,
    silent_at_most: Duration,
) -> Result<String, Problem> {
    let mut text = Vec::new();
    while let Some(bits) = timeout(silent_at_most, part.next()).await.map_err(|_| silent())? {
        let bits = bits.map_err(|_| not_whole())?;
        *size += bits.len();
        if *size > MOST_OF_FIELDS {
            return Err(too_long());
        }
        text.extend_from_slice(&bits);
    }
    String::from_utf8(text).map_err(|_| not_whole())
}

/// The file alone, with what it comes out of, since that feeds it.
fn bits(parts: Multipart, file: Field) -> Bits {
    let next = |(parts, mut file): (Multipart, Field)| async move {
        let bits = file.next().await?;
        let bits = bits.map_err(|error| std::io::Error::other(error.to_string()));
        Some((bits, (parts, file)))
    };
    // It is asked again after its end, where a refused file is read out.
    futures_util::stream::unfold((parts, file), next).fuse().boxed_local()
}

type Extracted<T> = Pin<Box<dyn Future<Output = Result<T, Problem>>>>;

impl FromRequest for FormWithFile {
    type Error = Problem;
    type Future = Extracted<Self>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (request, payload) = (request.clone(), payload.take());
        Box::pin(async move {
            let office = office_of(&request)?;
            let visitor = door::visitor(&request, office)?;
            check_type(request.headers(), &request, &[WITH_FILE])?;
            let silent_at_most = office.settings.sender_silent_at_most;
            let with_file = read(&request, payload, silent_at_most).await?;
            if office.tokens.is_form_token(visitor.session, with_file.form.text("form.token"))? {
                return Ok(with_file);
            }
            Err(Problem::new(
                FOREIGN_FORM,
                "The form is of an earlier sign-in, so nothing was done. Open the page again, choose the file and send it from there.",
            ))
        })
    }
}
