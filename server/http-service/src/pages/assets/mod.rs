//! What pages load: style, script and icon, in the program itself, each called by the hash of its content so that browsers
//! keep it for ever and never an old one.

use std::sync::LazyLock;

use actix_web::HttpResponse;
use actix_web::http::header;
use actix_web::web::Path;
use sha2::{Digest, Sha256};

use crate::desk::Answer;
use crate::problem::{NO_SUCH_PAGE, Problem};

/// One file.
pub(crate) struct Asset {
    stem: &'static str,
    ending: &'static str,
    kind: &'static str,
    text: &'static str,
    name: LazyLock<String>,
}

impl Asset {
    /// Where it is.
    pub fn place(&self) -> String {
        format!("/assets/{}", *self.name)
    }
}

/// The name of a file, with the first 16 digits of its SHA-256.
fn name(stem: &str, ending: &str, text: &str) -> String {
    use std::fmt::Write as _;
    let mut name = format!("{stem}-");
    for byte in &Sha256::digest(text.as_bytes())[..8] {
        // Writing to a String cannot fail.
        let _ = write!(name, "{byte:02x}");
    }
    name + "." + ending
}

macro_rules! assets {
    ($($asset:ident $stem:literal $ending:literal $kind:literal;)+) => {
        $(pub(crate) static $asset: Asset = Asset {
            stem: $stem,
            ending: $ending,
            kind: $kind,
            text: include_str!(concat!($stem, ".", $ending)),
            name: LazyLock::new(|| name($asset.stem, $asset.ending, $asset.text)),
        };)+

        static ALL: &[&Asset] = &[$(&$asset),+];
    };
}

assets! {
    STYLE "rungbook" "css" "text/css; charset=utf-8";
    SCRIPT "rungbook" "js" "text/javascript; charset=utf-8";
    ICON "rungbook" "svg" "image/svg+xml";
}

/// A file by its whole name.
pub(crate) async fn read(name: Path<String>) -> Answer {
    let found = ALL.iter().find(|asset| *asset.name == *name);
    let asset = found.ok_or_else(|| {
        Problem::new(NO_SUCH_PAGE, "There is no such file any more. Load the page again.")
    })?;
    Ok(HttpResponse::Ok()
        .insert_header((header::CACHE_CONTROL, "public, max-age=31536000, immutable"))
        .content_type(asset.kind)
        .body(asset.text))
}
