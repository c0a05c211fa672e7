//! TLS of our own, so that phones on a field's network reach the lead's laptop without anybody else's help.

mod addresses;
mod authority;
mod files;
mod trust;

use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use clap::Args;
use rustls::ServerConfig;

use super::Failure;

pub use authority::Authority;
pub use trust::Introduced;

/// How the service is reached by others than this machine.
#[derive(Debug, Clone, Default, Args)]
pub struct Tls {
    /// Speak TLS with a certificate of the data folder's own authority, which each phone is told to trust once
    #[arg(long, conflicts_with = "certificate")]
    tls: bool,
    /// Another name or address by which phones reach this machine; may be repeated
    #[arg(long = "name", value_name = "NAME", requires = "tls")]
    names: Vec<String>,
    /// Where the page stands that helps a phone trust the authority; it has no TLS [default: the port after the service's]
    #[arg(long, value_name = "ADDRESS:PORT", requires = "tls")]
    trust_page: Option<SocketAddr>,
    /// Speak TLS with this certificate and what it rests on (PEM)
    #[arg(long, value_name = "FILE", requires = "key")]
    certificate: Option<PathBuf>,
    /// The key of that certificate (PEM)
    #[arg(long, value_name = "FILE", requires = "certificate")]
    key: Option<PathBuf>,
    /// Serve other machines without TLS: passwords can be read on the way, and pages keep nothing without a signal
    #[arg(long, conflicts_with_all = ["tls", "certificate"])]
    plain_http: bool,
}

/// How a service speaks.
pub enum Speaks {
    /// Without TLS.
    Plain,
    /// With TLS, by a certificate that was given.
    Given(ServerConfig),
    /// With TLS, by a certificate of the folder's own authority.
    Own(ServerConfig, Box<Introduced>),
}

impl Speaks {
    /// Whether it is spoken without TLS.
    pub const fn is_plain(&self) -> bool {
        matches!(self, Self::Plain)
    }
}

impl Tls {
    /// Whether it is spoken by a certificate of the folder's own authority.
    pub const fn has_own_authority(&self) -> bool {
        self.tls
    }

    /// What to speak on an address; a certificate of the folder's own authority is for these hosts, too.
    ///
    /// # Errors
    ///
    /// [`Failure`] with what to do where files cannot be used, or others would be served without TLS and nobody asked
    /// for that by name.
    pub fn settle(
        &self,
        data: &Path,
        hosts: &[String],
        address: SocketAddr,
        behind_proxy: bool,
    ) -> Result<Speaks, Failure> {
        if behind_proxy && !address.ip().is_loopback() {
            tracing::warn!(
                %address,
                "whoever reaches this address without going through the proxy is taken for the proxy: let nothing but the proxy reach it"
            );
        }
        if let (Some(certificate), Some(key)) = (&self.certificate, &self.key) {
            return Ok(Speaks::Given(files::read(certificate, key)?));
        }
        if self.tls {
            let authority = Authority::of(data)?;
            let names = addresses::names(address, &[hosts, &self.names].concat())?;
            let config = authority.certify(&names)?;
            let at = self.trust_page.unwrap_or_else(|| next_port(address));
            return Ok(Speaks::Own(
                config,
                Box::new(Introduced::new(authority, names, address, at)),
            ));
        }
        if address.ip().is_loopback() || behind_proxy {
            return Ok(Speaks::Plain);
        }
        if self.plain_http {
            tracing::warn!(
                %address,
                "serving other machines without TLS: passwords can be read on the way, and pages keep nothing without a signal"
            );
            return Ok(Speaks::Plain);
        }
        Err(Failure::of_input(format!(
            "rungbook: {address} is reached by other machines, and without TLS passwords can be read on the way.\n\
             Speak TLS with --tls (an authority of your own, which each phone is told to trust once) or with\n\
             --certificate FILE --key FILE; say --behind-proxy where a proxy with TLS stands in front; or ask for it with\n\
             --plain-http, where sign-in, signatures and everything else can be read and altered on the way, and where\n\
             browsers keep no pages for work without a signal."
        )))
    }
}

const fn next_port(mut address: SocketAddr) -> SocketAddr {
    // Port 0 takes any free one, for both.
    let port = address.port();
    address.set_port(if port == 0 { 0 } else { port.saturating_add(1) });
    address
}
