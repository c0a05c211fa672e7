//! Signed checkpoints of the ledger, and the keys to check them with.

use actix_web::HttpRequest;
use serde::{Deserialize, Serialize};

use crate::access::{Permitted, Read};
use crate::desk::{Answer, Shown};
use crate::given::Query;
use crate::office::Office;
use crate::problem::Problem;

/// Which checkpoint.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct OfSize {
    /// The size of the ledger; absent: the latest checkpoint.
    #[param(minimum = 1)]
    pub size: Option<u64>,
}

/// Who signs checkpoints of this ledger.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct LedgerKeys {
    /// The name of the ledger, the same on every server that has it: the first line of its checkpoints.
    #[schema(example = "rungbook/7d1c4f2a90be33d5/tallow")]
    pub origin: String,
    /// Every key that signed any, the oldest first: name, id and Ed25519 key, as the public signed-note format has it.
    pub keys: Vec<String>,
    /// Where one key handed over to the next, the oldest first: whoever noted an older key can follow to the newest by these.
    pub handed_over: Vec<HandedOver>,
}

/// Where one key handed over to the next.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct HandedOver {
    /// The next key.
    pub key: String,
    /// The record that says so; it names both keys.
    pub record: u64,
    /// The size of the checkpoint that has this record; the key before signed it.
    pub checkpoint: u64,
}

const EXAMPLE: &str = "rungbook/7d1c4f2a90be33d5/tallow\n812\nKS7BGx0gNGgWcEmIzd1Gov8FNvFCkL0HqhQSkOeUJ8A=\n\n\u{2014} rungbook/7d1c4f2a90be33d5/tallow mDbYZv…\n";

/// Size and root of the ledger, signed by the server: a few lines to keep, print, or send to somebody who watches.
///
/// Whoever keeps one can tell later whether the ledger only grew since (`ledger/consistency`, `rungbook verify --against`).
/// The server signs one for each transaction that it writes, and none that does not follow from the one before.
#[utoipa::path(
    get, path = "",
    params(OfSize),
    responses((
        status = 200,
        description = "A checkpoint in the public tlog-checkpoint format: name of the ledger, size, root in base64, an empty line, and the signature.",
        body = String,
        content_type = "text/plain",
        example = json!(EXAMPLE),
    )),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    asked: Query<OfSize>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let found = office.store.checkpoint(&person.programme, asked.size).await?;
    let found = found.ok_or_else(|| {
        let size =
            asked.size.map_or_else(|| "any size".to_owned(), |size| format!("{size} records"));
        Problem::unknown("checkpoint of", size)
    })?;
    Ok(Shown::file("text/plain; charset=utf-8", found.signed.to_string()).reply(request.headers()))
}

/// The keys by which checkpoints of this ledger are checked. Note them somewhere else than on this server.
#[utoipa::path(get, path = "", responses((status = 200, description = "Name and keys.", body = LedgerKeys)))]
pub(crate) async fn keys(person: Permitted<Read>, request: HttpRequest, office: Office) -> Answer {
    let found = office.store.checkpoint_keys(&person.programme).await?;
    let (origin, keys) = found.ok_or_else(|| Problem::unknown("programme", &person.programme))?;
    let keys = keys.iter().map(ToString::to_string).collect();
    let named = office.store.read(&person.programme, |state, _| state.keeping.keys.clone());
    let mut handed_over = Vec::new();
    for named in named.unwrap_or_default().into_iter().filter(|named| named.handed_over) {
        let checkpoint = office.store.signed_with(&person.programme, named.seq).await?;
        let key = store::verifier(&origin, &named.key).map(|key| key.to_string());
        if let Some((checkpoint, key)) = checkpoint.zip(key) {
            handed_over.push(HandedOver { key, record: named.seq, checkpoint });
        }
    }
    let keys = LedgerKeys { origin: origin.to_string(), keys, handed_over };
    Ok(Shown::tagged(&keys)?.reply(request.headers()))
}
