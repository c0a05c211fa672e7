//! What pages load: style, scripts and icon, in the program itself, each called by the hash of its content so that browsers
//! keep it for ever and never an old one; and the service worker, which has a name of its own.
//!
//! # Pages that nobody keeps, and what is kept all the same
//!
//! Every private page is sent with `Cache-Control: private, no-store`: browsers and proxies keep none by themselves, neither on
//! disk nor for the way back. On a field without signal that would leave people with nothing, so the service worker keeps
//! copies in its own storage, which `no-store` does not speak of (Service Workers, section 5: a cache is written by scripts
//! alone). It keeps a page only where the server says so with `rungbook-keep: HANDLE`: pages of a run, by `Around::keeps`. A
//! copy is shown only where the network did not answer, with the moment since when it is kept and that it does not show what
//! was done since. All copies go
//!
//! - when somebody signs out, by the script and again by the worker,
//! - when the sign-in page is shown, such as after a session ended elsewhere,
//! - when a page comes that was made for somebody else,
//! - after a week.
//!
//! Until then whoever holds the unlocked device can read them, as they can read paper cards.
//!
//! What was typed and not yet sent (`queue.js`) is another thing: it is in the browser's database under who typed it, holds no
//! password and no form token, and stays when they sign out. Nobody else sees what is in it, only that there is something and
//! whose it is. It is sent by nobody but them.

use std::sync::LazyLock;

use actix_web::http::header;
use actix_web::web::Path;
use actix_web::{HttpRequest, HttpResponse};
use sha2::{Digest, Sha256};

use crate::desk::{Answer, Shown};
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
    format!("{stem}-{}.{ending}", digits(text))
}

fn digits(text: &str) -> String {
    use std::fmt::Write as _;
    let mut digits = String::new();
    for byte in &Sha256::digest(text.as_bytes())[..8] {
        // Writing to a String cannot fail.
        let _ = write!(digits, "{byte:02x}");
    }
    digits
}

macro_rules! assets {
    ($($asset:ident $stem:literal $ending:literal $kind:literal [$($part:literal)+];)+) => {
        $(pub(crate) static $asset: Asset = Asset {
            stem: $stem,
            ending: $ending,
            kind: $kind,
            text: concat!($(include_str!($part)),+),
            name: LazyLock::new(|| name($asset.stem, $asset.ending, $asset.text)),
        };)+

        static ALL: &[&Asset] = &[$(&$asset),+];
    };
}

// One script, made of parts that know nothing of each other, comes over a slow line sooner than several.
assets! {
    STYLE "rungbook" "css" "text/css; charset=utf-8" ["rungbook.css"];
    SCRIPT "rungbook" "js" "text/javascript; charset=utf-8" ["rungbook.js" "live.js" "queue.js"];
    ICON "rungbook" "svg" "image/svg+xml" ["rungbook.svg"];
}

/// The service worker, with the files that belong to this version of the program.
static WORKER: LazyLock<String> = LazyLock::new(|| {
    let files: Vec<_> = ALL.iter().map(|asset| asset.place()).collect();
    let version = digits(&files.concat());
    format!(
        "const FILES = {};\nconst VERSION = \"{version}\";\n{}",
        serde_json::json!(files),
        include_str!("worker.js")
    )
});

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

/// The service worker. It stands at the root, so that all pages are in its scope, and its name stays the same: browsers ask
/// for it again and are told whether it is another one.
pub(crate) async fn worker(request: HttpRequest) -> Answer {
    let mut reply =
        Shown::file("text/javascript; charset=utf-8", WORKER.clone()).reply(request.headers());
    reply.headers_mut().insert(header::CACHE_CONTROL, header::HeaderValue::from_static("no-cache"));
    Ok(reply)
}
