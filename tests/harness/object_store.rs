//! Where the stories' recordings are kept: in the folders of their servers, or, where `RUNGBOOK_TEST_S3` names an object store of
//! the S3 type, in a bucket there.

use std::io::{self, Read as _, Write as _};
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use super::database::name_of;

/// Names the object store, by the address at which it answers; the bucket of the stories is there.
pub const STORE: &str = "RUNGBOOK_TEST_S3";

/// The bucket.
const BUCKET: &str = "rungbook-stories";

/// What the program signs with. The store of the tests takes any.
pub const KEY: &str = "AKIDCANARYOFTHESTORIES";
pub const SECRET: &str = "a-secret-canary-of-the-stories";
pub const TOKEN: &str = "a-token-canary-of-the-stories";

/// An object store.
#[derive(Debug, Clone)]
pub struct ObjectStore {
    /// Where it answers.
    pub address: String,
}

impl ObjectStore {
    /// The one of the tests, where there is one.
    pub fn of_the_tests() -> Option<Self> {
        let address = std::env::var(STORE).ok()?;
        Some(Self { address: address.trim_end_matches('/').to_owned() })
    }

    /// The same; else says that what needs it was not tried.
    pub fn or_say_why_not() -> Option<Self> {
        let store = Self::of_the_tests();
        if store.is_none() {
            println!("{STORE} names no object store, so this was not tried");
        }
        store
    }

    /// One at another address.
    pub fn at(address: SocketAddr) -> Self {
        Self { address: format!("http://{address}") }
    }

    /// Tells a program how to reach it.
    pub fn known_to<'c>(&self, program: &'c mut Command) -> &'c mut Command {
        program
            .env("AWS_ENDPOINT_URL", &self.address)
            .env("AWS_REGION", "eu-central-1")
            .env("AWS_ACCESS_KEY_ID", KEY)
            .env("AWS_SECRET_ACCESS_KEY", SECRET)
            .env("AWS_SESSION_TOKEN", TOKEN)
    }

    /// Where the recordings of a data folder are.
    pub fn bucket_of(&self, data: &Path) -> String {
        format!("s3://{BUCKET}/{}", name_of(data))
    }

    /// The names of all objects of a data folder, without what they all begin with.
    pub fn names(&self, data: &Path) -> Vec<String> {
        let prefix = format!("{}/", name_of(data));
        self.asks("GET", &format!("?list-type=2&prefix={prefix}"), None)
            .split("<Key>")
            .skip(1)
            .map(|rest| rest.split("</Key>").next().unwrap_or_default())
            .map(|key| key.strip_prefix(&prefix).expect("what was asked for").to_owned())
            .collect()
    }

    /// How many uploads in parts are under way for a data folder.
    pub fn uploads(&self, data: &Path) -> usize {
        let prefix = name_of(data);
        self.asks("GET", "?uploads", None).matches(&format!("<Key>{prefix}/")).count()
    }

    /// Puts other bytes in the place of an object, as somebody might who has the keys.
    pub fn puts(&self, data: &Path, name: &str, bytes: &[u8]) {
        self.asks("PUT", &format!("/{}/{name}", name_of(data)), Some(bytes));
    }

    /// Removes an object, as somebody might who has the keys.
    pub fn removes(&self, data: &Path, name: &str) {
        self.asks("DELETE", &format!("/{}/{name}", name_of(data)), None);
    }

    fn asks(&self, method: &str, path: &str, body: Option<&[u8]>) -> String {
        let request = ureq::http::Request::builder()
            .method(method)
            .uri(format!("{}/{BUCKET}{path}", self.address))
            // It looks who signs, and not whether that is right.
            .header(
                "authorization",
                format!(
                    "AWS4-HMAC-SHA256 Credential={KEY}/20260101/eu-central-1/s3/aws4_request, SignedHeaders=host, Signature=0"
                ),
            )
            .body(body.unwrap_or_default())
            .expect("a request");
        let agent: ureq::Agent =
            ureq::Agent::config_builder().allow_non_standard_methods(true).build().into();
        let mut answer = agent.run(request).expect("the object store answers");
        answer.body_mut().read_to_string().expect("text")
    }
}

/// A way to the object store that can be cut and mended.
pub struct Way {
    /// Where it begins.
    pub address: SocketAddr,
    is_cut: Arc<AtomicBool>,
}

impl Way {
    /// A way to a store.
    pub fn to(store: &ObjectStore) -> Self {
        let there = store.address.trim_start_matches("http://").to_owned();
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let address = listener.local_addr().expect("an address");
        let is_cut = Arc::new(AtomicBool::new(false));
        let cut = Arc::clone(&is_cut);
        std::thread::spawn(move || {
            for here in listener.incoming().map_while(Result::ok) {
                if cut.load(Ordering::SeqCst) {
                    continue;
                }
                let Ok(there) = TcpStream::connect(&there) else { continue };
                for (from, to) in [(&here, &there), (&there, &here)] {
                    let ends = from.try_clone().and_then(|from| Ok((from, to.try_clone()?)));
                    let (from, to) = ends.expect("handles");
                    let cut = Arc::clone(&cut);
                    std::thread::spawn(move || passes(from, to, &cut));
                }
            }
        });
        Self { address, is_cut }
    }

    /// Cuts it: who speaks is cut off, and who begins to.
    pub fn cut(&self) {
        self.is_cut.store(true, Ordering::SeqCst);
    }

    /// Mends it.
    pub fn mend(&self) {
        self.is_cut.store(false, Ordering::SeqCst);
    }
}

/// Hands bytes on until one side is done or the way is cut.
fn passes(mut from: TcpStream, mut to: TcpStream, is_cut: &AtomicBool) {
    let mut part = [0; 16 * 1024];
    while let Ok(read) = from.read(&mut part) {
        if read == 0 || is_cut.load(Ordering::SeqCst) || to.write_all(&part[..read]).is_err() {
            break;
        }
    }
    let _: [io::Result<()>; 2] = [from.shutdown(Shutdown::Both), to.shutdown(Shutdown::Both)];
}
