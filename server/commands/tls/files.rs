//! A certificate and its key from files that were given.

use std::path::Path;

use rustls::ServerConfig;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};

use super::Failure;

/// What to speak TLS with, from PEM files: the server's certificate first, then what it rests on.
///
/// # Errors
///
/// [`Failure`] naming the file where one cannot be read, holds nothing of its kind, or the two do not belong together.
pub fn read(certificate: &Path, key: &Path) -> Result<ServerConfig, Failure> {
    let unusable = |path: &Path, why: &dyn std::fmt::Display| {
        Failure::of_input(format!("rungbook: {} cannot be used: {why}", path.display()))
    };
    let chain = CertificateDer::pem_file_iter(certificate)
        .and_then(Iterator::collect::<Result<Vec<_>, _>>)
        .map_err(|error| unusable(certificate, &error))?;
    if chain.is_empty() {
        return Err(unusable(certificate, &"it holds no certificate in PEM form"));
    }
    let secret = PrivateKeyDer::from_pem_file(key).map_err(|error| unusable(key, &error))?;
    server_config(chain, secret).map_err(|error| unusable(certificate, &error))
}

/// TLS 1.2 and 1.3 with the library's usual choices, asking no certificate of the other side.
///
/// # Errors
///
/// Where certificate and key do not belong together.
pub fn server_config(
    chain: Vec<CertificateDer<'static>>,
    key: PrivateKeyDer<'static>,
) -> Result<ServerConfig, rustls::Error> {
    let cryptography = std::sync::Arc::new(rustls::crypto::ring::default_provider());
    ServerConfig::builder_with_provider(cryptography)
        .with_safe_default_protocol_versions()?
        .with_no_client_auth()
        .with_single_cert(chain, key)
}
