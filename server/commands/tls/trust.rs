//! How phones are told to trust the authority: a page without TLS, and the way to it on the lead's screen.

use std::net::{IpAddr, SocketAddr, TcpListener};

use http_service::TrustPage;

use super::{Authority, Failure};

/// The authority with where phones find its page and the service.
#[derive(Debug)]
pub struct Introduced {
    authority: Authority,
    names: Vec<String>,
    service: SocketAddr,
    page: SocketAddr,
}

impl Introduced {
    /// An authority, the names that the service goes by, the address that it listens on, and the page's.
    pub const fn new(
        authority: Authority,
        names: Vec<String>,
        service: SocketAddr,
        page: SocketAddr,
    ) -> Self {
        Self { authority, names, service, page }
    }

    /// Begins to serve the page. `service` is the address that the service was given in the end.
    ///
    /// # Errors
    ///
    /// [`Failure`] where the page's address cannot be listened on.
    pub fn begin(mut self, service: SocketAddr) -> Result<Served, Failure> {
        self.service = service;
        let listener = TcpListener::bind(self.page).map_err(|error| {
            Failure::of_work(format!(
                "rungbook: cannot listen on {} for the page that phones come to: {error}; name another with --trust-page ADDRESS:PORT",
                self.page
            ))
        })?;
        let page = listener.local_addr()?;
        let host = bracketed(self.names.first().map_or("localhost", String::as_str));
        let (service, page) = (
            format!("https://{host}:{}", service.port()),
            format!("http://{host}:{}", page.port()),
        );
        let fingerprint = self.authority.fingerprint();
        let trust = TrustPage {
            authority: self.authority.certificate.to_vec(),
            fingerprint: fingerprint.clone(),
            service: service.clone(),
        };
        let server = trust.serve(listener)?;
        actix_web::rt::spawn(server);
        Ok(Served { service, page, fingerprint })
    }
}

/// The page as it is served.
#[derive(Debug)]
pub struct Served {
    /// Where the service is.
    pub service: String,
    page: String,
    fingerprint: String,
}

impl Served {
    /// What the lead's screen shows: where phones go first, as text and as a picture to point a camera at.
    pub fn print(&self) {
        println!("Phones go to {} once, to trust this machine's certificates.", self.page);
        if let Ok(code) = http_service::qr_for_terminals(&self.page) {
            println!("{code}");
        }
        println!("Compare what the phone shows as SHA-256 before trusting it:");
        println!("  {}", self.fingerprint);
    }
}

fn bracketed(name: &str) -> String {
    match name.parse::<IpAddr>() {
        Ok(IpAddr::V6(address)) => format!("[{address}]"),
        _ => name.to_owned(),
    }
}
